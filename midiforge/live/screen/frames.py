"""Pictures on a terminal, written by a thread of their own, so that a terminal that does not take
them cannot hold up the music."""

import re
import shutil
import threading
from collections.abc import Iterable
from contextlib import suppress
from typing import Self

from midiforge.live.playing.route import Place
from midiforge.live.screen.terminal import (
    CLEAR_BELOW,
    CLEAR_LINE,
    CLOSE,
    HOME,
    OPEN,
    PLAIN,
    STYLE,
    without_air,
    write,
)
from midiforge.printable import printable

SPARE = 4_000_000  # nanoseconds that a picture takes at most


class Frames:
    """What a terminal shows, the last picture that was given."""

    def __init__(self) -> None:
        self._frame = ""
        self._wake = threading.Event()
        self._done = False
        self._writer: threading.Thread | None = None

    def begin(self) -> None:
        """Takes the terminal's other page."""
        write(OPEN)
        self._writer = threading.Thread(target=self._write, daemon=True)
        self._writer.start()

    def end(self) -> None:
        """Gives the terminal back as it was."""
        self._done = True
        self._wake.set()
        if self._writer:
            self._writer.join(0.5)
        with suppress(OSError):  # the terminal may be closed
            write(PLAIN + CLOSE)

    def show(self, frame: str) -> None:
        """Shows a picture, as soon as the terminal takes it."""
        self._frame = frame
        self._wake.set()

    def _write(self) -> None:
        while not self._done:
            self._wake.wait()
            self._wake.clear()
            try:
                write(self._frame)
            except OSError:
                return


class Screen:
    """What a picture of a player is made of, whatever it shows; use it as a context.

    place: the bar that is played; at: how far in it, in quarter notes, -1 before anything sounded.
    """

    place: Place | None = None
    message: str = ""
    paused: bool = False
    at: float = -1.0
    _drawn: object = None

    def __enter__(self) -> Self:
        self._frames = Frames()
        self._frames.begin()
        return self

    def __exit__(self, *_: object) -> None:
        self._frames.end()

    def bar(self, place: Place) -> None:
        self.place, self.at = place, -1.0

    def moment(self, at: float) -> None:
        self.at = at

    def say(self, text: str) -> None:
        self.message = printable(text)

    def idle(self, spare: int, paused: bool) -> None:
        """Draws if something changed and there is time."""
        self.paused = paused
        state = (self.place, self.at, self.message, paused, self.state())
        if state != self._drawn and spare > SPARE:
            self._drawn = state
            self._frames.show(self.frame(*shutil.get_terminal_size()))

    def frame(self, width: int, height: int) -> str:
        """The whole picture for a terminal of that size."""
        return framed(self.lines(width - 4, height), width, height)

    def state(self) -> object:
        """What else a picture depends on."""
        raise NotImplementedError

    def lines(self, room: int, height: int) -> list[str]:
        """The lines of a picture."""
        raise NotImplementedError


def framed(lines: Iterable[str], width: int, height: int) -> str:
    """Lines as a whole picture for a terminal of that size, empty ones left out where they have no
    room."""
    indented = (f"  {line}" if line else "" for line in lines)
    *above, last = without_air((_clip(line, width) for line in indented), height)
    written = "".join(f"{line}{CLEAR_LINE}\r\n" for line in above)
    return f"{HOME}{written}{last}{CLEAR_LINE}{CLEAR_BELOW}"


def _clip(line: str, width: int) -> str:
    """The line, no wider than the terminal; what switches styles has no width."""
    clipped, room = "", width
    for i, piece in enumerate(re.split(f"({STYLE.pattern})", line)):
        if i % 2:
            clipped += piece
        else:
            clipped += piece[:room]
            room -= min(len(piece), room)
    return clipped.rstrip() if STYLE.search(line) is None else clipped
