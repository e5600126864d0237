"""midiforge list, midiforge schema"""

import sys
from collections.abc import Callable, Iterator
from itertools import zip_longest
from textwrap import wrap
from typing import TYPE_CHECKING, Annotated, Any

import typer

from midiforge.command.flags import AsJson
from midiforge.command.terminal import on_terminal, say, say_json, terminal_width
from midiforge.errors import MidiforgeError, nearest, quoted
from midiforge.frozen import frozen

if TYPE_CHECKING:
    from midiforge.library import Rudiment
    from midiforge.library.shelf import LibraryOstinato

Row = dict[str, Any]

_SET_IN = 4  # blanks before what stands below a row
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
    as_json: AsJson = False,
) -> None:
    """List what a drill can name.

    Rudiments, ostinatos, voices, kits; styles, percussion parts and instruments that play beside
    you.

    A terminal gets a table; a pipe or file gets all of each row in a line, a tab between columns.
    """
    if what not in _SHELVES:
        problem = f"there is no list of {quoted(what)}" if what else "nothing to list is named"
        raise MidiforgeError(problem, hint=nearest(what, _SHELVES))
    shelf = _SHELVES[what]
    rows = shelf.rows()
    if as_json:
        say_json(rows)
    else:
        print_shelf(shelf, rows)


def schema() -> None:
    """Print the JSON Schema of drill files, for editors."""
    from midiforge.drill.schema import drill_schema

    say_json(drill_schema())


@frozen
class Shelf:
    """Something to list.

    rows: all there is to say of each entry, for JSON.
    only_json: columns that would make a table too wide to read.
    below: columns that a terminal shows on lines of their own, where there is something in them.
    if_room: columns that a terminal shows, taken in this order, as far as it has room.
    remark: what else is to be known, on a terminal.
    """

    rows: Callable[[], list[Row]]
    only_json: tuple[str, ...]
    below: tuple[str, ...] = ("other names",)
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
            "other names": tuple(dict.fromkeys((*_as_title(each), *each.also))),
            "source": each.source,
            "note": each.note,
        }
        for each in ostinatos().values()
    ]


def _as_title(ostinato: "LibraryOstinato") -> tuple[str, ...]:
    """The name that its title is, where that is another."""
    from midiforge.library.shelf import slug

    named = slug(ostinato.title)
    return (named,) if named != ostinato.name and len(named) < len(ostinato.name) else ()


def _voices() -> list[Row]:
    from midiforge.kits.kit import DEFAULT, read_kit
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
    from midiforge.kits.kit import DEFAULT

    return f"MIDI notes are those of {DEFAULT}. "


def _styles() -> list[Row]:
    from midiforge.library.band import styles

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
    from midiforge.library.band import percussion

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
    from midiforge.library.band import instruments

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
    from midiforge.kits.kit import kit_names, read_kit

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
    "rudiments": Shelf(_rudiments, ("note",), if_room=("family",)),
    "ostinatos": Shelf(_ostinatos, ("source", "note"), if_room=("partner", "voice", "family")),
    "voices": Shelf(_voices, (), remark=_of_voices),
    "kits": Shelf(_kits, ("source",), below=()),
    "styles": Shelf(_styles, ("source",), below=("percussion", "goes with", "other names")),
    "percussion": Shelf(
        _percussion,
        ("patterns", "variation", "source"),
        if_room=("voices", "family"),
        remark=lambda: "Every ostinato can be a percussion part too. ",
    ),
    "instruments": Shelf(_instruments, (), remark=lambda: "Notes are MIDI note numbers. "),
}


def print_shelf(shelf: Shelf, rows: list[Row]) -> None:
    """Rows in columns: fitted to a terminal, else unshortened with a tab between."""
    told = [name for name in rows[0] if name not in shelf.only_json]
    if not on_terminal(sys.stdout):
        say(*told)
        for row in rows:
            say(*(_said(row[name]) for name in told))
        return
    width = terminal_width()
    left_out = [*shelf.if_room]
    told = [name for name in told if name not in shelf.below]
    for name in shelf.if_room:
        left_out.remove(name)
        if sum(_widths([each for each in told if each not in left_out], rows)) > width:
            left_out.append(name)
    told = [name for name in told if name not in left_out]
    for line in _lines(told, shelf.below, rows, width):
        say(line)
    wider = f" On a wider terminal: {', '.join(left_out)}." if left_out else ""
    json = f"Only with --json: {_said(shelf.only_json)}." if shelf.only_json else ""
    for line in _wrapped(f"{shelf.remark()}{json}{wider}", width):
        say(line)


def _said(value: Any) -> str:
    return ", ".join(value) if isinstance(value, tuple) else str(value)


def _widths(columns: list[str], rows: list[Row]) -> list[int]:
    """How wide each column is with the blanks behind it."""
    widths = [max(len(name), *(len(_said(row[name])) for row in rows)) + 2 for name in columns]
    return [*widths[:-1], widths[-1] - 2]


def _lines(
    columns: list[str], below: tuple[str, ...], rows: list[Row], width: int
) -> Iterator[str]:
    """The table, at most `width` wide: a column that may be broken takes what the others leave,
    and what stands below a row is set in under it."""
    widths = _widths(columns, rows)
    for i, name in enumerate(columns):
        if name not in _WHOLE and sum(widths) > width:
            widths[i] = max(width - (sum(widths) - widths[i]), len(name) + 2)
    yield "".join(f"{name:<{size}}" for name, size in zip(columns, widths, strict=True)).rstrip()
    for row in rows:
        cells = [
            _wrapped(_said(row[name]), size) for name, size in zip(columns, widths, strict=True)
        ]
        for parts in zip_longest(*cells, fillvalue=""):
            line = "".join(f"{part:<{size}}" for part, size in zip(parts, widths, strict=True))
            yield line.rstrip()
        for name in below:
            if row[name]:
                for line in _wrapped(f"{name}: {_said(row[name])}", width - _SET_IN):
                    yield " " * _SET_IN + line


def _wrapped(text: str, width: int) -> list[str]:
    """The text in lines, broken at blanks only."""
    return wrap(text, width, break_long_words=False, break_on_hyphens=False)
