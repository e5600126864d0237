"""Exercises by their titles, a line each: to find a number."""

from collections.abc import Iterable, Iterator, Sequence
from itertools import chain, islice, zip_longest
from textwrap import wrap

from midiforge.insight import insight
from midiforge.model.piece import Piece, tempo_said

_HEADS = ("number", "stage", "exercise", "tempos", "bars", "how hard")
_TITLE = _HEADS.index("exercise")
_MEASURED = 50  # pieces by which columns are measured, before the first line
_NARROWEST = 20  # characters of a title


def title_lines(pieces: Iterable[Piece], width: int) -> Iterator[str]:
    """A table of exercises, each at its tempos; titles too long for `width` go on below.

    How hard is said of the fastest, as `show_exercise` says it. Lines come as pieces do: columns
    are as wide as the first pieces need, and get wider where a later one needs that.
    """
    sizes = [*map(len, _HEADS)]
    pieces = iter(pieces)
    first = [*islice(pieces, _MEASURED)]
    for piece in first:
        _widen(sizes, _told(piece))
    yield from _lines(_HEADS, sizes, width)
    for piece in chain(first, pieces):
        told = _told(piece)
        _widen(sizes, told)
        how_hard = f"{insight(piece.fastest).difficulty.score:.1f}"
        yield from _lines((*told, how_hard), sizes, width)


def _widen(sizes: list[int], row: Iterable[str]) -> None:
    for i, text in enumerate(row):
        sizes[i] = max(sizes[i], len(text))


def _lines(row: Sequence[str], sizes: Sequence[int], width: int) -> Iterator[str]:
    fitted = [*sizes]
    others = sum(sizes) - sizes[_TITLE] + 2 * (len(sizes) - 1)
    fitted[_TITLE] = min(sizes[_TITLE], max(width - others, _NARROWEST))
    cells = [[text] for text in row]
    cells[_TITLE] = wrap(row[_TITLE], fitted[_TITLE])
    for parts in zip_longest(*cells, fillvalue=""):
        line = (f"{part:<{size}}" for part, size in zip(parts, fitted, strict=True))
        yield "  ".join(line).rstrip()


def _told(piece: Piece) -> tuple[str, ...]:
    """All but how hard it is, which takes longest to find out and no room."""
    fastest = piece.fastest
    return (
        piece.number,
        fastest.stage,
        fastest.title,
        ", ".join(map(tempo_said, piece.exercises)),
        str(fastest.bars),
    )
