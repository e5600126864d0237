"""The processor at once, as audio programs have it: real-time priority where the system grants it;
where not, what it gives to anybody.

It is one thread's alone, that which plays, and only while it plays: those that it starts must not
hold it up, and nothing that is written afterwards holds up the rest of the computer.
"""

import os
import re
import sys
import threading
from collections.abc import Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager, suppress
from types import FrameType
from typing import Any

from midiforge.live.playing.signals import RUNNING_TOO_LONG, handled

LEVEL = 20  # of 99, as high as RealtimeKit goes

# The system wakes a sleeper late by some tenths of a millisecond; the rest is waited out awake.
_AWAKE = 1_500_000
# Who waits awake for long has had its share of a busy processor when the moment comes, and is sent
# to the back; so with a short slice it is kept short.
_AWAKE_SHORT = 200_000

_awake = _AWAKE


def awake_before(deadline: int) -> int:
    """When to stop sleeping for a deadline; both in nanoseconds."""
    return deadline - _awake


@contextmanager
def priority() -> Iterator[None]:
    """This thread has the processor as soon as it wants it, as far as the system lets it, while
    the context lasts."""
    before = sys.getswitchinterval()
    sys.setswitchinterval(0.000_2)  # threads that draw must give way at once
    with ExitStack() as held:
        # A library of the system that is missing or too old is as good as a refusal.
        with suppress(ImportError, OSError, AttributeError, ValueError):
            held.enter_context(_OF_SYSTEM.get(sys.platform, _posix)())
        held.callback(sys.setswitchinterval, before)
        yield


def ordinary(thread: int = 0) -> None:
    """Takes real-time priority from a thread (0: this one), where it has that (Linux).

    The flag stays, sched(7): only the privileged may take it away.
    """
    with suppress(OSError, AttributeError):
        os.sched_setscheduler(thread, os.SCHED_OTHER | os.SCHED_RESET_ON_FORK, os.sched_param(0))


def _posix() -> AbstractContextManager[object]:
    """sched(7): in turn before all that have no such priority; else as anybody may."""
    own = getattr(os, "SCHED_RESET_ON_FORK", 0)
    try:
        os.sched_setscheduler(0, os.SCHED_FIFO | own, os.sched_param(LEVEL))
    except OSError:
        return _as_anybody()
    _sleep_until(_AWAKE)
    granted = ExitStack()
    granted.callback(ordinary)
    return granted


@contextmanager
def _as_anybody() -> Iterator[None]:
    """A short slice at once; and RealtimeKit is asked meanwhile, since the first click is not to
    wait for it."""
    _be_brief()
    main = threading.current_thread() is threading.main_thread()
    if not (main and sys.platform.startswith("linux")):
        yield
        return
    thread, ended, lock = threading.get_native_id(), threading.Event(), threading.Lock()

    def ask() -> None:
        if not _grant(thread, LEVEL):
            return
        with lock:
            if ended.is_set():
                ordinary(thread)
            else:
                _sleep_until(_AWAKE)

    with handled(_be_brief, RUNNING_TOO_LONG):
        threading.Thread(target=ask, name="priority", daemon=True).start()
        try:
            yield
        finally:
            with lock:
                ended.set()
                ordinary()


def _be_brief(_: int = 0, __: FrameType | None = None) -> None:
    """Back to what anybody gets."""
    ordinary()
    _sleep_until(_AWAKE_SHORT if _short_slice() else _AWAKE)


def _sleep_until(before: int) -> None:
    global _awake
    _awake = before


# Linux: a place before those who want the processor for longer, which anybody may ask for

_SINCE = (6, 12)
_SLICE = 100_000  # nanoseconds, the least that the system takes
_SETATTR = {"x86_64": 314, "aarch64": 274, "riscv64": 274}  # numbers of the call


def _short_slice() -> bool:
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
    version = re.match(r"(\d+)\.(\d+)", os.uname().release)
    return tuple(map(int, version.groups())) if version else (0, 0)


# Linux: RealtimeKit, which gives real-time priority to programs of an ordinary user. Its interface:
# org.freedesktop.RealtimeKit1 on D-Bus's system bus, MakeThreadRealtime. It serves those alone who
# let the system end them when they keep the processor: RLIMIT_RTTIME, setrlimit(2).

_RUNNING = (50_000, 200_000)  # microseconds: warned, killed; the second as RealtimeKit wants it
_RTTIME = 15  # the number of the limit, from the kernel's resource.h; Python has no name for it
_PLACE = "/org/freedesktop/RealtimeKit1"
_NAME = "org.freedesktop.RealtimeKit1"
_REPLY = 5.0  # seconds


def _grant(thread: int, level: int) -> bool:
    """Asks for a thread of this process; whether it was granted. Nobody there is no error."""
    if sys.platform == "win32":
        return False
    import resource

    try:
        from jeepney import DBusAddress, MessageType, new_method_call
        from jeepney.io.blocking import open_dbus_connection

        with open_dbus_connection("SYSTEM") as bus:
            hard = resource.getrlimit(_RTTIME)[1]
            most = _RUNNING[1] if hard == resource.RLIM_INFINITY else min(hard, _RUNNING[1])
            resource.setrlimit(_RTTIME, (min(_RUNNING[0], most), most))
            there = DBusAddress(_PLACE, bus_name=_NAME, interface=_NAME)
            asked = new_method_call(there, "MakeThreadRealtime", "tu", (thread, level))
            reply = bus.send_and_get_reply(asked, timeout=_REPLY)
        return bool(reply.header.message_type is MessageType.method_return)
    except Exception:  # a bus can fail in many ways, and none may come between the strokes
        return False


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
    import ctypes

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
    import ctypes

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
    import ctypes

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


_OF_SYSTEM = {"darwin": time_constraint, "win32": multimedia_class}
