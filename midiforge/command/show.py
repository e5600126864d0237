"""midiforge show"""

import sys
from collections.abc import Iterable
from pathlib import Path
from shutil import get_terminal_size
from typing import TYPE_CHECKING, Annotated

import typer

from midiforge.command.inputs import takes_a_drill
from midiforge.command.progress import lesson_bar
from midiforge.command.terminal import on_terminal, output, say, say_json
from midiforge.errors import MidiforgeError, quoted

if TYPE_CHECKING:
    from midiforge.drill.drill import Drill
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
    titles: Annotated[
        bool,
        typer.Option(
            "--titles",
            help="A line an exercise: number, stage, title, tempos, bars, how hard.",
        ),
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print as JSON.")] = False,
) -> None:
    """Print exercises as a drummer reads them.

    Below each stands what it asks of the player.
    """
    from midiforge.lesson.lesson import Lesson
    from midiforge.lesson.outline import LeftOut
    from midiforge.lesson.remarks import remarks
    from midiforge.model.exercise import by_piece

    if picture and picture.suffix.lower() != ".svg":
        problem = f"{quoted(picture.name)} is no picture that can be drawn"
        raise MidiforgeError(problem, "--picture", hint=f"such as {picture.stem or 'lesson'}.svg")
    left_out: list[LeftOut] = []
    lesson = Lesson(drill)
    if as_json or picture or only:
        with lesson_bar("Looking at exercises", drill, hidden=as_json) as bar:
            chosen = lesson.select(only, left_out.append, bar)
    if as_json:
        from midiforge.screen.facts import as_json as facts

        say_json([facts(exercise) for exercise in chosen])
    elif picture:
        _draw(chosen, picture)
        plural = "s" * (len(chosen) != 1)
        say(f"{drill.title}: {len(chosen)} exercise{plural} in {picture}")
    else:
        (_print_titles if titles else _print)(
            by_piece(chosen) if only else lesson.by_piece(left_out=left_out.append)
        )
        for sentence in remarks(drill):
            say(f"mind: {sentence}")
        for variant in left_out if not only else ():
            say(f"left out: {variant}")


def _print(pieces: Iterable[tuple["Exercise", ...]]) -> None:
    from midiforge.screen.show import show_exercise

    console = output()
    for exercises in pieces:
        show_exercise(exercises, console)
        say()


def _print_titles(pieces: Iterable[tuple["Exercise", ...]]) -> None:
    from midiforge.screen.titles import title_lines

    # What is piped is searched by lines: titles stay whole there.
    width = get_terminal_size().columns if on_terminal(sys.stdout) else sys.maxsize
    for line in title_lines(pieces, width):
        say(line, flush=True)


def _draw(chosen: list["Exercise"], path: Path) -> None:
    from midiforge.files.own_file import DRAWING
    from midiforge.model.exercise import by_piece
    from midiforge.screen.picture import svg

    DRAWING.write(path, svg([*by_piece(chosen)], _PICTURE_WIDTH))
