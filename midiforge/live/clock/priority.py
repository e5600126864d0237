"""The processor at once, as audio programs have it: real-time priority where the system grants it;
where not, what it gives to anybody.

It is one thread's alone, that which plays, and only while it plays: those that it starts must not
hold it up, and nothing that is written afterwards holds up the rest of the computer.
"""

import os
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager, suppress
from types import FrameType

from midiforge.live.clock.short_slice import short_slice
from midiforge.live.playing.signals import RUNNING_TOO_LONG

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
            held.enter_context(_of_this_system())
        held.callback(sys.setswitchinterval, before)
        yield


def _of_this_system() -> AbstractContextManager[None]:
    if sys.platform == "darwin":
        from midiforge.live.clock.priority_elsewhere import time_constraint

        return time_constraint()
    if sys.platform == "win32":
        from midiforge.live.clock.priority_elsewhere import multimedia_class

        return multimedia_class()
    return _posix()


def ordinary(thread: int = 0) -> None:
    """Takes real-time priority from a thread (0: this one), where it has that (Linux).

    The flag stays, sched(7): only the privileged may take it away.
    """
    with suppress(OSError, AttributeError):
        os.sched_setscheduler(thread, os.SCHED_OTHER | os.SCHED_RESET_ON_FORK, os.sched_param(0))


def _posix() -> AbstractContextManager[None]:
    """sched(7): in turn before all that have no such priority; else as anybody may."""
    own = getattr(os, "SCHED_RESET_ON_FORK", 0)
    try:
        os.sched_setscheduler(0, os.SCHED_FIFO | own, os.sched_param(LEVEL))
    except OSError:
        return _as_anybody()
    _sleep_until(_AWAKE)
    return _until_the_end()


@contextmanager
def _until_the_end() -> Iterator[None]:
    try:
        yield
    finally:
        ordinary()


@contextmanager
def _as_anybody() -> Iterator[None]:
    """A short slice at once; and RealtimeKit is asked meanwhile, since the first click is not to
    wait for it."""
    _be_brief()
    main = threading.current_thread() is threading.main_thread()
    if not (main and sys.platform.startswith("linux")):
        yield
        return
    from midiforge.live.clock.realtime_kit import grant

    thread, ended, lock = threading.get_native_id(), threading.Event(), threading.Lock()

    def ask() -> None:
        if not grant(thread, LEVEL):
            return
        with lock:
            if ended.is_set():
                ordinary(thread)
            else:
                _sleep_until(_AWAKE)

    before = signal.signal(RUNNING_TOO_LONG, _be_brief)
    threading.Thread(target=ask, name="priority", daemon=True).start()
    try:
        yield
    finally:
        with lock:
            ended.set()
            ordinary()
        signal.signal(RUNNING_TOO_LONG, signal.SIG_DFL if before is None else before)


def _be_brief(_: int = 0, __: FrameType | None = None) -> None:
    """Back to what anybody gets."""
    ordinary()
    _sleep_until(_AWAKE_SHORT if short_slice() else _AWAKE)


def _sleep_until(before: int) -> None:
    global _awake
    _awake = before
