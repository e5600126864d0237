"""midiforge review"""

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from midiforge.command.flags import AsJson, flags
from midiforge.command.inputs import takes_a_drill
from midiforge.command.terminal import output, say, say_json
from midiforge.errors import MidiforgeError

if TYPE_CHECKING:
    from midiforge.drill.drill import Drill

_MOST_DELAY_MS = 1000.0


@takes_a_drill
def review(
    take: Annotated[
        Path, typer.Argument(metavar="TAKE.mid", help="What was played: any MIDI file.")
    ],
    drill: "Drill",
    exercise: Annotated[
        str,
        typer.Option("--exercise", metavar="N", help="Its number in the drill. [as found]"),
    ] = "",
    delay: Annotated[
        float | None,
        typer.Option(
            "--delay", metavar="MS", help="The delay from stroke to file, if it was measured."
        ),
    ] = None,
    page: Annotated[
        Path | None,
        typer.Option("--html", metavar="FILE.html", help="Write it as a page with pictures, too."),
    ] = None,
    as_json: AsJson = False,
    log: Annotated[
        Path | None, typer.Option("--log", metavar="FILE", help="The practice log to keep it in.")
    ] = None,
    note: Annotated[
        str,
        typer.Option("--note", metavar="TEXT", help="A word for the log: tired, pain, new kit."),
    ] = "",
    no_log: Annotated[bool, typer.Option("--no-log", help="Keep it in no log.")] = False,
) -> None:
    """Compare a take with its exercise and say what to work on.

    Then come the figures. The take is read, never changed.
    """
    if delay is not None and not (math.isfinite(delay) and abs(delay) <= _MOST_DELAY_MS):
        raise MidiforgeError(
            f"{delay:g} is no delay in ms", "--delay", hint=f"0 to {_MOST_DELAY_MS:g}"
        )
    from midiforge.calls import write_review
    from midiforge.session import Session

    session = Session(drill, None if no_log else log or "")
    with flags(number="--exercise"):
        found = session.review(take, exercise, delay)
    said, known = found.review, found.known
    trouble, step, kept = None, "", False
    try:
        step = session.next_step(found, take, note)
    except MidiforgeError as error:  # raised last, so that it does not hide the review
        trouble = error
    if page:
        write_review(found, page, step)
    if not trouble:
        try:
            kept = session.keep(found, take, note)
        except MidiforgeError as error:
            trouble = error
    if as_json:
        from midiforge.report.facts import as_json as facts
        from midiforge.report.facts import written

        say_json({**facts(said, known, step), "logged": kept}, written)
    else:
        from midiforge.report.terminal import show_review

        show_review(said, output(), known, step)
        if page:
            say(f"The page with pictures: {page}")
        if not found.is_it and not no_log:
            say(
                "Not kept in the log: say with --exercise which exercise it is."
                if known.unsure
                else "Not kept in the log: its figures would say nothing of this exercise."
            )
    if trouble:
        raise trouble
