"""Time for live playing: absolute deadlines on a clock that is never set back."""

import time
from array import array
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
        return (
            f"{self.events} events; late by {_ms(self.median)} in the median, "
            f"{_ms(self.p99)} at the 99th percentile, {_ms(self.worst)} at worst"
        )


def _ms(microseconds: float) -> str:
    return f"{microseconds / 1000:.3f} ms"


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
