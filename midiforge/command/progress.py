"""What a command shows and says of work that takes a while."""

import sys
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from typing import TYPE_CHECKING, Protocol

from midiforge.command.terminal import on_terminal, say
from midiforge.printable import many

if TYPE_CHECKING:
    from midiforge.drill.drill import Drill

    class Tell(Protocol):
        """Told how much is done and, if that changed, of how much."""

        def __call__(self, done: int, total: int | None = None, /) -> None: ...


_MOST_LINES = 8
_WORTH_A_BAR = 200  # exercises


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


def say_removed(count: int) -> None:
    """Says how many files of an earlier time are gone from the folder; nothing for none."""
    if count:
        say(f"Removed from the folder: {many(count, 'file')} that midiforge wrote there before")


def listed(heading: str, lines: list[str]) -> None:
    """Prints lines under a heading, the first of them if there are many; nothing for none."""
    if not lines:
        return
    say(f"{heading}:")
    for line in lines[:_MOST_LINES]:
        say(f"  {line}")
    if len(lines) > _MOST_LINES:
        say(f"  and {len(lines) - _MOST_LINES} more (--json lists all)")
