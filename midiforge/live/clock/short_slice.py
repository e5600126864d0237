"""A place before those who want the processor for longer, which anybody may ask for (Linux)."""

import os
import re
import sys
from contextlib import suppress

_SINCE = (6, 12)
_SLICE = 100_000  # nanoseconds, the least that the system takes
_SETATTR = {"x86_64": 314, "aarch64": 274, "riscv64": 274}  # numbers of the call


def short_slice() -> bool:
    """Asks for it, for this thread; whether there is such a thing.

    sched_setattr(2) takes a slice for the ordinary policy, and who wakes with a shorter one comes
    before who runs. prctl(2), PR_SET_TIMERSLACK: woken to the microsecond.
    """
    if not sys.platform.startswith("linux") or kernel() < _SINCE:
        return False
    number = _SETATTR.get(os.uname().machine)
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


def kernel() -> tuple[int, ...]:
    """The kernel's version: its first two numbers; (0, 0) where it does not tell."""
    found = re.match(r"(\d+)\.(\d+)", os.uname().release)
    return tuple(map(int, found.groups())) if found else (0, 0)
