"""A screen in a terminal: the sequences that steer it (ECMA-48, xterm's other page), and text
that never does."""

import os
import re
import sys
from collections.abc import Iterable

from midiforge.printable import printable

OPEN, CLOSE = "\x1b[?1049h\x1b[?25l", "\x1b[?25h\x1b[?1049l"
HOME, CLEAR_LINE, CLEAR_BELOW = "\x1b[H", "\x1b[K", "\x1b[J"
HERE, LOUD, FAINT, PLAIN = "\x1b[7m", "\x1b[1m", "\x1b[2m", "\x1b[0m"

STYLE = re.compile(r"\x1b\[[0-9;]*m")
_ALL = (OPEN, CLOSE, HOME, CLEAR_LINE, CLEAR_BELOW, HERE, LOUD, FAINT, PLAIN, "\r\n")
_OURS = re.compile(f"({'|'.join(map(re.escape, _ALL))})")


def cut(text: str, width: int) -> str:
    """The text, its end left out where there is no room, without what would steer a terminal."""
    text = printable(text)
    return text if len(text) <= width else text[: max(width - 4, 0)] + " ..."


def flowed(items: Iterable[str], width: int, between: str = "   ") -> list[str]:
    """Items side by side in as many lines as they need; what switches styles has no width."""
    lines: list[str] = []
    for item in items:
        joined = f"{lines[-1]}{between}{item}" if lines else item
        if lines and len(STYLE.sub("", joined)) <= width:
            lines[-1] = joined
        else:
            lines.append(item)
    return lines


def without_air(lines: Iterable[str], height: int) -> list[str]:
    """The lines, empty ones left out as far as there is no room for them."""
    kept = list(lines)
    while len(kept) > height and "" in kept:
        kept.remove("")
    return kept[:height]


def write(text: str) -> None:
    """Writes all of it to standard output, past what Python keeps back; of what steers the
    terminal nothing but the sequences above."""
    pieces = _OURS.split(text)  # ours are every other one
    pieces[::2] = map(printable, pieces[::2])
    left = "".join(pieces).encode("utf-8", "replace")
    while left:
        left = left[os.write(sys.stdout.fileno(), left) :]
