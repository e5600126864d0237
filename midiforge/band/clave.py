"""Which way round the clave goes, and what leans on it turned the other way round."""

from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction

from midiforge.band.band import Part
from midiforge.library import shelf
from midiforge.library.band import Figure
from midiforge.phrase.pattern import Line, Pattern

WAYS = ("3-2", "2-3")


def other(way: str) -> str:
    """The other way round."""
    return WAYS[1 - WAYS.index(way)]


def direction(lines: Iterable[Line], percussion: Iterable[str] = ()) -> str:
    """The way round that the clave goes among them, as the first that says so has it; "" if none.

    percussion: parts as they are typed; a name that does not say "3-2" or "2-3" follows.
    """
    said = (way for text in percussion for way in WAYS if way in text)
    return next(said, "") or next(filter(None, map(leaning, lines)), "")


def leaning(line: Line) -> str:
    """The way round that a line leans on the clave; "" if it does not.

    A typed pattern is known by its strokes.
    """
    known = shelf.ostinatos().get(line.name)
    if known is not None and known.pattern == line.pattern:
        return known.clave
    times = _times(line.pattern)
    for known in shelf.ostinatos().values():
        if known.clave and known.pattern.length == line.pattern.length:
            if _times(known.pattern) == times:
                return known.clave
            if _times(_turned(known.pattern)) == times:
                return other(known.clave)
    return ""


def _times(pattern: Pattern) -> frozenset[Fraction]:
    return frozenset(time for time, _ in pattern.strokes)


def _turned(pattern: Pattern) -> Pattern:
    """Begun with its second half."""
    return pattern.shifted(pattern.length / 2)


def turned_part(part: Part) -> Part:
    """A part that leans on the clave, the other way round; its name too, where the library has
    one."""
    lines, variation = (
        tuple(_turned_line(line, part.clave) for line in lines)
        for lines in (part.lines, part.variation)
    )
    member = replace(part.member, name=lines[0].name, title=lines[0].title)
    return Part(member, lines, variation, other(part.clave))


def _turned_line(line: Line, way: str) -> Line:
    known = shelf.ostinatos().get(line.name.replace(way, other(way)))
    if known and known.name != line.name:
        return replace(line, name=known.name, title=known.title, pattern=known.pattern)
    title = line.title.replace(way, other(way))
    return replace(line, title=title, pattern=_turned(line.pattern))


def turned_figure(figure: Figure) -> Figure:
    """A style's figure the other way round.

    An end shorter than the pattern has no half of the clave to itself, and stays.
    """
    half, last = len(figure.pattern) // 2, figure.last
    if len(last) == len(figure.pattern):
        last = last[half:] + last[:half]
    return replace(figure, pattern=figure.pattern[half:] + figure.pattern[:half], last=last)
