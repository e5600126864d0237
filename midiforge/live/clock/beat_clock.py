"""MIDI beat clock: 24 clocks a quarter note, start, stop, continue and song position; and when the
clocks of a master are due, from when they arrive.

MIDI 1.0 Detailed Specification, System Real Time and Song Position Pointer messages.
"""

from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, sqrt
from operator import mul

from midiforge.live.clock.timing import MS
from midiforge.live.playing.bars import FASTEST, SLOWEST
from midiforge.midi.message import SONG_POSITION

CLOCKS = 24  # a quarter note
SIXTEENTH = CLOCKS // 4  # what song positions are counted in

_MOST_SIXTEENTHS = 0x3FFF


def clocks_in(position: Fraction, length: Fraction) -> Iterator[float]:
    """Where clocks fall in a stretch of `length` quarter notes that begins `position` quarter
    notes after the first clock, in quarter notes from the stretch's beginning."""
    number = ceil(position * CLOCKS)
    while Fraction(number, CLOCKS) < position + length:
        yield float(Fraction(number, CLOCKS) - position)
        number += 1


def song_position(position: Fraction) -> bytes:
    """The message for a place in the song, in quarter notes: sixteenths in 14 bits."""
    sixteenths = int(position * 4) & _MOST_SIXTEENTHS
    return SONG_POSITION + bytes((sixteenths & 0x7F, sixteenths >> 7))


_MINUTE = 60_000 * MS
SHORTEST, LONGEST = (float(_MINUTE / CLOCKS / tempo) for tempo in (FASTEST, SLOWEST))
_AT_ONCE = SHORTEST / 2  # clocks closer than this were held up on the way, or sent twice
LOST = 500 * MS  # without a clock for longer than this, the master counts as stopped
_STALL = 2  # periods without a clock, after which those that come at once were held up


@dataclass(slots=True)
class _Stall:
    """No clock came for a while.

    count: of the last clock before; periods: how long, in periods; came: clocks since, at once.
    """

    count: int
    periods: float
    period: float
    came: int = 1


class ClockLine:
    """When clocks are due, from when they arrive.

    Through the newest arrivals (at most two quarter notes) goes a line of least squares. A bend
    is added to it, for a tempo that glides, as far as it stands out against the jitter: by the
    share 1 - b/F where F is the bend's F statistic. Arrivals far off the line are pulled in. Two
    sums of what lies before and what lies behind the line (Page's CUSUM test, Biometrika 41,
    1954) tell a change of tempo, and when it was; the line then begins anew from there. If it then
    runs as fast as it did before, some clocks late, those clocks went missing on the way.

    No tempo is believed that nobody could play (`bars.SLOWEST` and `FASTEST`). Clocks that come at
    once after a silence are those that the silence held up: they are counted, and tell nothing of
    the tempo. A clock at once after another that was on time is the same one again.

    Messages come late, never early: delays are taken for uniform, so the line is moved from their
    mean, by sqrt(3) standard deviations, to where no message has waited.

    count: of the newest clock, missed ones included; at: when it was due, in nanoseconds;
    period: from clock to clock, None until two were heard. jitter: standard deviation of the
    arrivals, in nanoseconds.
    """

    MOST = 2 * CLOCKS
    FEWEST = 12  # for a bend, for the jitter
    BEND = 6.0  # a bend's F statistic up to which it is taken for chance
    SLACK, LIMIT = 1.0, 5.0  # of the two sums, in standard deviations
    FAR = 4.0  # arrivals further off count as just this far
    FIRST_JITTER, LEAST_JITTER, MOST_JITTER = 0.4 * MS, 0.1 * MS, 1.0 * MS
    LONG = 4 * CLOCKS  # clocks that the jitter is averaged over
    STEADY = CLOCKS  # arrivals that make a line to hold a later one against
    ALIKE = 0.01  # periods that differ by a smaller share are taken for the same

    def __init__(self) -> None:
        self.count = -1
        self.at = 0.0
        self.period: float | None = None
        self._heard = 0
        self._arrivals: deque[tuple[int, int]] = deque(maxlen=self.MOST)
        self._points: deque[tuple[int, float]] = deque(maxlen=self.MOST)
        self._mean_at = 0.0
        self._spread, self._measured = 0.0, 0
        self._before, self._behind = 0.0, 0.0
        self._on_line_before, self._on_line_behind = 0, 0
        self._missed, self._long = 0, 0
        self._stall: _Stall | None = None
        self._at_once = 0  # at the beginning: clocks at once after another, not counted yet
        self._steady: tuple[int, float, float] | None = None  # count, when, period

    @property
    def jitter(self) -> float:
        return sqrt(self._spread) if self._measured else self.FIRST_JITTER

    def hear(self, when: int, fresh: bool = False) -> None:
        """A clock arrives. fresh: it may have nothing to do with those before (a start)."""
        gap, points = when - self._heard, self._points
        if self._stall and not fresh and self._after_stall(when, gap):
            return
        if self.period and gap > _STALL * self.period:
            self._stall = _Stall(self.count, gap / self.period, self.period)
        if not points or gap > LOST:
            steps = max(round(gap / self.period), 1) if points and self.period else 1
            self._begin(self.count + steps, when)
            return
        steps = 1 if fresh else self._steps(when, gap)
        if not steps:
            return
        self.count += steps
        self._heard = when
        if len(points) == 1 or self.period is None:
            self._add(when, when)
        else:
            self._compare(when, fresh)
        self._fit()
        self._make_good()

    def _after_stall(self, when: int, gap: int) -> bool:
        """Whether a clock is one of those that a stall held up, or the first after them."""
        stall = self._stall
        assert stall is not None
        self._heard = when
        if gap < _AT_ONCE:
            stall.came += 1
            return True
        self._stall = None
        if stall.came == 1:  # the others are lost, if there were any
            self._heard = when - gap
            return False
        due = int(stall.periods)
        self.period = stall.period
        self._begin(stall.count + max(stall.came, due) + 1, when)
        return True

    def _begin(self, count: int, when: int) -> None:
        """Forgets all but the tempo."""
        self.count, self._heard = count, when
        self._missed = self._long = self._at_once = 0
        self._steady = None
        self.at = self._mean_at = float(when)
        self._arrivals.clear()
        self._points.clear()
        self._add(when, when)
        self._on_line(count)

    def _add(self, when: int, taken: float) -> None:
        self._arrivals.append((self.count, when))
        self._points.append((self.count, taken))

    def _on_line(self, count: int) -> None:
        self._before = self._behind = 0.0
        self._on_line_before = self._on_line_behind = count

    def _steps(self, when: int, gap: int) -> int:
        """How many clocks further this one is: more than one where some went missing, none where
        one comes after all that was thought to be missing, or comes again."""
        if self.period is None or len(self._points) < SIXTEENTH:
            if gap < _AT_ONCE:
                self._at_once += 1
                return 0
            behind, self._at_once = self._at_once, 0
            return 1 if behind == 1 else 1 + behind  # one alone is the same clock again
        if self._missed and gap < self.period / 2:
            self._missed -= 1
            return 0
        due = self._mean_at + (self.count + 1 - self._points[-1][0]) * self.period
        if gap < _AT_ONCE and when < due - self.period / 2:
            return 0
        steps = round(gap / self.period)
        if steps < 2 or abs(gap - steps * self.period) > self.period / 4:
            self._missed = self._long = 0
            return 1
        self._long += 1
        if self._long == 3:  # as long again and again: nothing is missing, the tempo fell
            arrivals = list(self._arrivals)[-3:]
            last = self.count - self._missed
            self._restart([(last - 2 + i, when) for i, (_, when) in enumerate(arrivals)])
            self.count, self._missed, self._long = last, 0, 0
            return 1
        self._missed += steps - 1
        return steps

    def _compare(self, when: int, fresh: bool) -> None:
        """Holds an arrival against where the line says it should be."""
        assert self.period is not None
        due = self._mean_at + (self.count - self._points[-1][0]) * self.period
        jitter = min(max(self.jitter, self.LEAST_JITTER), self.MOST_JITTER)
        deviation = jitter * sqrt(1 + 8 / len(self._points))
        off = (when - due) / deviation
        if fresh and abs(off) > self.FAR:
            self._begin(self.count, when)
            return
        off = max(-self.FAR, min(self.FAR, off))
        self._add(when, due + off * deviation)
        self._behind = max(0.0, self._behind + off - self.SLACK)
        self._before = max(0.0, self._before - off - self.SLACK)
        if not self._behind:
            self._on_line_behind = self.count
        if not self._before:
            self._on_line_before = self.count
        if max(self._behind, self._before) > self.LIMIT:
            since = self._on_line_behind if self._behind > self.LIMIT else self._on_line_before
            kept = [arrival for arrival in self._arrivals if arrival[0] >= since]
            if lost := self._lost_in(kept):
                before = [point for point in self._points if point[0] <= since]
                self.count += lost
                self._restart([*before, *((i + lost, when) for i, when in kept[1:])])
            else:
                self._restart(kept)

    def _lost_in(self, kept: Sequence[tuple[int, int]]) -> int:
        """How many clocks went missing after the first of these, if the tempo stayed."""
        steps = len(kept) - 1
        if steps < 2 or self.period is None:
            return 0
        whole = (kept[-1][1] - kept[0][1]) / self.period
        later = (kept[-1][1] - kept[1][1]) / self.period / (steps - 1)
        lost = round(whole) - steps
        same = abs(later - 1) < 1 / 4 and abs(whole - steps - lost) < 1 / 4
        return max(lost, 0) if same else 0

    def _make_good(self) -> None:
        """Counts what must have gone missing since the line was steady."""
        number = len(self._points)
        if self.period is None or number < SIXTEENTH:
            return
        if number >= self.STEADY:
            self._steady = self.count, self._mean_at, self.period
        elif self._steady is not None:
            count, at, period = self._steady
            counted = self.count - count
            more = (self._mean_at - at) / period - counted
            lost = round(more)
            alike = abs(self.period / period - 1) < self.ALIKE and counted < 2 * self.MOST
            if lost > 0 and alike and abs(more - lost) < 0.2:
                self.count += lost
                self._restart([(i + lost, when) for i, when in self._points])

    def _restart(self, points: Sequence[tuple[int, float]]) -> None:
        """The line goes through these from now on."""
        self._arrivals.clear()
        self._points.clear()
        self._arrivals.extend((i, round(when)) for i, when in points)
        self._points.extend(points)
        self._on_line(points[-1][0])

    def _fit(self) -> None:
        points = self._points
        number = len(points)
        count, newest = points[-1]
        if number < 2:
            return
        xs = [float(x - count) for x, _ in points]
        ys = [y - newest for _, y in points]
        mean_x, mean_y = sum(xs) / number, sum(ys) / number
        us = [x - mean_x for x in xs]
        vs = [y - mean_y for y in ys]
        uu, uv = _dot(us, us), _dot(us, vs)
        slope, end = uv / uu, -mean_x
        at, period = mean_y + slope * end, slope
        if number >= self.FEWEST:
            squares = [u * u for u in us]
            lean, middle = _dot(squares, us) / uu, uu / number
            qs = [square - lean * u - middle for square, u in zip(squares, us, strict=True)]
            qq = _dot(qs, qs)
            bend = _dot(qs, vs) / qq
            explained = bend * bend * qq
            left = max(0.0, _dot(vs, vs) - slope * uv - explained) / (number - 3)
            share = max(0.0, 1 - self.BEND * left / explained) if explained else 0.0
            at += share * bend * (end * end - lean * end - middle)
            period += share * bend * (2 * end + 1 - lean)
            self._measured = min(self._measured + 1, self.LONG)
            self._spread += (left - self._spread) / self._measured
        self._mean_at = newest + at
        if SHORTEST <= period <= LONGEST:
            self.period = period
        waited = sqrt(3 * self._spread) if self._measured else 0.0
        self.at = self._mean_at - min(waited, self.MOST_JITTER)


def _dot(one: Sequence[float], other: Sequence[float]) -> float:
    return float(sum(map(mul, one, other)))
