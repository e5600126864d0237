"""Exercises by their titles, a line each: to find a number."""

from collections.abc import Iterable, Iterator
from itertools import zip_longest
from textwrap import wrap

from midiforge.insight import insight
from midiforge.model.piece import Piece

_HEADS = ("number", "stage", "exercise", "tempos", "bars", "how hard")
_TITLE = _HEADS.index("exercise")
_NARROWEST = 20  # characters of a title


def title_lines(pieces: Iterable[Piece], width: int) -> Iterator[str]:
    """A table of exercises, each at its tempos; titles too long for `width` go on below.

    How hard is said of the fastest, as `show_exercise` says it.
    """
    rows = [_HEADS, *map(_row, pieces)]
    sizes = [max(map(len, column)) for column in zip(*rows, strict=True)]
    others = sum(sizes) - sizes[_TITLE] + 2 * (len(sizes) - 1)
    sizes[_TITLE] = min(sizes[_TITLE], max(width - others, _NARROWEST))
    for row in rows:
        cells = [[text] for text in row]
        cells[_TITLE] = wrap(row[_TITLE], sizes[_TITLE])
        for parts in zip_longest(*cells, fillvalue=""):
            line = (f"{part:<{size}}" for part, size in zip(parts, sizes, strict=True))
            yield "  ".join(line).rstrip()


def _row(piece: Piece) -> tuple[str, ...]:
    fastest = piece.fastest
    return (
        piece.number,
        fastest.stage,
        fastest.title,
        ", ".join(str(each.tempo).removesuffix(" bpm") for each in piece.exercises),
        str(fastest.bars),
        f"{insight(fastest).difficulty.score:.1f}",
    )
