"""The line between the server and a process of its own: a line of JSON for everything said.

News are written by a thread of their own, so that a server that is busy holds up no note. If the
line breaks, the server is gone, and the process asks itself to end as by a signal.
"""

import json
import os
import signal
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from queue import SimpleQueue
from typing import IO, Any

from midiforge.errors import MidiforgeError
from midiforge.files.disk import reason

Said = Mapping[str, Any]


@contextmanager
def starting() -> Iterator[None]:
    """A system that starts no process meanwhile, as it has too many, is a MidiforgeError."""
    try:
        yield
    except OSError as error:
        raise MidiforgeError(f"no process can be started: {reason(error)}") from None


class Line:
    """One end of it.

    asked: the number of the file that what the server asks comes from. told: where news go.
    job: the first thing that was asked; empty if nothing came.
    """

    def __init__(self, asked: int, told: IO[bytes]) -> None:
        self._asked, self._told = _lines(asked), told
        self._news: SimpleQueue[Said | None] = SimpleQueue()
        self._heard: list[Said] = []
        self._hear: Callable[[Said], None] | None = None
        self._alone = threading.Lock()
        self.job: Said = next(self._asked, {})
        self._writer = threading.Thread(target=self._write, daemon=True)
        self._writer.start()
        threading.Thread(target=self._read, daemon=True).start()

    @classmethod
    def of_process(cls) -> "Line":
        """That of this process: what comes in is asked, what goes out told; whatever prints is no
        news."""
        told = os.fdopen(os.dup(1), "wb")
        os.dup2(2, 1)
        return cls(0, told)

    def tell(self, **news: Any) -> None:
        """Tells the server something, and does not wait."""
        self._news.put(news)

    def listen(self, hear: Callable[[Said], None]) -> None:
        """Whoever does what is asked, from a thread of its own; also what was asked before."""
        with self._alone:
            self._hear = hear
            for said in self._heard:
                self._hears(said)
            self._heard = []

    def close(self, patience: float = 2.0) -> None:
        """Nothing more is told; waits until all is, for so many seconds at most."""
        self._news.put(None)
        self._writer.join(patience)

    def _write(self) -> None:
        while (news := self._news.get()) is not None:
            try:
                self._told.write(json.dumps(news, separators=(",", ":")).encode() + b"\n")
                self._told.flush()
            except OSError:  # nobody reads it any more
                return

    def _read(self) -> None:
        for said in self._asked:
            with self._alone:
                self._hears(said)
        os.kill(os.getpid(), signal.SIGTERM)

    def _hears(self, said: Said) -> None:
        """What means nothing does nothing, or what comes next, such as the end, was not heard."""
        if self._hear is None:
            self._heard.append(said)
            return
        with suppress(Exception):
            self._hear(said)


def _lines(asked: int) -> Iterator[Said]:
    """What is said, one thing after the other, until the line breaks.

    Read past what Python keeps back: its end would wait for a thread that reads.
    """
    rest = b""
    while more := os.read(asked, 1 << 16):
        *lines, rest = (rest + more).split(b"\n")
        yield from map(json.loads, lines)
