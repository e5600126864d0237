"""What commands have in common with a terminal: what goes to it, and how a failure is said."""

import sys
from contextlib import suppress
from typing import TYPE_CHECKING, TextIO

from midiforge.printable import printable

if TYPE_CHECKING:
    from rich.console import Console

WRONG = 2
_NARROWEST = 20


def failed(text: str, code: int = WRONG) -> int:
    """Says what went wrong in one line; gives the exit code."""
    line = printable(" ".join(text.split()))
    if sys.stderr is not None:
        with suppress(OSError):  # the terminal may be closed
            print(f"midiforge: {line}", file=sys.stderr, flush=True)
    return code


def on_terminal(stream: TextIO | None) -> bool:
    """Whether a stream goes to a terminal; a closed one does not."""
    return stream is not None and stream.isatty()


def folded(text: str) -> str:
    """A sentence as lines of the terminal, broken between words; elsewhere as one line."""
    from shutil import get_terminal_size
    from textwrap import wrap

    if not on_terminal(sys.stdout):
        return text
    return "\n".join(wrap(text, max(get_terminal_size().columns, _NARROWEST)))


def output() -> "Console":
    """Standard output for text with colours, which only a terminal gets; never too narrow for a
    word, whatever the terminal says of itself."""
    from rich.console import Console

    found = Console(no_color=not on_terminal(sys.stdout) or None)
    found.width = max(found.width, _NARROWEST)
    return found
