"""Exercises by their titles, a line each: to find a number."""

from collections.abc import Iterable, Iterator, Sequence
from itertools import zip_longest
from textwrap import wrap

from midiforge.insight import insight
from midiforge.insight.words import ranges
from midiforge.model.exercise import Exercise

_HEADS = ("number", "stage", "exercise", "tempos", "bars", "how hard")
_TITLE = _HEADS.index("exercise")
_NARROWEST = 20  # characters of a title


def title_lines(groups: Iterable[Sequence[Exercise]], width: int) -> Iterator[str]:
    """A table of exercises, each at its tempos; titles too long for `width` go on below.

    How hard is said of the fastest, as `show_exercise` says it.
    """
    rows = [_HEADS, *map(_row, groups)]
    sizes = [max(map(len, column)) for column in zip(*rows, strict=True)]
    others = sum(sizes) - sizes[_TITLE] + 2 * (len(sizes) - 1)
    sizes[_TITLE] = min(sizes[_TITLE], max(width - others, _NARROWEST))
    for row in rows:
        cells = [[text] for text in row]
        cells[_TITLE] = wrap(row[_TITLE], sizes[_TITLE])
        for parts in zip_longest(*cells, fillvalue=""):
            line = (f"{part:<{size}}" for part, size in zip(parts, sizes, strict=True))
            yield "  ".join(line).rstrip()


def _row(at_tempos: Sequence[Exercise]) -> tuple[str, ...]:
    fastest = max(at_tempos, key=lambda each: each.tempo.last)
    return (
        ranges(each.order for each in at_tempos),
        fastest.stage,
        fastest.title,
        ", ".join(str(each.tempo).removesuffix(" bpm") for each in at_tempos),
        str(fastest.bars),
        f"{insight(fastest).difficulty.score:.1f}",
    )
