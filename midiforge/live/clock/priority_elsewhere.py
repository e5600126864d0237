"""Real-time priority on macOS and Windows, by the system's own libraries."""

import ctypes
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any

# macOS, mach/thread_policy.h
_STANDARD, _TIME_CONSTRAINT = 1, 2
# Milliseconds of a period, how much of it is needed, and how soon that must be done.
_PERIOD, _NEEDED, _WITHIN = 5.0, 0.5, 2.0


@contextmanager
def time_constraint() -> Iterator[None]:
    """macOS: a short while of every few milliseconds, and soon; as its audio threads have it.

    thread_policy_set with THREAD_TIME_CONSTRAINT_POLICY: period, computation and constraint in
    ticks of mach_absolute_time, and whether it may be interrupted. OSError if it is refused.
    """
    libc = ctypes.CDLL("/usr/lib/libSystem.B.dylib")
    libc.mach_thread_self.restype = ctypes.c_uint32
    base = (ctypes.c_uint32 * 2)()
    libc.mach_timebase_info(base)
    ticks = [round(ms * 1e6 * base[1] / base[0]) for ms in (_PERIOD, _NEEDED, _WITHIN)]
    thread = libc.mach_thread_self()
    _set_policy(libc, thread, _TIME_CONSTRAINT, [*ticks, 1])
    try:
        yield
    finally:
        with suppress(OSError):
            _set_policy(libc, thread, _STANDARD, [])


def _set_policy(libc: Any, thread: int, flavor: int, numbers: list[int]) -> None:
    code = libc.thread_policy_set(
        thread, flavor, (ctypes.c_uint32 * max(len(numbers), 1))(*numbers), len(numbers)
    )
    if code:
        raise OSError(f"thread_policy_set: {code}")


@contextmanager
def multimedia_class() -> Iterator[None]:
    """Windows: the Multimedia Class Scheduler Service, by the class that its audio programs have.

    avrt.h: AvSetMmThreadCharacteristics with "Pro Audio". OSError if it is refused.
    """
    avrt = ctypes.WinDLL("avrt")  # type: ignore[attr-defined]
    avrt.AvSetMmThreadCharacteristicsW.restype = ctypes.c_void_p
    index = ctypes.c_ulong(0)
    handle = avrt.AvSetMmThreadCharacteristicsW(ctypes.c_wchar_p("Pro Audio"), ctypes.byref(index))
    if not handle:
        raise OSError("AvSetMmThreadCharacteristics")
    try:
        yield
    finally:
        avrt.AvRevertMmThreadCharacteristics(ctypes.c_void_p(handle))
