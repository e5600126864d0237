"""midiforge review"""

import math
from collections.abc import Iterator, Sequence
from datetime import date
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from midiforge.command.flags import AsJson, Player, flags
from midiforge.command.inputs import takes_a_drill
from midiforge.command.terminal import output, progress_bar, say, say_json
from midiforge.errors import MidiforgeError
from midiforge.printable import many

if TYPE_CHECKING:
    from midiforge.command.terminal import Tell
    from midiforge.drill.drill import Drill
    from midiforge.practice.reviewed import Played
    from midiforge.session import Heard, Session

_MOST_DELAY_MS = 1000.0


@partial(takes_a_drill, behind="takes")
def review(
    takes: Annotated[
        list[Path],
        typer.Argument(
            metavar="TAKE.mid|FOLDER ... [DRILL.toml]",
            help="What was played: any MIDI files, or folders of them; then the drill.",
        ),
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
        typer.Option(
            "--html", "--out", metavar="FILE.html", help="Write it as a page, too, with pictures."
        ),
    ] = None,
    as_json: AsJson = False,
    log: Annotated[
        Path | None, typer.Option("--log", metavar="FILE", help="The practice log to keep it in.")
    ] = None,
    player: Player = "",
    day: Annotated[
        str,
        typer.Option(
            "--date",
            metavar="YYYY-MM-DD",
            help="The day it was played. [as the take or its name says, or today]",
        ),
    ] = "",
    note: Annotated[
        str,
        typer.Option("--note", metavar="TEXT", help="A word for the log: tired, pain, new kit."),
    ] = "",
    no_log: Annotated[bool, typer.Option("--no-log", help="Keep it in no log.")] = False,
) -> None:
    """Compare a take with its exercise and say what to work on.

    Then come the figures. Of several takes, or a folder of them, each is told in short on one page
    for the day. Takes are read, never changed.
    """
    if delay is not None and not (math.isfinite(delay) and abs(delay) <= _MOST_DELAY_MS):
        raise MidiforgeError(
            f"{delay:g} is no delay in ms", "--delay", hint=f"0 to {_MOST_DELAY_MS:g}"
        )
    from midiforge.practice.days import day_played
    from midiforge.session import Session

    session = Session(drill, None if no_log else log or "", player)
    played = day_played(day)
    with flags(number="--exercise"):
        if len(takes) == 1 and not takes[0].is_dir():
            _one(session, takes[0], exercise, delay, page, as_json, note, played)
        else:
            _many(session, takes, exercise, delay, page, as_json, note, played)


def _one(
    session: "Session",
    take: Path,
    exercise: str,
    delay: float | None,
    page: Path | None,
    as_json: bool,
    note: str,
    day: date | None,
) -> None:
    from midiforge.calls import write_review
    from midiforge.practice.reviewed import when_played

    found = session.review(take, exercise, delay)
    said, known = found.review, found.known
    verdict = session.verdict(found, take)
    trouble, step, kept = None, "", False
    try:
        step = session.next_step(found, take, note, day)
    except MidiforgeError as error:  # raised last, so that it does not hide the review
        trouble = error
    if page:
        write_review(found, page, step, verdict)
    if not trouble:
        try:
            kept = session.keep(found, take, note, day)
        except MidiforgeError as error:
            trouble = error
    if as_json:
        from midiforge.report.facts import as_json as facts
        from midiforge.report.facts import written

        say_json({**facts(said, known, step, verdict), "logged": kept}, written)
    else:
        from midiforge.report.terminal import show_review

        shown = found.is_it or bool(exercise)
        show_review(said, output(), known, step, verdict, figures=shown)
        if page:
            say(f"The page with pictures: {page}")
        if kept:
            say(_logged(when_played(str(take), said.played, day), session.player))
        elif not found.is_it and session.log is not None:
            say(
                "Not kept in the log: say with --exercise which exercise it is."
                if known.unsure
                else "Not kept in the log: its figures would say nothing of this exercise."
            )
        if not shown:
            say(f"To see the figures all the same: --exercise {said.exercise.number}")
    if trouble:
        raise trouble


def _many(
    session: "Session",
    named: Sequence[Path],
    exercise: str,
    delay: float | None,
    page: Path | None,
    as_json: bool,
    note: str,
    day: date | None,
) -> None:
    from midiforge.practice.reviewed import takes_in

    takes = takes_in(named)
    some: list[dict[str, object]] = []
    count = kept = 0

    def logged(tell: "Tell | None") -> "Iterator[Heard]":
        """Each is in the log as soon as it was heard, so that what stops the rest takes none."""
        nonlocal count, kept
        for take in session.review_all(takes, exercise, delay, note, day):
            count += 1
            kept += session.keep_heard(take, keeps_day=day is None)
            if as_json and take.found and take.entry:
                from midiforge.report.facts import as_json as facts

                is_kept = session.log is not None
                some.append({**facts(take.found.review, take.found.known), "logged": is_kept})
            if tell:
                tell(count)
            yield take

    with progress_bar("Takes", len(takes), hidden=as_json) as bar:
        told = session.page_of(logged(bar))
    if page:
        from midiforge.report.day import write_day

        write_day(page, told)
    if as_json:
        from midiforge.report.day import plain_day
        from midiforge.report.facts import written

        say_json(plain_day(told, some), written)
        return
    from midiforge.report.day import show_day

    show_day(told, output())
    say()
    if page:
        say(f"The page: {page}")
    if session.log is not None:
        of = f" of {session.player}" if session.player else ""
        say(f"In the log{of}: {many(kept, 'take')}.")
    if not told.exercises:
        raise MidiforgeError(
            f"none of {many(count, 'take')} could be told", hint="is it the right drill?"
        )


def _logged(played: "Played", player: str) -> str:
    """In whose log the take is, of which day, and who says so."""
    who = f" of {player}" if player else ""
    otherwise = "" if played.by else "; --date DAY says otherwise"
    return f"In the log{who}, as played {played.said}{otherwise}."
