"""Signals that must not come in between (POSIX; where a system lacks one, nothing is done)."""

import os
import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType

SOON = 2.0  # seconds after which a program that was told to end has ended


@contextmanager
def ignored(*names: str) -> Iterator[None]:
    """These signals do nothing, while the context lasts."""
    before = {}
    for name in names:
        number = getattr(signal, name, None)
        if number is not None:
            before[number] = signal.signal(number, signal.SIG_IGN)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, signal.SIG_DFL if handler is None else handler)


@contextmanager
def quitting(wish: Callable[[], None]) -> Iterator[None]:
    """Signals that end a program only ask for it, by `wish`, while the context lasts; at its end
    they do what they would have done.

    An exception that comes from nowhere could leave a note without its end. A program that still
    runs `SOON` after it was asked is ended as it is: its guard silences what sounds, and its
    journal has what was recorded.
    """
    came: list[int] = []
    before = {}

    def asked(number: int, _: FrameType | None) -> None:
        came.append(number)
        wish()
        ends_soon(128 + number)

    for name in ENDING:
        number = getattr(signal, name, None)
        if number is not None and threading.current_thread() is threading.main_thread():
            before[number] = signal.signal(number, asked)
    try:
        yield
    except OSError:  # such as: the terminal is closed
        if not came:
            raise
    finally:
        for number, handler in before.items():
            signal.signal(number, signal.SIG_DFL if handler is None else handler)
    if came:
        handler = before[came[0]]
        if came[0] == signal.SIGINT:
            raise KeyboardInterrupt
        if callable(handler):
            handler(came[0], None)
        elif handler is not signal.SIG_IGN:
            raise SystemExit(128 + came[0])


def ends_soon(code: int) -> None:
    """The process ends within `SOON`, with this exit code if it does not end by itself."""
    timer = threading.Timer(SOON, os._exit, (code,))
    timer.daemon = True
    timer.start()


# Ctrl-Z: it would leave notes sounding.
SUSPENDING = ("SIGTSTP",)
ENDING = ("SIGINT", "SIGTERM", "SIGHUP")
