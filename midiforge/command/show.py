"""midiforge show"""

import re
import sys
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from midiforge.command.inputs import takes_a_drill
from midiforge.command.terminal import on_terminal
from midiforge.errors import MidiforgeError, quoted
from midiforge.printable import printable

if TYPE_CHECKING:
    from midiforge.drill.drill import Drill
    from midiforge.lesson import Dropped
    from midiforge.model.exercise import Exercise

_PICTURE_WIDTH = 84


@takes_a_drill
def show(
    drill: "Drill",
    only: Annotated[
        str, typer.Option("--only", metavar="N,N-N", help="Only these exercises, by number.")
    ] = "",
    picture: Annotated[
        Path | None,
        typer.Option("--picture", metavar="FILE.svg", help="Draw to an SVG file instead."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print as JSON.")] = False,
) -> None:
    """Print exercises as a drummer reads them.

    Below each stands what it asks of the player.
    """
    from midiforge.lesson import Dropped
    from midiforge.workshop import remarks

    dropped: list[Dropped] = []
    chosen = chosen_exercises(drill, only, dropped.append)
    if as_json:
        import json

        from midiforge.screen.facts import as_json as facts

        print(json.dumps([facts(each) for each in chosen], indent=2))
    elif picture:
        _draw(chosen, picture)
    else:
        _print(chosen)
        for sentence in remarks(drill):
            print(f"mind: {printable(sentence)}")
        for each in dropped if not only else ():
            print(f"left out: {printable(each.why)}")


def chosen_exercises(
    drill: "Drill", only: str, dropped: "Callable[[Dropped], None] | None" = None
) -> list["Exercise"]:
    """The exercises of a drill that `only` names by number; all of them for ""."""
    from midiforge.lesson import exercises

    wanted = _numbers(only)
    chosen = [
        each
        for each in exercises(drill, dropped)
        if not wanted or any(each.order in numbers for numbers in wanted)
    ]
    if not chosen:
        raise MidiforgeError(f"there is no exercise {only}".strip(), "--only" if only else "")
    return chosen


def wanted_numbers(only: str) -> "Callable[[Exercise], bool] | None":
    """Whether an exercise is among those that `only` names; None for ""."""
    wanted = _numbers(only)
    if not wanted:
        return None
    return lambda each: any(each.order in numbers for numbers in wanted)


def _numbers(text: str) -> list[range]:
    """The exercises that "3,5-8" names."""
    found = []
    parts = [part.strip() for part in text.split(",")]
    if text and not any(parts):
        raise MidiforgeError(f"{quoted(text)} names no exercise", "--only", hint="such as 3,5-8")
    for part in filter(None, parts):
        match = re.fullmatch(r"([0-9]{1,6})(?:\s*-\s*([0-9]{1,6}))?", part)
        if not match:
            raise MidiforgeError(f"{quoted(part)} is not a number", "--only", hint="such as 3,5-8")
        if match[2] and int(match[2]) < int(match[1]):
            hint = f"{match[2]}-{match[1]}"
            raise MidiforgeError(f"{quoted(part)} runs backward", "--only", hint=hint)
        found.append(range(int(match[1]), int(match[2] or match[1]) + 1))
    return found


def _at_tempos(exercises: Iterable["Exercise"]) -> Iterator[list["Exercise"]]:
    """Exercises that follow each other and differ only in tempo, together."""
    group: list[Exercise] = []
    for exercise in exercises:
        if group and exercise.hits is not group[-1].hits:
            yield group
            group = []
        group.append(exercise)
    if group:
        yield group


def _print(chosen: list["Exercise"]) -> None:
    from rich.console import Console

    from midiforge.screen.show import show_exercise

    console = Console(no_color=not on_terminal(sys.stdout) or None)
    for group in _at_tempos(chosen):
        show_exercise(group, console)
        console.print()


def _draw(chosen: list["Exercise"], path: Path) -> None:
    from midiforge.own_file import DRAWING, write_own
    from midiforge.screen.picture import svg

    write_own(path, svg([*_at_tempos(chosen)], _PICTURE_WIDTH), DRAWING)
