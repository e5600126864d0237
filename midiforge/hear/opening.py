"""The first strokes of a take beside an exercise that begins at a given moment, so slowly."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from functools import cached_property
from itertools import accumulate, pairwise
from typing import NamedTuple

from midiforge.frozen import frozen
from midiforge.hear.match import Pair, match

LOUD = 0.05  # what it is worth if accents are louder
APART = 0.3  # what it costs if strokes lie a whole window from their dues
_ALL_THE_LOUDER = 40  # in velocity; more says no more
_TINY = 1e-9  # more than floats are out


class Heard(NamedTuple):
    """A played stroke on a known pad. time: seconds; which: its index in the take's strokes."""

    time: float
    pad: str
    velocity: int
    which: int


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


@frozen
class Start:
    """How the take lies on the exercise at its beginning.

    offset: when the first downbeat is, in seconds of the take.
    stretch: seconds of the take to a second of the exercise; 1 where the tempo is right.
    share: how much of the first strokes it explains, 0 to 1.
    apart: how far those lie from where they are due, as a share of the window.
    """

    offset: float
    stretch: float
    share: float
    apart: float = 1.0

    @property
    def fit(self) -> float:
        """How much it explains, and how closely; 1 at best."""
        return self.share - APART * self.apart


class _Line:
    """What is due on one pad."""

    def __init__(self) -> None:
        self.times: list[float] = []
        self.wanted: list[Wanted] = []

    def add(self, each: Wanted) -> None:
        self.times.append(each.time)
        self.wanted.append(each)


# The first due and the one after the last, and by pad when they are.
_Between = tuple[int, int, Sequence[tuple[str, Sequence[float]]]]


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
        answers = (i for i, (one, two) in enumerate(pairwise(dues)) if two.call and not one.call)
        # How many dues there are until a second call begins; 0 where none does.
        self.answered = next(answers, -1) + 1
        self._between: dict[tuple[float, float], _Between] = {}

    def between(self, begin: float, end: float) -> _Between:
        """What is due from `begin` up to `end`, both in seconds of the exercise."""
        if (begin, end) not in self._between:
            lines = []
            for pad, line in self.lines.items():
                some = line.times[bisect_left(line.times, begin) : bisect_left(line.times, end)]
                if some:
                    lines.append((pad, some))
            first, stop = bisect_left(self.times, begin), bisect_left(self.times, end)
            self._between[begin, end] = first, stop, lines
        return self._between[begin, end]


class Opening:
    """Strokes of a take in a row, to be held against what is due: its first, or `within` it."""

    def __init__(self, part: Part, strokes: Sequence[Heard], within: bool = False) -> None:
        self.part, self.strokes, self.within = part, strokes, within
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
        """How many strokes there are, and dues that are to be struck among them."""
        times = self.part.times
        soon = (self.strokes[0].time - offset - window) / stretch - _TINY
        first = bisect_left(times, soon) if self.within else 0
        last = bisect_right(times, self.latest(offset, stretch, window))
        return len(self.strokes) + self.part.asked[max(last, first)] - self.part.asked[first]

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

    def explained(self, offset: float, stretch: float, window: float) -> tuple[Start, float]:
        """How much of it is explained by an exercise that begins at `offset`, so slowly; and
        whether accents are the louder ones, -1 to 1."""
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
        start = Start(offset, stretch, share, apart)
        if not louds or not softs:
            return start, 0.0
        difference = (loud / louds - soft / softs) / _ALL_THE_LOUDER
        return start, max(-1.0, min(1.0, difference))

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
