"""Where in the take the exercise begins, and how the player's time goes on from there.

The start is found by trying: each of the first strokes may be each of the first expected ones;
the try that explains most wins, the fewest missing before it, the accents where they are loud.
Then the player's time is followed bar by bar, by the median of how far strokes lie from where they
are due, so that slow drift, a missed bar and wrong strokes leave the rest in place.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from statistics import median

from midiforge.model.hit import Strength
from midiforge.takes.expected import Due
from midiforge.takes.match import match

_FIRST_STROKES, _FIRST_SECONDS = 48, 20.0  # looked at to find the start
_TRIED_STROKES, _TRIED_DUES = 16, 96
_GOOD = 0.75  # explains so much: no other tempo is tried
_SLOWEST, _FASTEST, _RATIO = 0.55, 1.8, 1.012
_FEW = 0.34  # matched less than this share of a stretch: nothing is learnt from it
_LOST = 0.5  # matched less than this: the player may be elsewhere
_CLEARLY, _SURELY = 0.25, 0.75  # so much better must another place be, and at least so good
_LEAST_OFTEN = 30  # stretches between two such searches
_ENOUGH = 12  # dues that such a place must explain
_FARTHEST = 4.0  # seconds that somebody who lost the place goes on earlier or later
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
    jumps: where the player lost the place and went on later (or earlier, below 0): seconds of
        the exercise, and by how many seconds.
    """

    dues: tuple[float, ...]
    times: tuple[float, ...]
    jumps: tuple[tuple[float, float], ...] = ()

    def at(self, due: float) -> float:
        """When in the take `due` is, by the player's own time."""
        i = min(max(bisect_right(self.dues, due), 1), len(self.dues) - 1)
        one, two = self.dues[i - 1], self.dues[i]
        slope = (self.times[i] - self.times[i - 1]) / (two - one)
        return self.times[i - 1] + (due - one) * slope

    @property
    def stretch(self) -> float:
        """Seconds of the take to a second of the exercise, on average, jumps left out."""
        jumped = sum(shift for _, shift in self.jumps)
        return (self.times[-1] - self.times[0] - jumped) / (self.dues[-1] - self.dues[0])

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
    # Strokes on pads that the exercise does not use speak against it.
    among = sum(1 for stroke in strokes if known[0].time <= stroke.time <= known[-1].time)
    found = _likeliest(dues, known, window)
    return replace(found, share=found.share * len(known) / among)


def _likeliest(dues: Sequence[Due], known: Sequence[Heard], window: float) -> Start:
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
    soon = bisect_right(strokes, strokes[0].time + _FIRST_SECONDS, key=lambda each: each.time)
    some = strokes[: min(_FIRST_STROKES, max(soon, 4))]
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
    if not dues or not strokes:
        return Line((0.0, 1.0), (start.offset, start.offset + start.stretch))
    return _Follower(dues, strokes, start, window).line(stretch_of)


@dataclass(slots=True)
class _Segment:
    """A part of the take through which the player did not lose the place.

    first, last: the dues it goes from and to, in seconds of the exercise.
    rate: the tempo in the end, seconds of the take to a second of the exercise.
    """

    first: float
    last: float
    rate: float
    knots: list[tuple[float, float]]


class _Follower:
    """Goes through the dues stretch by stretch, keeping where the take is and how fast."""

    def __init__(
        self, dues: Sequence[Due], strokes: Sequence[Heard], start: Start, window: float
    ) -> None:
        self.dues, self.strokes, self.start, self.window = dues, strokes, start, window
        self.times = {pad: [each.time for each in heard] for pad, heard in by_pad(strokes).items()}
        self.everything = [each.time for each in strokes]
        self.offset, self.rate = start.offset, start.stretch
        self.segments = [_Segment(dues[0].time, dues[0].time, start.stretch, [])]
        self.jumps: list[tuple[float, float]] = []
        self.tries = self.patience = 0

    def line(self, stretch_of: float) -> Line:
        at = 0
        last = self.everything[-1] + self.window
        while at < len(self.dues) and self._time(self.dues[at].time) <= last:
            stop = self._end(at, stretch_of, last)
            found = self._residuals(self.dues[at:stop], self.offset)
            share = len(found) / (stop - at)
            if share < _LOST and self._is_played(at, stop):
                later = self._looked_for(at, stretch_of, last)
                if later is not None:
                    at = later
                    continue
            if len(found) >= max(2, _FEW * (stop - at)):
                self._learn((self.dues[at].time + self.dues[stop - 1].time) / 2, median(found))
            self.segments[-1].last = self.dues[stop - 1].time
            at = stop
        return self._drawn()

    def _time(self, due: float) -> float:
        return due * self.rate + self.offset

    def _end(self, at: int, length: float, last: float) -> int:
        """The end of a stretch, but no due later than the take goes on."""
        stop = bisect_left(self.dues, self.dues[at].time + length, lo=at, key=_time)
        over = bisect_right(self.dues, (last - self.offset) / self.rate, lo=at, key=_time)
        return max(min(stop, over), at + 1)

    def _learn(self, middle: float, moved: float) -> None:
        """Takes what a stretch says of where the player is, and of the tempo."""
        knots = self.segments[-1].knots
        most = _MOST_JUMP * self.window
        moved = max(-most, min(most, moved))
        time = self._time(middle) + moved
        if knots:
            change = _QUICKNESS * moved / max(middle - knots[-1][0], 0.5)
            usual = self.start.stretch
            self.rate = max(0.8 * usual, min(1.25 * usual, self.rate + change))
        knots.append((middle, time))
        self.offset = time - middle * self.rate
        self.segments[-1].rate = self.rate

    def _residuals(self, dues: Sequence[Due], offset: float) -> list[float]:
        """How far the strokes of a stretch are from where they are due."""
        at: dict[str, list[float]] = {}
        for due in dues:
            at.setdefault(due.pad, []).append(due.time * self.rate + offset)
        found = []
        for pad, lines in at.items():
            heard = self.times.get(pad)
            if not heard:
                continue
            near = heard[
                bisect_left(heard, lines[0] - self.window) : bisect_right(
                    heard, lines[-1] + self.window
                )
            ]
            found += [near[j] - lines[i] for i, j in match(lines, near, self.window)]
        return found

    def _looked_for(self, at: int, length: float, last: float) -> int | None:
        """`_elsewhere`, asked less and less often where it is asked in vain."""
        if self.patience:
            self.patience -= 1
            return None
        found = self._elsewhere(at, length, last)
        self.tries = 0 if found is not None else self.tries + 1
        self.patience = min(2**self.tries - 2, _LEAST_OFTEN) if self.tries > 1 else 0
        return found

    def _is_played(self, at: int, stop: int) -> bool:
        """Whether there are strokes in a stretch, though not those that are due."""
        begin, end = (self._time(self.dues[i].time) for i in (at, stop - 1))
        first = bisect_left(self.everything, begin - self.window)
        return bisect_right(self.everything, end + self.window) - first >= 0.5 * (stop - at)

    def _elsewhere(self, at: int, length: float, last: float) -> int | None:
        """Where in the exercise the player may have gone on; None if nowhere is likelier.

        A whole number of grid steps is not asked for: who loses the place comes in anywhere.
        """
        horizon = self.dues[at : self._end(at, 3 * length, last)]
        if len(horizon) < _ENOUGH:
            return None
        here = len(self._residuals(horizon, self.offset)) / len(horizon)
        begin = self._time(horizon[0].time)
        first = bisect_left(self.everything, begin - self.window)
        tried: list[tuple[float, float]] = []
        for stroke in self.strokes[first : first + 16]:
            for due in horizon[:24]:
                if due.pad == stroke.pad:
                    shift = stroke.time - self._time(due.time)
                    if self.window < abs(shift) < _FARTHEST:
                        tried.append((abs(shift), shift))
        best, moved = max(here + _CLEARLY, _SURELY), None
        seen: set[int] = set()
        for _, shift in sorted(tried):
            key = round(3 * shift / self.window)
            if key in seen:
                continue
            seen.add(key)
            # What lies before the strokes now was skipped, or is played already.
            skipped = [
                due for due in horizon if self._time(due.time) + shift >= begin - self.window
            ]
            if len(skipped) < _ENOUGH:
                continue
            share = len(self._residuals(skipped, self.offset + shift)) / len(skipped)
            if share > best:
                best, moved = share + 0.02, shift
        if moved is None:
            return None
        self.offset += moved
        self.jumps.append((self.dues[at].time, moved))
        while at < len(self.dues) and self._time(self.dues[at].time) < begin - self.window:
            at += 1
        if at < len(self.dues):
            begins = self.dues[at].time
            self.segments.append(_Segment(begins, begins, self.rate, []))
        return at

    def _drawn(self) -> Line:
        """One line through all segments."""
        dues: list[float] = []
        times: list[float] = []
        for segment in self.segments:
            for due, time in _smoothed(segment, self.start, only=len(self.segments) == 1):
                if not dues or (due > dues[-1] and time > times[-1]):
                    dues.append(due)
                    times.append(time)
        if len(dues) < 2:
            due, time = (dues[0], times[0]) if dues else (0.0, self.start.offset)
            dues, times = [due, due + 1.0], [time, time + self.start.stretch]
        return Line(tuple(dues), tuple(times), tuple(self.jumps))


def _smoothed(segment: _Segment, start: Start, only: bool) -> list[tuple[float, float]]:
    """A segment's knots, each the middle of its neighbours, so that none is an accident."""
    knots = segment.knots
    if not knots:
        return [] if not only else [(0.0, start.offset), (1.0, start.offset + start.stretch)]
    dues = [due for due, _ in knots]
    first, last = knots[0], knots[-1]
    # Off the straight line from the first to the last, which smoothing leaves as it is.
    slope = (last[1] - first[1]) / (last[0] - first[0]) if len(knots) > 1 else segment.rate
    off = [time - first[1] - (due - first[0]) * slope for due, time in knots]
    calm = []
    for i in range(len(off)):
        reach = min(2, i, len(off) - 1 - i)
        calm.append(median(off[i - reach : i + reach + 1]))
    calm = [
        (calm[max(i - 1, 0)] + 2 * calm[i] + calm[min(i + 1, len(calm) - 1)]) / 4
        for i in range(len(calm))
    ]
    found = [
        (due, first[1] + (due - first[0]) * slope + each)
        for due, each in zip(dues, calm, strict=True)
    ]
    if only and len(found) > 1:
        return found
    # To the ends of the segment, where the next one begins elsewhere.
    begin = (segment.first, found[0][1] - (found[0][0] - segment.first) * slope)
    end = (segment.last, found[-1][1] + (segment.last - found[-1][0]) * segment.rate)
    return [begin, *found, end]
