"""Signals that must not come in between (POSIX; where a system lacks one, nothing is done)."""

import signal
from collections.abc import Iterator
from contextlib import contextmanager


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


# Ctrl-Z: it would leave notes sounding.
SUSPENDING = ("SIGTSTP",)
ENDING = ("SIGINT", "SIGTERM", "SIGHUP")
