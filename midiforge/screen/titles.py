"""Exercises by their titles, a line each: to find a number."""

from collections.abc import Iterable, Iterator, Sequence
from itertools import chain, islice, zip_longest
from textwrap import wrap

from midiforge.insight.insight import insight
from midiforge.model.exercise import Exercise, fastest
from midiforge.model.number import numbers_said

_HEADS = ("number", "stage", "exercise", "tempos", "bars", "how hard")
_TITLE, _TEMPOS = _HEADS.index("exercise"), _HEADS.index("tempos")
_HELD = "\xa0"  # a blank at which no line ends
_MEASURED = 50  # pieces by which columns are measured, before the first line
_NARROWEST = 20  # characters of a title


def title_lines(pieces: Iterable[Sequence[Exercise]], width: int) -> Iterator[str]:
    """A table of exercises, each at its tempos; titles and tempos too long for `width` go on
    below.

    How hard is said of the fastest, as `exercise_lines` says it. Lines come as pieces do: columns
    are as wide as the first pieces need, and get wider where a later one needs that.
    """
    sizes = [*map(len, _HEADS)]

    def widen(row: Sequence[str]) -> None:
        sizes[: len(row)] = map(max, sizes, map(len, row))

    pieces = iter(pieces)
    first = [*islice(pieces, _MEASURED)]
    for piece in first:
        widen(_told(piece))
    yield from _lines(_HEADS, sizes, width)
    for piece in chain(first, pieces):
        told = _told(piece)
        widen(told)
        how_hard = f"{insight(fastest(piece)).difficulty.score:.1f}"
        yield from _lines((*told, how_hard), sizes, width)


def _lines(row: Sequence[str], sizes: Sequence[int], width: int) -> Iterator[str]:
    fitted = [*sizes]
    over = sum(sizes) + 2 * (len(sizes) - 1) - width
    if over > 0:
        fitted[_TEMPOS] = max(sizes[_TEMPOS] - over, min(sizes[_TEMPOS], width // 3))
        over -= sizes[_TEMPOS] - fitted[_TEMPOS]
        fitted[_TITLE] = max(sizes[_TITLE] - over, min(sizes[_TITLE], _NARROWEST))
    cells = [[text] for text in row]
    for i in (_TITLE, _TEMPOS):
        cells[i] = [line.replace(_HELD, " ") for line in wrap(row[i], fitted[i])]
    for parts in zip_longest(*cells, fillvalue=""):
        line = (f"{part:<{size}}" for part, size in zip(parts, fitted, strict=True))
        yield "  ".join(line).rstrip()


def _told(piece: Sequence[Exercise]) -> tuple[str, ...]:
    """All but how hard it is, which takes longest to find out and no room."""
    first = piece[0]
    return (
        numbers_said(exercise.number for exercise in piece),
        first.stage,
        first.title,
        ", ".join(exercise.tempo_said.replace(" ", _HELD) for exercise in piece),
        str(first.bars),
    )
