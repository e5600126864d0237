"""Signals that must not come in between (POSIX; where a system lacks one, nothing is done)."""

import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager
from types import FrameType
from typing import IO, Any

SOON = 2.0  # seconds after which a program that was told to end has ended
_MORE = 0.3  # seconds


Handler = Callable[[int, FrameType | None], Any] | int | None


@contextmanager
def handled(handler: Handler, *names: str) -> Iterator[dict[int, Handler]]:
    """These signals are met by a handler while the context lasts; gives what met each before.

    In the main thread: no other is ever told of a signal, and nothing is done there.
    """
    before: dict[int, Handler] = {}
    main = threading.current_thread() is threading.main_thread()
    for name in names if main else ():
        number = getattr(signal, name, None)
        if number is not None:
            before[number] = signal.signal(number, handler)
    try:
        yield before
    finally:
        for number, earlier in before.items():
            signal.signal(number, signal.SIG_DFL if earlier is None else earlier)


def ignored(*names: str) -> AbstractContextManager[object]:
    """These signals do nothing, while the context lasts."""
    return handled(signal.SIG_IGN, *names)


@contextmanager
def quitting(wish: Callable[[], None]) -> Iterator[None]:
    """Signals that end a program only ask for it, by `wish`, while the context lasts; at its end
    they do what they would have done.

    An exception that comes from nowhere could leave a note without its end. A program that still
    runs `SOON` after it was asked is ended as it is: its guard silences what sounds, and its
    journal has what was recorded.
    """
    came: list[int] = []
    at_last = ExitStack()

    def asked(number: int, _: FrameType | None) -> None:
        came.append(number)
        wish()
        if len(came) == 1:
            at_last.enter_context(ends_soon(128 + number))

    with handled(asked, *ENDING) as before, at_last:
        for number in before if hasattr(signal, "siginterrupt") else ():
            signal.siginterrupt(number, False)  # libjack takes an interrupted call for a failed one
        try:
            yield
        except OSError:  # such as: the terminal is closed
            if not came:
                raise
    if came:
        handler = before[came[0]]
        if came[0] == signal.SIGINT:
            raise KeyboardInterrupt
        if callable(handler):
            handler(came[0], None)
        elif handler is not signal.SIG_IGN:
            raise SystemExit(128 + came[0])


@contextmanager
def ends_soon(code: int) -> Iterator[None]:
    """The process ends within `SOON`, with this exit code, if the context does not end before.

    A driver may hold up all of Python: then the system's own alarm ends the process a little
    later (POSIX, setitimer), as a signal does.
    """
    timer = threading.Timer(SOON, os._exit, (code,))
    timer.daemon = True
    timer.start()
    with handled(signal.SIG_DFL, "SIGALRM") as alarm:
        if alarm:
            signal.setitimer(signal.ITIMER_REAL, SOON + _MORE)
        try:
            yield
        finally:
            timer.cancel()
            if alarm:
                signal.setitimer(signal.ITIMER_REAL, 0)


@contextmanager
def signals_to(pipe: IO[bytes] | None) -> Iterator[None]:
    """The number of each signal goes to a pipe as a byte at once, whatever Python is at, while the
    context lasts (POSIX, in the main thread, where nobody else has them sent somewhere)."""
    main = threading.current_thread() is threading.main_thread()
    if pipe is None or not main or sys.platform == "win32":
        yield
        return
    os.set_blocking(pipe.fileno(), False)
    before = signal.set_wakeup_fd(pipe.fileno(), warn_on_full_buffer=False)
    if before != -1:
        signal.set_wakeup_fd(before)
    try:
        yield
    finally:
        if before == -1:
            signal.set_wakeup_fd(-1)


# Ctrl-Z: it would leave notes sounding.
SUSPENDING = ("SIGTSTP",)
ENDING = ("SIGINT", "SIGTERM", "SIGHUP")

# Who has real-time priority and keeps the processor for too long; soon afterwards it is killed.
RUNNING_TOO_LONG = "SIGXCPU"
