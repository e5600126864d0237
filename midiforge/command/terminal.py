"""What commands have in common with a terminal: what goes to it, and how a failure is said."""

import sys
from typing import TextIO

from midiforge.printable import printable

WRONG = 2


def failed(text: str, code: int = WRONG) -> int:
    """Says what went wrong in one line; gives the exit code."""
    line = printable(" ".join(text.split()))
    if sys.stderr is not None:
        print(f"midiforge: {line}", file=sys.stderr)
    return code


def on_terminal(stream: TextIO | None) -> bool:
    """Whether a stream goes to a terminal; a closed one does not."""
    return stream is not None and stream.isatty()
