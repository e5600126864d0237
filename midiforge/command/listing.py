"""midiforge list, midiforge ports, midiforge schema"""

import sys
from collections.abc import Callable, Iterable, Iterator
from itertools import zip_longest
from textwrap import wrap
from typing import TYPE_CHECKING, Annotated, Any

import typer

from midiforge.command.flags import AsJson
from midiforge.command.terminal import on_terminal, say, say_json, terminal_width
from midiforge.errors import MidiforgeError, nearest, quoted
from midiforge.frozen import frozen

if TYPE_CHECKING:
    from midiforge.library.shelf import LibraryOstinato, Rudiment

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

    Rudiments, ostinatos, voices, kits; styles, percussion parts and instruments of the
    band.

    A terminal gets a table; a pipe or file gets all of each row in a line, a tab between columns.
    """
    if what not in _SHELVES:
        problem = f"there is no list of {quoted(what)}" if what else "nothing to list is named"
        raise MidiforgeError(problem, hint=nearest(what, _SHELVES))
    shelf = _SHELVES[what]
    if as_json:
        say_json([*shelf.rows()])
    else:
        print_shelf(shelf)


def schema() -> None:
    """Print the JSON Schema of drill files, for editors."""
    from midiforge.drill.schema import drill_schema

    say_json(drill_schema())


def ports(as_json: AsJson = False) -> None:
    """List the MIDI ports of this machine."""
    from midiforge.live.ports.ports import ports

    known = ports()
    if as_json:
        say_json([{"number": p.number, "name": p.name, "direction": p.direction} for p in known])
        return
    if not known:
        say("no MIDI ports; plug in a module or start a synthesiser")
    for port in known:
        say(f"{port.direction:6} {port.number:3}  {port.name}")


@frozen
class Shelf:
    """Something to list.

    rows: all there is to say of each entry, for JSON.
    only_json: columns that would make a table too wide to read.
    below: columns that a terminal shows on lines of their own, where there is something in them.
    if_room: columns that a terminal shows, taken in this order, as far as it has room.
    remark: what else is to be known, on a terminal.
    """

    rows: Callable[[], Iterable[Row]]
    only_json: tuple[str, ...]
    below: tuple[str, ...] = ("other names",)
    if_room: tuple[str, ...] = ()
    remark: Callable[[], str] = str


def _rows(
    entries: Iterable[object], columns: str, **made: Callable[[Any], object]
) -> Iterator[Row]:
    """A row for each entry: a column is a field of it, "column = field" one that is called
    otherwise; `made` has what is made of an entry instead."""
    pairs = [column.partition(" = ") for column in columns.split(", ")]
    fields = {column: field or column for column, _, field in pairs}
    made = {"meter": lambda entry: str(entry.meter), **made}
    for entry in entries:
        yield {
            column: made[field](entry) if field in made else getattr(entry, field)
            for column, field in fields.items()
        }


def _rudiments() -> Iterator[Row]:
    from midiforge.library.shelf import rudiments

    columns = "number, name, family, steps, sticking, other names = also, note"
    return _rows(rudiments().values(), columns, sticking=_leads)


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


def _ostinatos() -> Iterator[Row]:
    from midiforge.library.shelf import ostinatos

    return _rows(
        ostinatos().values(),
        "name, family, limb, meter, voice, pattern = text, partner, other names = also, source, "
        "note",
        limb=lambda ostinato: ostinato.limb or "",
        also=_other_names,
    )


def _other_names(ostinato: "LibraryOstinato") -> tuple[str, ...]:
    """The name that its title is, where that is another and shorter, and all others."""
    from midiforge.library.shelf import slug

    title = slug(ostinato.title)
    shorter = title != ostinato.name and len(title) < len(ostinato.name)
    return tuple(dict.fromkeys((*([title] if shorter else []), *ostinato.also)))


def _voices() -> Iterator[Row]:
    from midiforge.kits.kit import DEFAULT, read_kit
    from midiforge.library.shelf import voices

    notes = read_kit(DEFAULT).notes
    columns = "name, title, MIDI note = note, played instead = fallback, other names = also"
    return _rows(voices().values(), columns, note=lambda voice: notes.get(voice.name, ""))


def _of_voices() -> str:
    from midiforge.kits.kit import DEFAULT

    return f"MIDI notes are those of {DEFAULT}. "


def _styles() -> Iterator[Row]:
    from midiforge.library.band import styles

    return _rows(
        styles().values(),
        "name, meter, bass, chords, percussion, goes with = feet, other names = also, source",
        bass=lambda style: style.bass.instrument,
        chords=lambda style: style.comp.instrument,
        percussion=lambda style: ", ".join(style.percussion),
        feet=lambda style: ", ".join(style.goes_with),
    )


def _percussion() -> Iterator[Row]:
    from midiforge.library.band import percussion

    return _rows(
        percussion().values(),
        "name, title, family, meter, clave, voices, patterns, variation, other names = also, "
        "source",
        voices=lambda part: ", ".join(dict.fromkeys((*part.lines, *part.variation))),
        patterns=lambda part: dict(part.lines),
        variation=lambda part: dict(part.variation),
    )


def _instruments() -> Iterator[Row]:
    from midiforge.library.band import instruments

    columns = (
        "name, title, plays = role, program, lowest note = lowest, highest note = highest, "
        "other names = also"
    )
    return _rows(instruments().values(), columns)


def _kits() -> Iterator[Row]:
    from midiforge.kits.kit import kit_names, read_kit

    kits = map(read_kit, kit_names())
    return _rows(kits, "name, title, channel, voices, source", voices=lambda kit: len(kit.notes))


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


def print_shelf(shelf: Shelf) -> None:
    """Rows in columns: fitted to a terminal, else unshortened with a tab between."""
    rows = [*shelf.rows()]
    told = [name for name in rows[0] if name not in shelf.only_json]
    if not on_terminal(sys.stdout):
        say(*told)
        for row in rows:
            say(*(_said(row[name]) for name in told))
        return
    width = terminal_width()
    left_out = [*shelf.if_room]
    for name in shelf.if_room:
        shown = [other for other in told if other not in (*shelf.below, *left_out) or other == name]
        if sum(_widths(shown, rows)) <= width:
            left_out.remove(name)
    told = [name for name in told if name not in (*shelf.below, *left_out)]
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
