"""What commands have in common with a terminal: all they print goes through here, and nothing in it
steers the terminal, whoever wrote it."""

import sys
from collections.abc import Callable
from contextlib import suppress
from typing import TYPE_CHECKING, Any, TextIO

from midiforge.printable import printable

if TYPE_CHECKING:
    from rich.console import Console

WRONG = 2
_NARROWEST = 20


def say(*columns: str, flush: bool = False) -> None:
    """Prints one line; a tab between columns."""
    print(*map(printable, columns), sep="\t", flush=flush)


def say_text(text: str) -> None:
    """Prints a text of several lines, such as a file's."""
    for line in text.removesuffix("\n").split("\n"):
        say(line)


def say_json(content: Any, written: Callable[[Any], str] | None = None) -> None:
    """Prints plain data, in letters that every terminal has.

    written: makes the text of it, by itself a line for each value.
    """
    import json

    text = written(content) if written else json.dumps(content, indent=2)
    say_text(text.replace("\x7f", "\\u007f"))  # JSON takes it for a letter


def tell(text: str) -> None:
    """Says something of the work in one line, beside what the command prints."""
    line = printable(" ".join(text.split()))
    if sys.stderr is not None:
        with suppress(OSError):  # the terminal may be closed
            print(f"midiforge: {line}", file=sys.stderr, flush=True)


def failed(text: str, code: int = WRONG) -> int:
    """Says what went wrong; gives the exit code."""
    tell(text)
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
    """Standard output for `print_line`, with colours, which only a terminal gets; never too narrow
    for a word, whatever the terminal says of itself."""
    from rich.console import Console

    found = Console(no_color=not on_terminal(sys.stdout) or None)
    found.width = max(found.width, _NARROWEST)
    return found
