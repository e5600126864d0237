"""Columns set evenly: as far apart as their times, wherever what stands in them leaves room."""

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate, pairwise

from midiforge.engraving.shapes import Boxes, Mark
from midiforge.frozen import frozen

_BETWEEN = 2.0  # tenths of a staff space that stay free between two columns
_LEAD = 0.45  # from the bar line to the first column, as a share of the closest two columns
_BAR_LINE = 6.0  # free after a bar line
_GRACE_LETTER = 3.0  # what the letters below grace notes need more than these
_GRACE_AWAY = 2.5  # how much further before their stroke several stand, for their letters
HALF_HEAD = 5.9
_HEAD = 13.0  # what is beside a column's left edge and keeps its shape: a notehead and its stem


@dataclass(slots=True)
class Column:
    """What stands at one time.

    x: the left edge of its noteheads. left, right: how far its ink reaches, to each side of x;
        all in tenths of a staff space.
    """

    x: float
    left: float = 0.0
    right: float = 0.0


Staff = Sequence[Mark]


@frozen
class Grid:
    """When the notes of some beats are struck.

    times: by the names of their marks, in quarter notes.
    closest: how near two of them come. span: from, up to.
    crowded: the names of those with several grace notes.
    """

    times: Mapping[str, Fraction]
    closest: Fraction
    span: tuple[Fraction, Fraction]
    crowded: frozenset[str] = frozenset()

    def evenly(
        self, staves: Sequence[Staff], boxes: Boxes, width: float
    ) -> tuple[Sequence[Staff], dict[Fraction, float]]:
        """The marks of all staves, moved so that columns are as far apart as their times.

        With them the middle of a notehead in each column.
        """
        columns = self._columns(staves, boxes)
        times = sorted(columns)
        places = self.places(columns, width) if columns else []
        if not places:
            return staves, {time: columns[time].x + HALF_HEAD for time in times}
        away = {t: place - columns[t].x for t, place in zip(times, places, strict=True)}
        between = Between([columns[time] for time in times], places)
        moved = [[self._moved(mark, away, between) for mark in staff] for staff in staves]
        return moved, {t: place + HALF_HEAD for t, place in zip(times, places, strict=True)}

    def _moved(self, mark: Mark, away: Mapping[Fraction, float], between: "Between") -> Mark:
        if mark.note in self.times:
            return mark.moved(away[self.times[mark.note]] - self._further(mark))
        if mark.note:  # a rest in the middle of its bar
            return mark
        return mark._replace(points=tuple((between.place(x), y) for x, y in mark.points))

    def _further(self, mark: Mark) -> float:
        """How much further a grace note stands; a single one is kept away by its flag."""
        return _GRACE_AWAY if mark.name != mark.note and mark.note in self.crowded else 0.0

    def _columns(self, staves: Sequence[Staff], boxes: Boxes) -> dict[Fraction, Column]:
        own = [mark for staff in staves for mark in staff if mark.note in self.times]
        firsts: dict[str, float] = {}
        for mark in own:
            if mark.kind == "glyph" and mark.name == mark.note:
                firsts.setdefault(mark.name, mark.points[0][0])
        columns: dict[Fraction, Column] = {}
        for name, x in firsts.items():
            column = columns.setdefault(self.times[name], Column(x))
            column.x = min(column.x, x)
        for mark in own:
            column = columns[self.times[mark.note]]
            left, right, *_ = mark.extent(boxes)
            more = _GRACE_LETTER + self._further(mark) if mark.name != mark.note else 0.0
            column.left = max(column.left, column.x - left + more)
            column.right = max(column.right, right - column.x)
        return columns

    def places(self, columns: Mapping[Fraction, Column], width: float) -> list[float]:
        """Where the columns stand, in order of time, in a piece of `width`.

        What needs more room than its time would have gets it, and the others share the rest.
        Empty where all of it together does not fit.
        """
        times = sorted(columns)
        lead = float(self.closest) * _LEAD
        begins = [float(self.span[0]) - lead, *map(float, times), float(self.span[1])]
        lasting = [later - earlier for earlier, later in pairwise(begins)]
        right = [0.0, *(columns[time].right for time in times)]
        left = [*(columns[time].left for time in times), -_BETWEEN]
        right[0] = _BAR_LINE - _BETWEEN
        needed = [one + other + _BETWEEN for one, other in zip(right, left, strict=True)]
        return list(accumulate(_shared(lasting, needed, width)))[:-1]


def _shared(lasting: Sequence[float], needed: Sequence[float], width: float) -> list[float]:
    """Gaps that fill `width`: each as long as it lasts, but for those that need more."""
    if sum(needed) > width:
        return []
    gaps = list(needed)
    free = set(range(len(gaps)))
    while free:
        rest = width - sum(needed[i] for i in range(len(gaps)) if i not in free)
        scale = rest / sum(lasting[i] for i in free)
        tight = {i for i in free if needed[i] > scale * lasting[i]}
        if not tight:
            for i in free:
                gaps[i] = scale * lasting[i]
            break
        free -= tight
    return gaps


class Between:
    """Where beams and brackets go when columns move: stretched between them, rigid at notes."""

    def __init__(self, columns: Sequence[Column], places: Sequence[float]) -> None:
        self._edges: list[tuple[float, float]] = []  # from, to
        for column, place in zip(columns, places, strict=True):
            self._edges.append((column.x, place))
            self._edges.append((column.x + _HEAD, place + _HEAD))

    def place(self, x: float) -> float:
        """Where a place of the engraving is now."""
        after = bisect_right(self._edges, (x, float("inf")))
        if after in (0, len(self._edges)):
            old, new = self._edges[min(after, len(self._edges) - 1)]
            return x + new - old
        (old, new), (later, place) = self._edges[after - 1], self._edges[after]
        return new + (x - old) / (later - old) * (place - new)
