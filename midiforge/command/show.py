"""midiforge show"""

from typing import TYPE_CHECKING, Annotated

import typer

from midiforge.command.inputs import takes_a_drill

if TYPE_CHECKING:
    from midiforge.drill.drill import Drill


@takes_a_drill
def show(
    drill: "Drill",
    only: Annotated[
        str, typer.Option("--only", metavar="N,N-N", help="Only these exercises, by number.")
    ] = "",
    as_json: Annotated[bool, typer.Option("--json", help="Print as JSON.")] = False,
) -> None:
    """Print the exercises of a drill as a drummer reads them, and what they ask of the player."""
    raise NotImplementedError
