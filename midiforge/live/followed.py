"""Somebody else's time: the MIDI beat clock of a master, followed.

MIDI 1.0 Detailed Specification, System Real Time and Song Position Pointer messages: the first
clock after a start is the song's beginning; the first after a continue is the place named by the
last song position, counted in sixteenths of six clocks, or else the place where it stopped.
"""

import time
from collections import deque
from collections.abc import Callable, Sequence
from fractions import Fraction
from math import ceil, sqrt
from operator import mul
from typing import NamedTuple

from midiforge.live.bars import Bar
from midiforge.live.beat_clock import CLOCK, CLOCKS, CONTINUE, START, STOP
from midiforge.live.timing import MS

LOST = 500 * MS  # without a clock for longer than this, the master counts as stopped
BACK_WITHIN = 10_000 * MS  # a clock lost for at most this long is taken up where it must be by now
_JUST_GONE = 50 * MS  # a start or continue heard that long ago is still begun with

_POSITION = b"\xf2"
_SIXTEENTH = CLOCKS // 4


class Turn(NamedTuple):
    """The master stopped, started, went on or moved: what is being played is over.

    top: whether the exercise begins anew. say: the same for the player to read.
    """

    top: bool
    say: str


_WAITING = Turn(False, "waiting for start or continue from the master")
_STARTED = Turn(True, "the master started")
_STOPPED = Turn(False, "the master stopped; waiting for start or continue")
_CONTINUED = Turn(False, "the master goes on")
_SILENT = Turn(False, "the master's clock is lost; waiting for it")
_BACK = Turn(False, "the master's clock is back")
_GONE = Turn(False, "the master's clock is back; waiting for start or continue")


class _Seen(NamedTuple):
    """What the driver's thread lets the player's thread know, as one.

    first: the number of the first clock since the last start or continue.
    ahead: what has to be added to a number to get clocks from the song's beginning.
    newest, at: the newest clock and when it was due; period: in nanoseconds, None if not yet known.
    """

    first: int
    ahead: int
    newest: int
    at: float
    period: float | None

    def song(self, when: int) -> float | None:
        """The place in the song at a time, in quarter notes."""
        if self.period is None:
            return None
        return (self.newest + self.ahead + (when - self.at) / self.period) / CLOCKS


class ClockLine:
    """When clocks are due, from when they arrive.

    Through the newest arrivals (at most two quarter notes) goes a line of least squares. A bend
    is added to it, for a tempo that glides, as far as it stands out against the jitter: by the
    share 1 - b/F where F is the bend's F statistic. Arrivals far off the line are pulled in. Two
    sums of what lies before and what lies behind the line (Page's CUSUM test, Biometrika 41,
    1954) tell a change of tempo, and when it was; the line then begins anew from there. If it then
    runs as fast as it did before, some clocks late, those clocks went missing on the way.

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
        self._steady: tuple[int, float, float] | None = None  # count, when, period

    @property
    def jitter(self) -> float:
        return sqrt(self._spread) if self._measured else self.FIRST_JITTER

    def hear(self, when: int, fresh: bool = False) -> None:
        """A clock arrives. fresh: it may have nothing to do with those before (a start)."""
        gap, points = when - self._heard, self._points
        if not points or gap > LOST:
            steps = round(gap / self.period) if points and self.period else 1
            self._begin(self.count + max(steps, 1), when)
            return
        steps = 1 if fresh else self._steps(gap)
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

    def _begin(self, count: int, when: int) -> None:
        """Forgets all but the tempo."""
        self.count, self._heard = count, when
        self._missed = self._long = 0
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

    def _steps(self, gap: int) -> int:
        """How many clocks further this one is: more than one where some went missing, none where
        one comes after all that was thought to be missing."""
        if self.period is None or len(self._points) < _SIXTEENTH:
            return 1
        if self._missed and gap < self.period / 2:
            self._missed -= 1
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
            kept = [each for each in self._arrivals if each[0] >= since]
            lost = self._lost_in(kept)
            if lost:
                before = [each for each in self._points if each[0] <= since]
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
        if self.period is None or number < _SIXTEENTH:
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
        if period > 0:
            self.period = period
        waited = sqrt(3 * self._spread) if self._measured else 0.0
        self.at = self._mean_at - min(waited, self.MOST_JITTER)


def _dot(one: Sequence[float], other: Sequence[float]) -> float:
    return float(sum(map(mul, one, other)))


class FollowedTime:
    """The time of a master whose beat clock is heard on an input.

    `heard` is for the driver's thread, all else for the player's. The player asks `turned`
    whenever it looks after wishes. Bar lines of the master are multiples of the exercise's bar
    from the song's beginning: beat clock does not carry a metre.

    Deadlines come from the newest estimate each time; they move while one waits, and a moment
    that was played is never asked for again, as bars are places in the song, not times.

    now: the clock that arrivals are measured by.
    """

    def __init__(self, now: Callable[[], int] = time.monotonic_ns) -> None:
        self.position = Fraction(0)
        self._now = now
        # The driver's thread writes these.
        self._line = ClockLine()
        self._running = False
        self._next = 0
        self._place: int | None = None
        self._heard = 0
        self._seen: _Seen | None = None
        self._turns: deque[Turn] = deque([_WAITING])
        # The player's thread has these to itself.
        self._pending = True
        self._after = 0
        self._length = Fraction(4)
        self._was_lost = False

    @property
    def tempo(self) -> float | None:
        """The master's, in quarter notes a minute; None while it is stopped."""
        seen = self._seen
        return 60e9 / (seen.period * CLOCKS) if seen and seen.period else None

    # The driver's thread

    def heard(self, message: bytes, when_ns: int) -> None:
        """Takes a message and when it came, in nanoseconds; what is no clock is nothing."""
        status = message[:1]
        if status == CLOCK:
            self._clock(when_ns)
        elif status == START:
            self._place = None
            self._run(0, _STARTED)
        elif status == CONTINUE:
            place, self._place = self._place, None
            if place is not None:
                self._run(place, _CONTINUED)
            elif not self._running:
                self._run(self._next, _CONTINUED)
        elif status == STOP:
            if self._running:
                self._halt(_STOPPED)
        elif status == _POSITION and len(message) >= 3:
            self._place = ((message[2] & 0x7F) << 7 | message[1] & 0x7F) * _SIXTEENTH

    def _run(self, number: int, turn: Turn) -> None:
        self._running, self._next, self._seen = True, number, None
        self._turns.append(turn)

    def _halt(self, turn: Turn) -> None:
        if self._seen is not None:
            self._next = self._seen.newest + self._seen.ahead + 1
        self._running, self._seen = False, None
        self._turns.append(turn)

    def _clock(self, when: int) -> None:
        line, seen = self._line, self._seen
        if seen is not None and when - self._heard > BACK_WITHIN:
            self._halt(_GONE)
            seen = None
        line.hear(when, fresh=self._running and seen is None)
        self._heard = when
        if self._running:
            first = seen.first if seen else line.count
            ahead = seen.ahead if seen else self._next - line.count
            self._seen = _Seen(first, ahead, line.count, line.at, line.period)

    # The player's thread

    def turned(self) -> Turn | None:
        """What the master did since this was asked last. After it the next bar that is entered
        begins at the master's next bar line, which may be where it starts or continues."""
        turn = self._just_lost()
        while self._turns:
            following = self._turns.popleft()
            turn = Turn(following.top or (turn is not None and turn.top), following.say)
        if turn is not None:
            self.begin(self._now() - _JUST_GONE)
        return turn

    def _just_lost(self) -> Turn | None:
        lost = self._lost()
        if lost is self._was_lost:
            return None
        self._was_lost = lost
        return _SILENT if lost else _BACK

    def _lost(self) -> bool:
        return self._seen is not None and self._now() - self._heard > LOST

    def begin(self, now: int) -> None:
        """The next bar begins at the first bar line of the master's from `now` on."""
        self._pending, self._after = True, now

    def rest(self, nanoseconds: int) -> None:
        """The next bar begins at the first bar line that much later."""
        if not self._pending:
            begins = self._due(self._seen, self.position)
            self.begin(self._now() if begins is None else begins)
        self._after += nanoseconds

    def enter(self, bar: Bar) -> None:
        self._length = bar.length

    def leave(self, bar: Bar) -> None:
        self.position += bar.length

    def deadline(self, at: float) -> int | None:
        """When the moment `at` quarter notes into the bar is due, by what is known by now; None
        while the master is stopped or lost, and until its first clock."""
        seen = self._seen
        if self._turns or self._was_lost or seen is None or self._lost():
            return None
        if self._pending and not self._find_bar_line(seen):
            return None
        return self._due(seen, float(self.position) + at)

    def _find_bar_line(self, seen: _Seen) -> bool:
        first = (seen.first + seen.ahead) / CLOCKS
        place = seen.song(self._after)
        if place is None:
            if self._after > seen.at:
                return False
            place = first
        self.position = ceil(max(first, place) / float(self._length) - 1e-6) * self._length
        self._pending = False
        return True

    def _due(self, seen: _Seen | None, place: float | Fraction) -> int | None:
        if seen is None:
            return None
        clocks = float(place) * CLOCKS - seen.ahead - seen.newest
        if seen.period is None:
            return round(seen.at) if abs(clocks) < 1e-6 else None
        return round(seen.at + clocks * seen.period)
