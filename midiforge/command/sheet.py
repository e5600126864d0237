"""midiforge sheet"""

from typing import TYPE_CHECKING, Annotated

import typer

from midiforge.command.flags import Only, Quiet, flags
from midiforge.command.inputs import takes_a_drill
from midiforge.command.terminal import say
from midiforge.errors import MidiforgeError
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
    paper: Annotated[
        str, typer.Option("--paper", metavar="a4|letter", help="The paper to print on.")
    ] = "a4",
    large: Annotated[
        bool, typer.Option("--large", help="Large print, for the music stand.")
    ] = False,
    with_counts: Annotated[
        bool, typer.Option("--counts", help="Write the counts below the notes.")
    ] = False,
    quiet: Quiet = False,
) -> None:
    """Write the exercises of a drill as engraved pages.

    Or for other programs: the ending of the file says as what.
    """
    if not out.strip():
        raise MidiforgeError("no file is named", "--out", hint="such as --out lesson.pdf")
    from midiforge.session import Session

    with flags(path="--out"):
        written = Session(drill).sheet(out, only, paper, large, with_counts)
    if quiet:
        return
    say(f"{drill.title}: {many(written.exercises, 'exercise')} in {out}")
    for sentence in written.warnings:
        say(f"mind: {sentence}")
    for variant in written.left_out:
        say(f"left out: {variant}")
