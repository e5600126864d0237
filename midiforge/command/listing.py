"""midiforge list"""

import sys
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

import typer

from midiforge.command.terminal import on_terminal
from midiforge.errors import MidiforgeError, nearest, quoted

if TYPE_CHECKING:
    from midiforge.library import Rudiment

Row = dict[str, Any]

_WHOLE = ("name", "number", "limb", "meter", "pattern", "partner")  # columns never broken


def _shelves(incomplete: str) -> list[str]:
    """What the shell offers."""
    return [name for name in _SHELVES if name.startswith(incomplete)]


def listing(
    what: Annotated[
        str,
        typer.Argument(
            metavar="rudiments|ostinatos|voices|kits|styles|percussion|instruments",
            help="What to list.",
            autocompletion=_shelves,
            show_default=False,
        ),
    ] = "",
    as_json: Annotated[bool, typer.Option("--json", help="Print as JSON.")] = False,
) -> None:
    """List what a drill can name: rudiments, ostinatos, voices, kits; styles, percussion parts and
    instruments that play beside you."""
    if what not in _SHELVES:
        problem = f"there is no list of {quoted(what)}" if what else "nothing to list is named"
        raise MidiforgeError(problem, hint=nearest(what, _SHELVES))
    shelf = _SHELVES[what]
    rows = shelf.rows()
    if as_json:
        import json

        print(json.dumps(rows, indent=2, ensure_ascii=False))
    else:
        _print(shelf, rows)


@dataclass(frozen=True, slots=True)
class _Shelf:
    """Something to list.

    rows: all there is to say of each entry, for JSON.
    only_json: columns that would make a table too wide to read.
    if_room: columns that a terminal shows, taken in this order, as far as it has room.
    remark: what else is to be known, on a terminal.
    """

    rows: Callable[[], list[Row]]
    only_json: tuple[str, ...]
    if_room: tuple[str, ...] = ()
    remark: Callable[[], str] = str


def _rudiments() -> list[Row]:
    from midiforge.library import rudiments

    return [
        {
            "number": each.number,
            "name": each.name,
            "family": each.family,
            "steps": each.steps,
            "sticking": _leads(each),
            "other names": each.also,
            "note": each.note,
        }
        for each in rudiments().values()
    ]


def _leads(rudiment: "Rudiment") -> str:
    """The sticking; the lead of each hand apart if one follows the other, else beat by beat."""
    from dataclasses import replace

    from midiforge.phrase.sticking import write_sticking

    phrase = rudiment.phrase
    half = len(phrase) // 2
    first, second = (
        replace(phrase, steps=steps) for steps in (phrase.steps[:half], phrase.steps[half:])
    )
    if second != first.swapped():
        return write_sticking(phrase, rudiment.steps)
    group = half if half % rudiment.steps else rudiment.steps
    return " | ".join(write_sticking(lead, group) for lead in (first, second))


def _ostinatos() -> list[Row]:
    from midiforge.library import ostinatos

    return [
        {
            "name": each.name,
            "family": each.family,
            "limb": each.limb.value if each.limb else "",
            "meter": str(each.meter),
            "voice": each.voice,
            "pattern": each.text,
            "partner": each.partner,
            "other names": each.also,
            "source": each.source,
            "note": each.note,
        }
        for each in ostinatos().values()
    ]


def _voices() -> list[Row]:
    from midiforge.kit import DEFAULT, read_kit
    from midiforge.library import voices

    kit = read_kit(DEFAULT)
    return [
        {
            "name": each.name,
            "title": each.title,
            "MIDI note": kit.notes.get(each.name, ""),
            "played instead": each.fallback,
            "other names": each.also,
        }
        for each in voices().values()
    ]


def _of_voices() -> str:
    from midiforge.kit import DEFAULT

    return f"MIDI notes are those of {DEFAULT}. "


def _styles() -> list[Row]:
    from midiforge.library.players import styles

    return [
        {
            "name": each.name,
            "meter": str(each.meter),
            "bass": each.bass.instrument,
            "chords": each.comp.instrument,
            "percussion": ", ".join(each.percussion),
            "goes with": ", ".join(each.goes_with),
            "other names": each.also,
            "source": each.source,
        }
        for each in styles().values()
    ]


def _percussion() -> list[Row]:
    from midiforge.library.players import percussion

    return [
        {
            "name": each.name,
            "title": each.title,
            "family": each.family,
            "meter": str(each.meter),
            "clave": each.clave,
            "voices": ", ".join(dict.fromkeys((*each.lines, *each.variation))),
            "patterns": dict(each.lines),
            "variation": dict(each.variation),
            "other names": each.also,
            "source": each.source,
        }
        for each in percussion().values()
    ]


def _instruments() -> list[Row]:
    from midiforge.library.players import instruments

    return [
        {
            "name": each.name,
            "title": each.title,
            "plays": each.role,
            "program": each.program,
            "lowest note": each.lowest,
            "highest note": each.highest,
            "other names": each.also,
        }
        for each in instruments().values()
    ]


def _kits() -> list[Row]:
    from midiforge.kit import kit_names, read_kit

    kits = [read_kit(name) for name in kit_names()]
    return [
        {
            "name": kit.name,
            "title": kit.title,
            "channel": kit.channel,
            "voices": len(kit.notes),
            "source": kit.source,
        }
        for kit in kits
    ]


_SHELVES = {
    "rudiments": _Shelf(_rudiments, ("other names", "note")),
    "ostinatos": _Shelf(
        _ostinatos, ("other names", "source", "note"), if_room=("partner", "voice", "family")
    ),
    "voices": _Shelf(_voices, ("other names",), remark=_of_voices),
    "kits": _Shelf(_kits, ("source",)),
    "styles": _Shelf(_styles, ("other names", "source"), if_room=("percussion", "goes with")),
    "percussion": _Shelf(
        _percussion,
        ("patterns", "variation", "other names", "source"),
        if_room=("voices", "family"),
        remark=lambda: "Every ostinato can be a percussion part too. ",
    ),
    "instruments": _Shelf(
        _instruments, ("other names",), remark=lambda: "Notes are MIDI note numbers. "
    ),
}


def _print(shelf: _Shelf, rows: list[Row]) -> None:
    """Rows in columns: fitted to a terminal, else unshortened with a tab between."""
    columns = [name for name in rows[0] if name not in shelf.only_json]
    if not on_terminal(sys.stdout):
        print("\t".join(columns))
        for row in rows:
            print("\t".join(str(row[name]) for name in columns))
        return
    from rich.console import Console

    console = Console()
    endless = console.options.update(width=sys.maxsize)
    left_out = [*shelf.if_room]
    for name in shelf.if_room:
        left_out.remove(name)
        table = _table([each for each in columns if each not in left_out], rows)
        if console.measure(table, options=endless).maximum > console.width:
            left_out.append(name)
    console.print(_table([each for each in columns if each not in left_out], rows))
    wider = f" On a wider terminal: {', '.join(left_out)}." if left_out else ""
    print(f"{shelf.remark()}Only with --json: {', '.join(shelf.only_json)}.{wider}")


def _table(columns: list[str], rows: list[Row]) -> Any:
    from rich.table import Table

    table = Table(box=None, pad_edge=False, header_style="bold")
    for name in columns:
        table.add_column(name, no_wrap=name in _WHOLE)
    for row in rows:
        table.add_row(*(str(row[name]).replace("[", r"\[") for name in columns))
    return table
