"""Where in the take the exercise begins, and how the player's time goes on from there.

The start is found by trying: each of the first strokes may be each of the first expected ones;
the try that explains most wins, the fewest missing before it, the accents where they are loud.
Then the player's time is followed bar by bar, by the median of how far strokes lie from where they
are due, so that slow drift, a missed bar and wrong strokes leave the rest in place.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from midiforge.model.hit import Strength
from midiforge.takes.expected import Due
from midiforge.takes.match import match

_FIRST_STROKES = 48  # looked at to find the start
_TRIED_STROKES, _TRIED_DUES = 16, 96
_GOOD = 0.75  # explains so much: no other tempo is tried
_SLOWEST, _FASTEST, _RATIO = 0.55, 1.8, 1.012
_LOST = 0.34  # matched less than this share of a stretch: the player may be elsewhere
_MOST_JUMP = 0.8  # of the window, in one stretch
_QUICKNESS = 0.4  # how much of a stretch's error is taken for a change of tempo


@dataclass(frozen=True, slots=True)
class Heard:
    """A played stroke on a known pad. time: seconds; index: in the take's strokes."""

    time: float
    pad: str
    velocity: int
    index: int


@dataclass(frozen=True, slots=True)
class Line:
    """The player's time: where in the take each moment of the exercise is.

    dues, times: knots, both in seconds and rising; straight lines between and beyond them.
    """

    dues: tuple[float, ...]
    times: tuple[float, ...]

    def at(self, due: float) -> float:
        """When in the take `due` is, by the player's own time."""
        i = min(max(bisect_right(self.dues, due), 1), len(self.dues) - 1)
        one, two = self.dues[i - 1], self.dues[i]
        slope = (self.times[i] - self.times[i - 1]) / (two - one)
        return self.times[i - 1] + (due - one) * slope

    def all(self, dues: Iterable[float]) -> list[float]:
        """`at` of many rising dues."""
        found = []
        last = len(self.dues) - 1
        i = 1
        one, time = self.dues[0], self.times[0]
        slope = (self.times[1] - time) / (self.dues[1] - one)
        for due in dues:
            while i < last and due >= self.dues[i]:
                i += 1
                one, time = self.dues[i - 1], self.times[i - 1]
                slope = (self.times[i] - time) / (self.dues[i] - one)
            found.append(time + (due - one) * slope)
        return found


@dataclass(frozen=True, slots=True)
class Start:
    """How the take lies on the exercise at its beginning.

    offset: when the first downbeat is, in seconds of the take.
    stretch: seconds of the take to a second of the exercise; 1 where the tempo is right.
    share: how much of the first strokes it explains, 0 to 1.
    """

    offset: float
    stretch: float
    share: float


def by_pad(strokes: Iterable[Heard]) -> dict[str, list[Heard]]:
    found: dict[str, list[Heard]] = {}
    for stroke in strokes:
        found.setdefault(stroke.pad, []).append(stroke)
    return found


def find_start(dues: Sequence[Due], strokes: Sequence[Heard], window: float) -> Start:
    """The likeliest beginning; its share is small where the take is of something else."""
    if not dues or not strokes:
        return Start(strokes[0].time if strokes else 0.0, 1.0, 0.0)
    wanted = {due.pad for due in dues}
    known = [stroke for stroke in strokes if stroke.pad in wanted][: 2 * _FIRST_STROKES]
    if not known:
        return Start(strokes[0].time, 1.0, 0.0)
    found = _best_start(dues, known, window, 1.0, _TRIED_STROKES, _TRIED_DUES)
    if found.share >= _GOOD:
        return found
    stretch = _SLOWEST
    tries = []
    while stretch <= _FASTEST:
        tries.append(_best_start(dues, known[:32], window * min(stretch, 1.0), stretch, 5, 10))
        stretch *= _RATIO
    other = max(tries, key=lambda each: each.share)
    if other.share <= found.share + 0.08:
        return found
    return _refined(dues, known, window, other)


def _best_start(
    dues: Sequence[Due],
    strokes: Sequence[Heard],
    window: float,
    stretch: float,
    tried_strokes: int,
    tried_dues: int,
) -> Start:
    some = strokes[:_FIRST_STROKES]
    seen: set[int] = set()
    best = (-1.0, 0.0, 0.0)
    for number, stroke in enumerate(some[:tried_strokes]):
        for due in dues[:tried_dues]:
            if due.pad != stroke.pad:
                continue
            offset = stroke.time - due.time * stretch
            key = round(offset / (window / 3))
            if key in seen:
                continue
            seen.add(key)
            share, loud = _explained(dues, some, offset, stretch, window)
            # As a rule one begins at the beginning, with the first stroke that was heard.
            early = 0.004 * number + 0.0005 * bisect_left(dues, due.time, key=_time)
            best = max(best, (share + 0.05 * loud - early, share, offset))
    _, share, offset = best
    return Start(offset, stretch, max(share, 0.0))


def _time(due: Due) -> float:
    return due.time


def _explained(
    dues: Sequence[Due], strokes: Sequence[Heard], offset: float, stretch: float, window: float
) -> tuple[float, float]:
    """How much of strokes and dues meet (0 to 1), and whether accents are the louder ones."""
    last = bisect_right(dues, (strokes[-1].time - offset + window) / stretch, key=_time)
    at: dict[str, list[tuple[float, bool]]] = {}
    for due in dues[:last]:
        accent = due.hit.strength is Strength.ACCENT
        at.setdefault(due.pad, []).append((due.time * stretch + offset, accent))
    met = 0
    loud: list[int] = []
    soft: list[int] = []
    for pad, heard in by_pad(strokes).items():
        lines = at.get(pad, [])
        pairs = match([time for time, _ in lines], [each.time for each in heard], window)
        met += len(pairs)
        for i, j in pairs:
            (loud if lines[i][1] else soft).append(heard[j].velocity)
    total = len(strokes) + last
    share = 2 * met / total if total else 0.0
    if not loud or not soft:
        return share, 0.0
    difference = sum(loud) / len(loud) - sum(soft) / len(soft)
    return share, max(-1.0, min(1.0, difference / 40))


def _refined(dues: Sequence[Due], strokes: Sequence[Heard], window: float, rough: Start) -> Start:
    """The tempo by a straight line through the pairs that a rough start gives."""
    start = rough
    for _ in range(3):
        pairs = _pairs(dues, strokes, start, window)
        if len(pairs) < 4:
            return start
        mean_due = sum(due for due, _ in pairs) / len(pairs)
        mean_time = sum(time for _, time in pairs) / len(pairs)
        spread = sum((due - mean_due) ** 2 for due, _ in pairs)
        if spread <= 0:
            return start
        stretch = sum((due - mean_due) * (time - mean_time) for due, time in pairs) / spread
        if not _SLOWEST * 0.9 <= stretch <= _FASTEST * 1.1:
            return start
        offset = mean_time - stretch * mean_due
        share, _ = _explained(dues, strokes[:_FIRST_STROKES], offset, stretch, window)
        start = Start(offset, stretch, max(share, start.share))
    return start


def _pairs(
    dues: Sequence[Due], strokes: Sequence[Heard], start: Start, window: float
) -> list[tuple[float, float]]:
    end = (strokes[-1].time - start.offset + window) / start.stretch
    near = dues[: bisect_right(dues, end, key=_time)]
    at: dict[str, list[float]] = {}
    for due in near:
        at.setdefault(due.pad, []).append(due.time)
    found = []
    for pad, heard in by_pad(strokes).items():
        lines = at.get(pad, [])
        moved = [time * start.stretch + start.offset for time in lines]
        for i, j in match(moved, [each.time for each in heard], window):
            found.append((lines[i], heard[j].time))
    return found


def follow(
    dues: Sequence[Due], strokes: Sequence[Heard], start: Start, window: float, stretch_of: float
) -> Line:
    """The player's time through the whole take.

    stretch_of: how long a stretch is over which it is taken to be even, in seconds of the
        exercise.
    """
    if not dues:
        return Line((0.0, 1.0), (start.offset, start.offset + start.stretch))
    times = {pad: [each.time for each in heard] for pad, heard in by_pad(strokes).items()}
    offset, rate = start.offset, start.stretch
    last = strokes[-1].time if strokes else 0.0
    knots: list[tuple[float, float]] = []
    at = 0
    while at < len(dues):
        begin = dues[at].time
        stop = bisect_left(dues, begin + stretch_of, lo=at, key=_time)
        stop = max(stop, at + 1)
        middle = (begin + dues[stop - 1].time) / 2
        if begin * rate + offset > last + window:
            break
        found = _residuals(dues[at:stop], times, offset, rate, window)
        if len(found) >= max(2, _LOST * (stop - at)):
            moved = median(found)
            moved = max(-_MOST_JUMP * window, min(_MOST_JUMP * window, moved))
            time = middle * rate + offset + moved
            if knots:
                change = _QUICKNESS * moved / max(middle - knots[-1][0], 0.5)
                rate = max(0.8 * start.stretch, min(1.25 * start.stretch, rate + change))
            knots.append((middle, time))
            offset = time - middle * rate
        at = stop
    return _smoothed(knots, start)


def _residuals(
    dues: Sequence[Due], times: dict[str, list[float]], offset: float, rate: float, window: float
) -> list[float]:
    """How far the strokes of a stretch are from where they are due."""
    at: dict[str, list[float]] = {}
    for due in dues:
        at.setdefault(due.pad, []).append(due.time * rate + offset)
    found = []
    for pad, lines in at.items():
        heard = times.get(pad)
        if not heard:
            continue
        near = heard[
            bisect_left(heard, lines[0] - window) : bisect_right(heard, lines[-1] + window)
        ]
        found += [near[j] - lines[i] for i, j in match(lines, near, window)]
    return found


def _smoothed(knots: Sequence[tuple[float, float]], start: Start) -> Line:
    """A line through knots, each the middle of its neighbours, so that none is an accident."""
    if len(knots) < 2:
        offset = knots[0][1] - knots[0][0] * start.stretch if knots else start.offset
        return Line((0.0, 1.0), (offset, offset + start.stretch))
    dues = [due for due, _ in knots]
    # Off the straight line from the first to the last, which smoothing leaves as it is.
    slope = (knots[-1][1] - knots[0][1]) / (dues[-1] - dues[0])
    off = [time - knots[0][1] - (due - dues[0]) * slope for due, time in knots]
    calm = []
    for i in range(len(off)):
        reach = min(2, i, len(off) - 1 - i)
        calm.append(median(off[i - reach : i + reach + 1]))
    calm = [
        (calm[max(i - 1, 0)] + 2 * calm[i] + calm[min(i + 1, len(calm) - 1)]) / 4
        for i in range(len(calm))
    ]
    times = [
        knots[0][1] + (due - dues[0]) * slope + each for due, each in zip(dues, calm, strict=True)
    ]
    kept = [(dues[0], times[0])]
    for (_, before), (due, time) in pairwise(zip(dues, times, strict=True)):
        if time > before:
            kept.append((due, time))
    return Line(tuple(due for due, _ in kept), tuple(time for _, time in kept))
