"""midiforge build"""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import TYPE_CHECKING, Annotated, Any

import typer

from midiforge.command.inputs import takes_a_drill
from midiforge.command.run import on_terminal, printable
from midiforge.errors import MidiforgeError

if TYPE_CHECKING:
    from midiforge.drill.drill import Drill
    from midiforge.workshop import Report

_MOST_LINES = 8


@takes_a_drill
def build(
    drill: "Drill",
    out: Annotated[str, typer.Option("--out", metavar="DIR", help="The folder to write.")] = "",
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="Print only errors.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print what was done as JSON.")] = False,
) -> None:
    """Write the exercises of a drill as MIDI files.

    With them go an index, and the whole lesson in one file with its cue list.
    """
    if not out.strip():
        raise MidiforgeError("no folder is named", "--out", hint="such as --out lesson")
    from midiforge.lesson.size import most_exercises
    from midiforge.workshop import build_lesson

    with _progress(most_exercises(drill), hidden=quiet or as_json) as progress:
        report = build_lesson(drill, out, progress)
    if as_json:
        import json

        print(json.dumps(_facts(report, drill), indent=2))
    elif not quiet:
        _say(report, drill)


@contextmanager
def _progress(most: int, hidden: bool) -> Iterator[Callable[[int], None] | None]:
    """A bar on standard error for work that takes a while; nothing where that is no terminal."""
    if hidden or most < 200 or not on_terminal(sys.stderr):
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    columns = (TextColumn("Writing"), BarColumn(), MofNCompleteColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("", total=most)
        yield lambda done: bar.update(task, completed=done)


def _say(report: "Report", drill: "Drill") -> None:
    built = report.built
    length = str(timedelta(seconds=round(built.seconds)))
    plural = "s" * (built.files != 1)
    folder = printable(str(built.folder))
    print(f"{printable(drill.title)}: {built.files} exercise{plural} in {folder}")
    print(f"The whole lesson, {length}: lesson.mid; its sections: cues.csv")
    _list("Left out", [dropped.why for dropped in report.dropped])
    _list("Mind", list(report.warnings))
    _list("Changed by somebody since the last build, left alone", list(built.kept))


def _list(heading: str, lines: list[str]) -> None:
    if not lines:
        return
    print(f"{heading}:")
    for line in lines[:_MOST_LINES]:
        print(f"  {printable(line)}")
    if len(lines) > _MOST_LINES:
        print(f"  and {len(lines) - _MOST_LINES} more (--json lists all)")


def _facts(report: "Report", drill: "Drill") -> dict[str, Any]:
    return {
        "title": drill.title,
        "folder": str(report.built.folder),
        "files": report.built.files,
        "seconds": round(float(report.built.seconds), 3),
        "dropped": [
            {"why": dropped.why, "only_hands_swapped": dropped.swapped}
            for dropped in report.dropped
        ],
        "warnings": list(report.warnings),
        "kept": list(report.built.kept),
    }
