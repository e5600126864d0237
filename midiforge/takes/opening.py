"""The first strokes of a take beside an exercise, tried at many starts and tempos.

What a try explains is found by pairing, which is dear; what it explains at most is told by bits,
which is cheap. So only the likeliest tries need pairs, and the best is found all the same.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import accumulate
from math import ceil, floor
from typing import NamedTuple

from midiforge.takes.match import Pair, match

LOUD = 0.05  # what it is worth if accents are louder
APART = 0.3  # what it costs if strokes lie a whole window from their dues
_ALL_THE_LOUDER = 40  # in velocity; more says no more
_BINS = 12  # to a window
_ROOM = 4 * _BINS  # bits before the first stroke, for what is due shortly before it
_TINY = 1e-9  # more than floats are out


@dataclass(frozen=True, slots=True)
class Heard:
    """A played stroke on a known pad. time: seconds; index: in the take's strokes."""

    time: float
    pad: str
    velocity: int
    index: int


class Wanted(NamedTuple):
    """What is due, as far as it tells a start. accent, call: whether it is one, or of one."""

    time: float
    pad: str
    accent: bool
    call: bool


def by_pad(strokes: Iterable[Heard]) -> dict[str, list[Heard]]:
    found: dict[str, list[Heard]] = {}
    for stroke in strokes:
        found.setdefault(stroke.pad, []).append(stroke)
    return found


class Explained(NamedTuple):
    """How much of strokes and dues meet (0 to 1), whether accents are the louder ones (-1 to 1),
    how far from each other they are, as a share of the window."""

    share: float
    loud: float
    apart: float

class _Line:
    """What is due on one pad."""

    def __init__(self) -> None:
        self.times: list[float] = []
        self.wanted: list[Wanted] = []

    def add(self, each: Wanted) -> None:
        self.times.append(each.time)
        self.wanted.append(each)


class Part:
    """What is due, pad by pad."""

    def __init__(self, dues: Sequence[Wanted]) -> None:
        self.dues = dues
        self.times = [due.time for due in dues]
        # How many of the first dues are no call's, which count also where nobody strikes.
        self.asked = [0, *accumulate(not due.call for due in dues)]
        self.lines: dict[str, _Line] = {}
        for due in dues:
            self.lines.setdefault(due.pad, _Line()).add(due)


class Opening:
    """The first strokes of a take, to be held against what is due."""

    def __init__(self, part: Part, strokes: Sequence[Heard]) -> None:
        self.part, self.strokes = part, strokes
        self.last = strokes[-1].time
        self.pads = [
            (
                part.lines.get(pad, _Line()),
                [each.time for each in heard],
                [each.velocity for each in heard],
            )
            for pad, heard in by_pad(strokes).items()
        ]

    def latest(self, offset: float, stretch: float, window: float) -> float:
        """Up to when, in seconds of the exercise, dues may be among these strokes."""
        return (self.last - offset + window) / stretch

    def total(self, offset: float, stretch: float, window: float) -> int:
        """How many strokes there are, and dues that are to be struck."""
        last = bisect_right(self.part.times, self.latest(offset, stretch, window))
        return len(self.strokes) + self.part.asked[last]

    def _met(
        self, offset: float, stretch: float, window: float
    ) -> Iterator[tuple[Sequence[Wanted], list[float], list[float], list[int], list[Pair]]]:
        """By pad: what is due, when in the take, what was struck when and how hard, and pairs."""
        due = self.latest(offset, stretch, window)
        for line, times, velocities in self.pads:
            soon = (times[0] - offset - window) / stretch - _TINY
            first, end = bisect_left(line.times, soon), bisect_right(line.times, due)
            moved = [time * stretch + offset for time in line.times[first:end]]
            yield (
                line.wanted[first:end],
                moved,
                times,
                velocities,
                match(moved, times, window),
            )

    def explained(self, offset: float, stretch: float, window: float) -> Explained:
        """How much of it is explained by an exercise that begins at `offset`, so slowly."""
        total = self.total(offset, stretch, window)
        met = louds = softs = loud = soft = 0
        apart = 0.0
        for wanted, moved, times, velocities, pairs in self._met(offset, stretch, window):
            met += len(pairs)
            for i, j in pairs:
                apart += abs(times[j] - moved[i])
                total += wanted[i].call  # asked of who plays it
                if wanted[i].accent:
                    louds += 1
                    loud += velocities[j]
                else:
                    softs += 1
                    soft += velocities[j]
        share = 2 * met / total if total else 0.0
        apart = apart / (met * window) if met else 1.0
        if not louds or not softs:
            return Explained(share, 0.0, apart)
        difference = (loud / louds - soft / softs) / _ALL_THE_LOUDER
        return Explained(share, max(-1.0, min(1.0, difference)), apart)

    def pairs(self, offset: float, stretch: float, window: float) -> list[tuple[float, float]]:
        """When what meets is due, and when it was struck."""
        return [
            (wanted[i].time, times[j])
            for wanted, _, times, _, pairs in self._met(offset, stretch, window)
            for i, j in pairs
        ]

    @cached_property
    def most_loud(self) -> float:
        """How much louder the accents can be at most."""
        accents = {due.accent for line, *_ in self.pads for due in line.wanted}
        velocities = [stroke.velocity for stroke in self.strokes]
        difference = (max(velocities) - min(velocities)) / _ALL_THE_LOUDER
        return min(1.0, difference) if len(accents) > 1 else 0.0


class Ceiling:
    """How likely any try of an opening may be at most.

    Strokes are bits of a number, one number for each pad, and so are dues: laid on each other,
    the dues that have a stroke near them are counted at once.
    """

    def __init__(self, opening: Opening, window: float) -> None:
        """window: the widest that will be asked for."""
        self._opening, self._bin = opening, window / _BINS
        self._first = opening.strokes[0].time
        self._struck = [
            _bits([floor((time - self._first) / self._bin) for time in times])
            for _, times, _ in opening.pads
        ]
        self._near: dict[int, list[int]] = {}

    def _within(self, seconds: float) -> list[int]:
        """By pad, where dues have a stroke within so many seconds."""
        reach = ceil(seconds / self._bin + _TINY)
        if reach not in self._near:
            # Both are cut to whole bins, so that a due may lie one more before its stroke.
            self._near[reach] = [_widened(struck, reach + 1, reach) for struck in self._struck]
        return self._near[reach]

    def merits(self, offsets: Sequence[float], stretch: float, window: float) -> list[float]:
        """Of starts at these offsets, all at one tempo."""
        opening, found = self._opening, []
        latest = opening.latest(min(offsets, default=0.0), stretch, window)
        near = zip(*(self._within(window * part / 3) for part in (1, 2, 3)), strict=True)
        pads = []
        for (line, times, _), within in zip(opening.pads, near, strict=True):
            some = line.times[: bisect_right(line.times, latest)]
            dues = _bits([floor(time * stretch / self._bin) for time in some])
            pads.append((dues, len(some) - dues.bit_count(), len(times), *within))
        for offset in offsets:
            shift = floor((offset - self._first) / self._bin)
            one = two = three = 0  # dues with a stroke within a third, two thirds, the window
            for dues, more, most, *within in pads:
                moved = dues << shift if shift >= 0 else dues >> -shift
                near_by = [min((moved & each).bit_count() + more, most) for each in within]
                one, two, three = one + near_by[0], two + near_by[1], three + near_by[2]
            total = opening.total(offset, stretch, window)
            found.append(_at_most(total, one, two, three) + LOUD * opening.most_loud + _TINY)
        return found


def _at_most(total: int, one: int, two: int, three: int) -> float:
    """The best of share and nearness, where so many pairs can be within a third, two thirds and
    the whole of the window.

    Between these numbers of pairs it is nowhere better than at one of them.
    """
    if not three:
        return -APART
    best = 2 * three / total - APART / 3 * (2 * three - one - two) / three
    if two:
        best = max(best, 2 * two / total - APART / 3 * (two - one) / two)
    return max(best, 2 * one / total) if one else best


def _bits(places: Sequence[int]) -> int:
    """A number with a bit at each of some rising places, behind the room at its beginning."""
    found = bytearray((places[-1] + _ROOM) // 8 + 1 if places else 0)
    for place in places:
        found[(place + _ROOM) >> 3] |= 1 << ((place + _ROOM) & 7)
    return int.from_bytes(found, "little")


def _widened(bits: int, before: int, after: int) -> int:
    """Each bit, and so many before and after it."""
    wide, have, need = bits >> before, 1, before + after + 1
    while have < need:
        step = min(have, need - have)
        wide |= wide << step
        have += step
    return wide
