"""Whose time is played in: our own, exact, or that of a master whose MIDI beat clock is followed.

MIDI 1.0 Detailed Specification, System Real Time and Song Position Pointer messages: the first
clock after a start is the song's beginning; the first after a continue is the place named by the
last song position, counted in sixteenths of six clocks, or else the place where it stopped.
"""

import time
from collections import deque
from collections.abc import Callable
from fractions import Fraction
from math import ceil
from typing import NamedTuple, Protocol

from midiforge.live.clock.beat_clock import CLOCKS, LOST, SIXTEENTH, ClockLine
from midiforge.live.clock.timing import MS
from midiforge.live.playing.bars import Bar
from midiforge.midi.message import CLOCK, CONTINUE, SONG_POSITION, START, STOP


class SyncSource(Protocol):
    """Where the moments of the bar being played lie on the clock.

    position: quarter notes since the beginning, at the bar's own beginning.
    followed: whether it is somebody else's, which goes on whatever becomes of us.
    """

    position: Fraction
    followed: bool

    def begin(self, now: int) -> None:
        """The next bar begins at `now`, or as soon after as may be."""

    def rest(self, nanoseconds: int) -> None:
        """The next bar begins that much later."""

    def enter(self, bar: Bar) -> None:
        """A bar begins."""

    def leave(self, bar: Bar) -> None:
        """The bar has come to its end; the next begins there."""

    def deadline(self, at: float) -> int | None:
        """When the moment `at` quarter notes into the bar is due; None if nobody can tell yet."""


class InternalClock:
    """Our own time. A bar's beginning is an exact fraction of a nanosecond: nothing adds up."""

    followed = False

    def __init__(self) -> None:
        self.position = Fraction(0)
        self._start = Fraction(0)
        self._whole, self._rest, self._quarter = 0, 0.0, 0.0

    def begin(self, now: int) -> None:
        self._start = Fraction(now)

    def rest(self, nanoseconds: int) -> None:
        self._start += nanoseconds

    def enter(self, bar: Bar) -> None:
        whole, rest = divmod(self._start, 1)
        self._whole, self._rest, self._quarter = int(whole), float(rest), float(bar.quarter)

    def leave(self, bar: Bar) -> None:
        self._start += bar.length * bar.quarter
        self.position += bar.length

    def deadline(self, at: float) -> int:
        return self._whole + round(self._rest + at * self._quarter)


BACK_WITHIN = 10_000 * MS  # a clock lost for at most this long is taken up where it must be by now
_JUST_GONE = 50 * MS  # a start or continue heard that long ago is still begun with


class TransportChange(NamedTuple):
    """The master stopped, started, went on or moved: what is being played is over.

    top: whether the exercise begins anew. say: the same for the player to read.
    stays: whether the bar being played is not over after all; it is only not heard for a while.
    """

    top: bool
    say: str
    stays: bool = False


_WAITING = TransportChange(False, "waiting for start or continue from the master")
_STARTED = TransportChange(True, "the master started")
_STOPPED = TransportChange(False, "the master stopped; waiting for start or continue")
_CONTINUED = TransportChange(False, "the master goes on")
_SILENT = TransportChange(False, "the master's clock is lost; waiting for it", stays=True)
_BACK = TransportChange(False, "the master's clock is back", stays=True)
_GONE = TransportChange(False, "the master's clock is back; waiting for start or continue")


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


class FollowedClock:
    """The time of a master whose beat clock is heard on an input.

    `heard` is for the driver's thread, all else for the player's. The player asks `transport`
    whenever it looks after wishes. Bar lines of the master are multiples of the exercise's bar
    from the song's beginning: beat clock does not carry a metre.

    Deadlines come from the newest estimate each time; they move while one waits, and a moment
    that was played is never asked for again, as bars are places in the song, not times.

    now: the clock that arrivals are measured by.
    """

    followed = True

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
        self._changes: deque[TransportChange] = deque([_WAITING])
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
        elif status == SONG_POSITION and len(message) >= 3:
            self._place = ((message[2] & 0x7F) << 7 | message[1] & 0x7F) * SIXTEENTH

    def _run(self, number: int, change: TransportChange) -> None:
        self._running, self._next, self._seen = True, number, None
        self._changes.append(change)

    def _halt(self, change: TransportChange) -> None:
        if self._seen is not None:
            self._next = self._seen.newest + self._seen.ahead + 1
        self._running, self._seen = False, None
        self._changes.append(change)

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

    def transport(self) -> TransportChange | None:
        """What the master did since this was asked last. After it the next bar that is entered
        begins at the master's next bar line, which may be where it starts or continues; unless
        its clock was only not heard for a while: then its place in the song is known still."""
        lost, change = self._lost(), None
        if lost is not self._was_lost:
            self._was_lost = lost
            change = _SILENT if lost else _BACK
        while self._changes:
            following = self._changes.popleft()
            top = following.top or (change is not None and change.top)
            change = TransportChange(top, following.say)
        if change is not None and not change.stays:
            self.begin(self._now() - _JUST_GONE)
        return change

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
        if self._changes or self._was_lost or seen is None or self._lost():
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
