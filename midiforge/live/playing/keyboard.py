"""Single keys from the terminal, and the terminal put back as it was."""

import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any

from midiforge.live.playing.route import Command

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
    "q": Command.QUIT,
}


def told(command: Command) -> str:
    """A command with its key before it, such as "n next"."""
    return f"{key_of(command)} {command.value}"


def key_of(command: Command) -> str:
    """What the key of a command is called."""
    letter = next(each for each, does in KEYS.items() if does is command)
    return "space" if letter == " " else letter


# What arrow and other keys send: ECMA-48 control sequences, and single shifts.
_SEQUENCE = re.compile(r"\x1b(?:\[[0-?]*[ -/]*[@-~]|O.|.)?")


# The terminal's settings before single keys were asked for; empty where they were not.
settings_before: list[list[Any]] = []


@contextmanager
def single_keys() -> Iterator[None]:
    """Keys come one by one and are not shown, while the context lasts."""
    try:
        import termios
        import tty
    except ImportError:  # Windows gives single keys anyway
        yield
        return
    if sys.stdin is None or not sys.stdin.isatty():
        yield
        return
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
        command = KEYS.get(letter.lower())
        if command is not None:
            yield command


def _letters() -> str:
    if sys.platform == "win32":
        import msvcrt

        found = ""
        while msvcrt.kbhit():
            found += msvcrt.getwch()
        return found
    import os
    import select

    if sys.stdin is None or not sys.stdin.isatty():
        return ""
    with suppress(OSError, ValueError):
        if select.select([sys.stdin], [], [], 0)[0]:
            return os.read(sys.stdin.fileno(), 64).decode("utf-8", "ignore")
    return ""
