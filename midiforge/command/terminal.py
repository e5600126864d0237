"""What commands have in common with a terminal: all they print goes through here, and nothing in it
steers the terminal, whoever wrote it."""

import os
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager, suppress
from typing import TYPE_CHECKING, Any, Protocol, TextIO

from midiforge.printable import print_line, printable

if TYPE_CHECKING:
    from rich.console import Console

    from midiforge.drill.drill import Drill

    class Tell(Protocol):
        """Told how much is done and, if that changed, of how much."""

        def __call__(self, done: int, total: int | None = None, /) -> None: ...


WRONG = 2
_NARROWEST, _USUAL_WIDTH = 20, 80
_MOST_LINES = 8  # under a heading
_WORTH_A_BAR = 200  # exercises


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


def on_screen() -> bool:
    """Whether somebody sits at a terminal: what is said is seen there, and keys come from it."""
    return on_terminal(sys.stdout) and on_terminal(sys.stdin)


def folded(text: str) -> str:
    """A sentence as lines of the terminal, broken between words; elsewhere as one line."""
    from textwrap import wrap

    if not on_terminal(sys.stdout):
        return text
    return "\n".join(wrap(text, terminal_width()))


def say_styled(lines: Iterable[Sequence[tuple[str, str]]], styles: Mapping[str, str]) -> None:
    """Prints lines of pieces of text, each with the name of its style, which a terminal gets."""
    if on_terminal(sys.stdout):
        console = output()
        for line in lines:
            print_line(console, ((text, styles.get(style, "")) for text, style in line))
    else:  # what would colour them takes long to import
        for line in lines:
            say("".join(text for text, _ in line).rstrip())


def listed(heading: str, lines: Sequence[str]) -> None:
    """Prints lines under a heading, the first of them if there are many; nothing for none."""
    if not lines:
        return
    say(f"{heading}:")
    for line in lines[:_MOST_LINES]:
        say(f"  {line}")
    if len(lines) > _MOST_LINES:
        say(f"  and {len(lines) - _MOST_LINES} more (--json lists all)")


def terminal_width() -> int:
    """Columns of the terminal, or of the one behind a pipe; never too few for a word, whatever the
    terminal says of itself."""
    said = os.environ.get("COLUMNS", "")
    columns = int(said) if said.isdecimal() else 0
    for number in () if columns else range(3):
        with suppress(OSError):
            columns = columns or os.get_terminal_size(number).columns
    return max(columns or _USUAL_WIDTH, _NARROWEST)


def output() -> "Console":
    """Standard output for `print_line`, with colours, which only a terminal gets."""
    from rich.console import Console

    return Console(no_color=not on_terminal(sys.stdout) or None, width=terminal_width())


@contextmanager
def progress_bar(what: str, most: int, hidden: bool) -> Iterator["Tell | None"]:
    """A bar on standard error; nothing where that is no terminal."""
    if hidden or not on_terminal(sys.stderr):
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    columns = (TextColumn(what), BarColumn(), MofNCompleteColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("", total=most)

        def tell(done: int, total: int | None = None) -> None:
            bar.update(task, completed=done, total=total)

        yield tell


def lesson_bar(
    what: str, drill: "Drill", hidden: bool = False
) -> AbstractContextManager["Tell | None"]:
    """A bar for the exercises of a drill; nothing where they are few."""
    from midiforge.lesson.size import most_exercises

    most = most_exercises(drill)
    return progress_bar(what, most, hidden or most < _WORTH_A_BAR)
