"""Time for live playing: absolute deadlines on a clock that is never set back, and when messages
came on it."""

import time
from array import array
from collections import deque
from typing import Protocol

from midiforge.frozen import frozen

MS = 1_000_000  # nanoseconds


class Clock(Protocol):
    """A clock in nanoseconds that only goes forward."""

    def now(self) -> int: ...

    def sleep(self, nanoseconds: int) -> None: ...


class SystemClock:
    """The system's monotonic clock."""

    now = staticmethod(time.monotonic_ns)

    @staticmethod
    def sleep(nanoseconds: int) -> None:
        if nanoseconds > 0:
            time.sleep(nanoseconds / 1e9)


@frozen
class LatenessFigures:
    """How late events were sent, in microseconds after their deadlines."""

    events: int
    median: float
    p99: float
    worst: float

    def __str__(self) -> str:
        if not self.events:
            return "nothing was sent"
        figures = self.median, self.p99, self.worst
        median, p99, worst = (f"{microseconds / 1000:.3f} ms" for microseconds in figures)
        return (
            f"{self.events} events; late by {median} in the median, "
            f"{p99} at the 99th percentile, {worst} at worst"
        )


class Lateness:
    """Collects how late each event was."""

    def __init__(self) -> None:
        self._late = array("q")

    def add(self, nanoseconds: int) -> None:
        self._late.append(nanoseconds)

    def figures(self) -> LatenessFigures:
        """Median, 99th percentile (nearest rank) and the worst."""
        if not self._late:
            return LatenessFigures(0, 0.0, 0.0, 0.0)
        ranked = sorted(self._late)
        size = len(ranked)
        p99 = ranked[max(0, -(-99 * size // 100) - 1)]
        return LatenessFigures(size, ranked[size // 2] / 1e3, p99 / 1e3, ranked[-1] / 1e3)


# A driver's crystal may be off by 100 parts in a million (common practice): 0.2 ms in this time.
WINDOW = 2000 * MS
# A call so much later than the deltas say: the driver did not count all that came.
_MISSED = 50 * MS


class Arrivals:
    """Turns one port's deltas into times of the monotonic clock, in nanoseconds.

    The driver stamps a message when it comes; what reaches us is only the time since the one
    before, and we are called later than that by as long as threads wait for each other. So the
    deltas are summed, and the sum is laid on our clock where a call came soonest, of those in a
    short window: a late call moves nothing, and a driver's clock that runs at another speed cannot
    lead away.
    """

    def __init__(self) -> None:
        self._sum = 0
        self._last = 0
        # (when, how far our clock is ahead of the sum), both rising: the first is the least.
        self._ahead: deque[tuple[int, int]] = deque()

    def when(self, delta: float, now: int) -> int:
        """When a message came that reached us at `now`, `delta` seconds after the one before.

        Never later than `now`, never earlier than the message before.
        """
        self._sum += round(delta * 1e9) if delta > 0 else 0
        ahead, lead = self._ahead, now - self._sum
        while ahead and ahead[0][0] < now - WINDOW:
            ahead.popleft()
        if ahead and lead - ahead[0][1] > _MISSED:
            ahead.clear()
        while ahead and ahead[-1][1] >= lead:
            ahead.pop()
        ahead.append((now, lead))
        self._last = max(self._last, self._sum + ahead[0][1])
        return self._last
