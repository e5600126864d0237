"""What a player asks for while it plays: by single keys of the terminal, which is put back as it
was, and by pads, pedals and controllers of the kit that are bound to it."""

import re
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from enum import StrEnum
from fractions import Fraction
from typing import Any

from midiforge.frozen import frozen
from midiforge.midi.message import CONTROLLER, Pedals, Trigger, read_message


class Command(StrEnum):
    """What a player can ask for while it plays."""

    PAUSE = "pause"
    NEXT = "next"
    PREVIOUS = "previous"
    AGAIN = "again"
    SLOWER = "slower"
    FASTER = "faster"
    HANDS = "hands"
    FEET = "feet"
    CLICK = "click"
    PERCUSSION = "percussion"
    BASS = "bass"
    CHORDS = "chords"
    LAYER = "layer"
    SOFTER = "softer"
    LOUDER = "louder"
    HURTS = "hurts"
    QUIT = "quit"


@frozen
class Chosen:
    """What somebody asks for who sees all that is played.

    index: of an exercise in the list that is played; None for the one that is.
    tempo: that it is to begin with, in pulses a minute; None for the one it has.
    """

    index: int | None = None
    tempo: Fraction | None = None


Wish = Command | Chosen

KEYS = {
    " ": Command.PAUSE,
    "n": Command.NEXT,
    "p": Command.PREVIOUS,
    "a": Command.AGAIN,
    "-": Command.SLOWER,
    "+": Command.FASTER,
    "=": Command.FASTER,
    "h": Command.HANDS,
    "f": Command.FEET,
    "c": Command.CLICK,
    "b": Command.PERCUSSION,
    "s": Command.BASS,
    "m": Command.CHORDS,
    "l": Command.LAYER,
    ",": Command.SOFTER,
    ".": Command.LOUDER,
    "x": Command.HURTS,
    "q": Command.QUIT,
}


def told(command: Command) -> str:
    """A command with its key before it, such as "n next"."""
    return f"{key_of(command)} {command.value}"


def key_of(command: Command) -> str:
    """What the key of a command is called."""
    letter = next(key for key, does in KEYS.items() if does is command)
    return "space" if letter == " " else letter


# What arrow and other keys send: ECMA-48 control sequences, and single shifts.
_SEQUENCE = re.compile(r"\x1b(?:\[[0-?]*[ -/]*[@-~]|O.|.)?")

# The terminal's settings before single keys were asked for; empty where they were not.
settings_before: list[list[Any]] = []


@contextmanager
def single_keys() -> Iterator[None]:
    """Keys come one by one and are not shown, while the context lasts."""
    if sys.platform == "win32" or not _on_terminal():  # Windows gives single keys anyway
        yield
        return
    import termios
    import tty

    before = termios.tcgetattr(sys.stdin)
    settings_before.append(before)
    try:
        tty.setcbreak(sys.stdin)
        yield
    finally:
        settings_before.pop()
        with suppress(termios.error):
            termios.tcsetattr(sys.stdin, termios.TCSADRAIN, before)


def pressed() -> Iterator[Command]:
    """The commands of keys pressed since last asked; never waits."""
    for letter in _SEQUENCE.sub("", _letters()):
        if command := KEYS.get(letter.lower()):
            yield command


def _on_terminal() -> bool:
    return sys.stdin is not None and sys.stdin.isatty()


def _letters() -> str:
    if sys.platform == "win32":
        import msvcrt

        letters = ""
        while msvcrt.kbhit():
            letters += msvcrt.getwch()
        return letters
    import os
    import select

    with suppress(OSError, ValueError):
        if _on_terminal() and select.select([sys.stdin], [], [], 0)[0]:
            return os.read(sys.stdin.fileno(), 64).decode("utf-8", "ignore")
    return ""


_AGAIN_AFTER = 200_000_000  # nanoseconds; a pad that bounces is one stroke


class Controls:
    """Turns what comes from the kit into wishes; everything else is let go by.

    bound: triggers to the names of commands, as in a kit file.
    """

    def __init__(self, bound: Mapping[Trigger, str], wish: Callable[[Command], None]) -> None:
        self._bound = {trigger: Command(name) for trigger, name in bound.items()}
        self._wish = wish
        self._last: dict[Trigger, int] = {}
        self._pedals = Pedals()

    def heard(self, message: bytes, when: int | None = None) -> None:
        """Takes a message; those that are cut short or unknown are nothing."""
        moved = read_message(message)
        if moved is None or (moved.kind == CONTROLLER and not self._pedals.goes_down(moved)):
            return
        command = self._bound.get(moved.trigger)
        now = time.monotonic_ns() if when is None else when
        if command and now - self._last.get(moved.trigger, -_AGAIN_AFTER) >= _AGAIN_AFTER:
            self._last[moved.trigger] = now
            self._wish(command)
