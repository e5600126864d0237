"""midiforge sheet"""

from typing import TYPE_CHECKING, Annotated

import typer

from midiforge.command.flags import Only, Quiet, flags, named
from midiforge.command.inputs import takes_a_drill
from midiforge.command.terminal import say
from midiforge.pages.sheet import formats_said
from midiforge.printable import many

if TYPE_CHECKING:
    from midiforge.drill.drill import Drill


@takes_a_drill
def sheet(
    drill: "Drill",
    out: Annotated[
        str,
        typer.Option("--out", metavar="FILE", help=f"The file: {formats_said()}."),
    ] = "",
    only: Only = "",
    paper: str = "a4",
    large: bool = False,
    counts: bool = False,
    student: str = "",
    teacher: str = "",
    date: str = "",
    quiet: Quiet = False,
) -> None:
    """Write the exercises of a drill as engraved pages.

    Or for other programs: the ending of the file says as what.

    --paper a4|letter: The paper to print on.
    --large: Large print, for the music stand.
    --counts: Write the counts below the notes.
    --student NAME: Who it is for, at the head of a booklet; else there is room to write it.
    --teacher NAME: Who it is from.
    --date DATE: When it was given, likewise.
    """
    from midiforge.session import Session

    with flags(path="--out"):
        written = Session(drill).sheet(
            named(out, "file", "lesson.pdf"), only, paper, large, counts, student, teacher, date
        )
    if quiet:
        return
    say(f"{drill.title}: {many(written.exercises, 'exercise')} in {out}")
    for sentence in written.warnings:
        say(f"mind: {sentence}")
    for variant in written.left_out:
        say(f"left out: {variant}")
