"""midiforge show"""

import sys
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from midiforge.command.flags import AsJson, Only, Picture
from midiforge.command.inputs import takes_a_drill
from midiforge.command.terminal import (
    lesson_bar,
    on_terminal,
    say,
    say_json,
    say_styled,
    terminal_width,
)
from midiforge.errors import MidiforgeError, quoted
from midiforge.printable import many

if TYPE_CHECKING:
    from midiforge.drill.drill import Drill
    from midiforge.model.exercise import Exercise

_PICTURE_WIDTH = 84


@takes_a_drill
def show(
    drill: "Drill",
    only: Only = "",
    picture: Picture = None,
    titles: bool = False,
    as_json: AsJson = False,
) -> None:
    """Print exercises as a drummer reads them.

    Below each stands what it asks of the player.

    --titles: A line an exercise: number, stage, title, tempos, bars, how hard.
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
        say(f"{drill.title}: {many(len(chosen), 'exercise')} in {picture}")
    else:
        (_print_titles if titles else _print)(
            by_piece(chosen) if only else lesson.by_piece(left_out=left_out.append)
        )
        for sentence in remarks(drill):
            say(f"mind: {sentence}")
        for variant in left_out if not only else ():
            say(f"left out: {variant}")


def _print(pieces: Iterable[tuple["Exercise", ...]]) -> None:
    from midiforge.screen.show import STYLES, exercise_lines

    for exercises in pieces:
        say_styled(exercise_lines(exercises, terminal_width()), STYLES)
        say()


def _print_titles(pieces: Iterable[tuple["Exercise", ...]]) -> None:
    from midiforge.screen.titles import title_lines

    # What is piped is searched by lines: titles stay whole there.
    width = terminal_width() if on_terminal(sys.stdout) else sys.maxsize
    for line in title_lines(pieces, width):
        say(line, flush=True)


def _draw(chosen: list["Exercise"], path: Path) -> None:
    from midiforge.files.own_file import DRAWING
    from midiforge.model.exercise import by_piece
    from midiforge.screen.picture import svg

    DRAWING.write(path, svg([*by_piece(chosen)], _PICTURE_WIDTH))
