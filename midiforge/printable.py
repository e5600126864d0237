"""Text made fit to be printed, and to be read."""

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console
    from rich.style import Style


def printable(text: str, instead: str = "?", besides: str = "") -> str:
    """The text without what would steer a terminal or break a line.

    instead: what stands for each letter left out; besides: letters kept all the same.
    """
    if text.isprintable():
        return text
    return "".join(each if each.isprintable() or each in besides else instead for each in text)


def many(number: int, one: str, several: str = "") -> str:
    """ "1 stroke", "2 strokes"."""
    return f"{number:,} {one if number == 1 else several or one + 's'}"


def listed(names: Sequence[str]) -> str:
    """Names as one says them: "a, b and c"."""
    return " and ".join(filter(None, [", ".join(names[:-1]), *names[-1:]]))


def print_line(console: "Console", spans: Iterable[tuple[str, "str | Style"]]) -> None:
    """Prints one line: pieces of text, each with its style; no blanks at its end."""
    from rich.text import Text

    line = Text(no_wrap=True, overflow="ignore", end="")
    for text, style in spans:
        line.append(printable(text), style)
    line.rstrip()
    console.print(line, soft_wrap=True, highlight=False)
