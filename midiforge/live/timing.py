"""Time for live playing: absolute deadlines on a clock that is never set back."""

import os
import re
import sys
import time
from array import array
from contextlib import suppress
from dataclasses import dataclass
from typing import Protocol

MS = 1_000_000  # nanoseconds

# The system wakes a sleeper late by some tenths of a millisecond; the rest is waited out awake.
_AWAKE = 1_500_000
# Who waits awake for long has had its share of a busy processor when the moment comes, and is sent
# to the back; so with a short slice it is kept short.
_AWAKE_SHORT = 200_000
_SLICE = 100_000  # nanoseconds, the least that the system takes

_awake = _AWAKE


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


def awake_before(deadline: int) -> int:
    """When to stop sleeping for a deadline."""
    return deadline - _awake


def ask_for_priority() -> None:
    """Real-time priority where the system grants it; if not, what it gives to anybody.

    It is this thread's alone: those that it starts must not hold it up.
    """
    global _awake
    try:
        own = getattr(os, "SCHED_RESET_ON_FORK", 0)  # Linux (sched(7))
        os.sched_setscheduler(0, os.SCHED_FIFO | own, os.sched_param(20))
        _awake = _AWAKE
    except (AttributeError, OSError, ValueError):
        _awake = _AWAKE_SHORT if _ask_for_short_slice() else _AWAKE
    # Threads that draw must give way at once.
    sys.setswitchinterval(0.000_2)


def _ask_for_short_slice() -> bool:
    """A place before those who want the processor for longer, which anybody may ask for; whether
    there is one.

    Linux 6.12 and later: sched_setattr(2) takes a slice for the ordinary policy, and who wakes
    with a shorter one comes before who runs. prctl(2), PR_SET_TIMERSLACK: woken to the microsecond.
    """
    if not sys.platform.startswith("linux") or _kernel() < (6, 12):
        return False
    number = {"x86_64": 314, "aarch64": 274, "riscv64": 274}.get(os.uname().machine)
    if number is None:
        return False
    with suppress(ImportError, OSError, AttributeError):
        import ctypes
        import struct

        libc, nice = ctypes.CDLL(None), os.getpriority(os.PRIO_PROCESS, 0)
        libc.prctl(29, 1, 0, 0, 0)
        # size, policy, flags (reset on fork), nice, priority, runtime, deadline, period
        asked = struct.pack("=IIQiIQQQ", 48, 0, 1, nice, 0, _SLICE, 0, 0)
        return bool(libc.syscall(number, 0, asked, 0) == 0)
    return False


def _kernel() -> tuple[int, ...]:
    """The kernel's version: its first two numbers."""
    found = re.match(r"(\d+)\.(\d+)", os.uname().release)
    return tuple(map(int, found.groups())) if found else (0, 0)


@dataclass(frozen=True, slots=True)
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
