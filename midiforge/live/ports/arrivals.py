"""When messages came: the driver's own deltas, laid on the system's monotonic clock.

The driver stamps a message when it comes; what reaches us is only the time since the one before,
and we are called later than that by as long as threads wait for each other. So the deltas are
summed, and the sum is laid on our clock where a call came soonest, of those in a short window:
a late call moves nothing, and a driver's clock that runs at another speed cannot lead away.
"""

from collections import deque

from midiforge.live.clock.timing import MS

# A driver's crystal may be off by 100 parts in a million (common practice): 0.2 ms in this time.
WINDOW = 2000 * MS
# A call so much later than the deltas say: the driver did not count all that came.
_MISSED = 50 * MS


class Arrivals:
    """Turns one port's deltas into times of the monotonic clock, in nanoseconds."""

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
