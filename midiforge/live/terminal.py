"""A screen in a terminal: the sequences that steer it (ECMA-48, xterm's other page), and text
that never does."""

import os
import sys

from midiforge.printable import printable

OPEN, CLOSE = "\x1b[?1049h\x1b[?25l", "\x1b[?25h\x1b[?1049l"
HOME, CLEAR_LINE, CLEAR_BELOW = "\x1b[H", "\x1b[K", "\x1b[J"
HERE, LOUD, FAINT, PLAIN = "\x1b[7m", "\x1b[1m", "\x1b[2m", "\x1b[0m"


def cut(text: str, width: int) -> str:
    """The text, its end left out where there is no room, without what would steer a terminal."""
    text = printable(text)
    return text if len(text) <= width else text[: max(width - 4, 0)] + " ..."


def write(text: str) -> None:
    """Writes all of it to standard output, past what Python keeps back."""
    left = text.encode("utf-8", "replace")
    while left:
        left = left[os.write(sys.stdout.fileno(), left) :]
