"""midiforge log, midiforge next, midiforge plan"""

import sys
from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Annotated

import typer

from midiforge.command.flags import AsJson, Log, Picture, Player
from midiforge.command.inputs import takes_a_drill
from midiforge.command.terminal import (
    lesson_bar,
    on_terminal,
    say,
    say_json,
    say_styled,
    say_text,
    tell,
    terminal_width,
)
from midiforge.errors import MidiforgeError, nearest, quoted
from midiforge.printable import many

if TYPE_CHECKING:
    from midiforge.drill.drill import Drill
    from midiforge.practice.course import Course
    from midiforge.practice.entry import Entry
    from midiforge.practice.plan import Plan
    from midiforge.session import Session

_DATE = Annotated[
    str, typer.Option("--date", metavar="YYYY-MM-DD", help="As if it were that day. [today]")
]
_WIDEST = 100
_CLOCK = 7  # columns
_LOOKING = "Looking at exercises"
_LONGEST_AGO = 100_000  # days; farther back is all there is


def log(
    drill: Annotated[
        str, typer.Option("--drill", metavar="TITLE", help="Only drills with this in the title.")
    ] = "",
    exercise: Annotated[
        str,
        typer.Option(
            "--exercise", metavar="TEXT", help="Only exercises with this in theirs, or so numbered."
        ),
    ] = "",
    player: Annotated[
        list[str] | None,
        typer.Option(
            "--player", metavar="NAME", help="Only who is so named; again for another beside. [all]"
        ),
    ] = None,
    days: Annotated[
        int, typer.Option("--days", metavar="N", min=0, help="Only the last N days; 0 for all.")
    ] = 0,
    csv_file: Annotated[
        str, typer.Option("--csv", metavar="FILE|-", help="Write every take as CSV instead.")
    ] = "",
    picture: Picture = None,
    join: Annotated[
        str, typer.Option("--join", metavar="FILE", help="Add what another log holds besides.")
    ] = "",
    as_json: AsJson = False,
    log_file: Log = "",
) -> None:
    """Show the course of each exercise.

    Its tempo, and how clean and steady it was, take by take. Players come apart, then side by side.
    """
    from midiforge.practice.course import chosen, courses
    from midiforge.practice.log import Log, entries_in, log_path

    if join:
        ours, others = Log(log_path(log_file)), entries_in(join, tell)
        added = ours.join(others)
        there = len(others) - added
        say(f"{added} added to {ours.path}; {there} were there already")
        return

    if sum((bool(csv_file), picture is not None, as_json)) > 1:
        raise MidiforgeError("only one of --csv, --picture and --json at a time")
    since = date.today() - timedelta(days - 1) if 0 < days < _LONGEST_AGO else None
    everything = entries_in(log_file, tell)
    found = chosen(everything, drill, exercise, since, player)
    if everything and not found and not days:
        _nothing_like(everything, drill, exercise, player or ())
    if csv_file:
        _csv(found, csv_file, everything)
    elif picture:
        _draw(courses(found), picture)
    elif as_json:
        from midiforge.practice.course import plain_course

        say_json([plain_course(each) for each in courses(found)])
    else:
        _show(courses(found), days)


@takes_a_drill
def next_steps(
    drill: "Drill",
    log_file: Log = "",
    player: Player = "",
    day: _DATE = "",
    as_json: AsJson = False,
) -> None:
    """Say what to do next with each exercise of a drill, and why."""
    from midiforge.practice.days import day_of
    from midiforge.practice.words import CAUTION, advice_lines, plain_advice
    from midiforge.session import Session

    today = day_of(day)
    with lesson_bar(_LOOKING, drill, hidden=as_json) as bar:
        session = Session(drill, log_file, player)
        found = session.advise(today, bar)
    if as_json:
        say_json([{**plain_advice(each), "player": session.player} for each in found])
        return
    takes = sum(len(each.group.takes) for each in found)
    who, others = _players(session)
    of = f" of {who}" if who else ""
    said = f"{many(len(found), 'exercise')}, {many(takes, 'take')}{of} in the log"
    for text in (f"{drill.title}: {said}", *others):
        for line in _wrapped(text, 0):
            say(line)
    rows = [*advice_lines(found)]
    wide = max(len(numbers) for numbers, _, _ in rows)
    for numbers, title, said in rows:
        lines = [text for part in filter(None, (title, said)) for text in _wrapped(part, wide + 2)]
        for i, text in enumerate(lines):
            say(f"{numbers if i == 0 else '':>{wide}}  {text}")
    for text in _wrapped(CAUTION, 0):
        say(text)


@takes_a_drill
def plan(
    drill: "Drill",
    minutes: Annotated[
        int, typer.Option("--minutes", metavar="N", help="How long to practise, 5 to 180.")
    ] = 30,
    out: Annotated[
        str, typer.Option("--out", metavar="FILE.toml", help="Write it as a drill to play too.")
    ] = "",
    log_file: Log = "",
    player: Player = "",
    day: _DATE = "",
    as_json: AsJson = False,
) -> None:
    """Plan minutes of practice from what the log says.

    With warm-up, work, review and rests.
    """
    from midiforge.calls import write_plan
    from midiforge.practice.days import day_of
    from midiforge.practice.words import plain_plan
    from midiforge.session import Session

    today = day_of(day)
    with lesson_bar(_LOOKING, drill, hidden=as_json) as bar:
        session = Session(drill, log_file, player)
        made = session.plan(minutes, today, bar)
    if out:
        write_plan(made, _plan_path(out))
    if as_json:
        say_json({**plain_plan(made), "player": session.player})
    else:
        _say_plan(made, out, *_players(session))


def _players(session: "Session") -> tuple[str, list[str]]:
    """Who it is for, where that is a question, and who else is in the log, as lines."""
    from midiforge.practice.entry import player_said
    from midiforge.printable import listed

    others = [] if session.player else session.others()
    who = player_said(session.player) if others or session.player else ""
    also = f"The log has takes of {listed(others)}, too: --player NAME for theirs."
    return who, [also] if others else []


def _wrapped(text: str, indent: int) -> list[str]:
    """Lines as wide as the terminal, or 80 columns."""
    return wrap(text, max(_width() - indent, 30), break_on_hyphens=False)


def _width() -> int:
    return min(terminal_width(), _WIDEST) if on_terminal(sys.stdout) else 80


# midiforge log


def _nothing_like(
    everything: "list[Entry]", drill: str, exercise: str, players: Sequence[str]
) -> None:
    """Raises MidiforgeError with the nearest title or name."""
    from midiforge.practice.course import chosen

    for player in players:
        if not chosen(everything, players=(player,)):
            raise MidiforgeError(
                f"the log has nothing of {quoted(player)}",
                "--player",
                hint=nearest(player, {each.player for each in everything if each.player}),
            )
    titles = {each.drill for each in everything}
    for flag, text, known, some in (
        ("--drill", drill, titles, chosen(everything, drill)),
        (
            "--exercise",
            exercise,
            {e.exercise for e in everything},
            chosen(everything, "", exercise),
        ),
    ):
        if text and not some:
            raise MidiforgeError(
                f"no title in the log has {quoted(text)}", flag, hint=nearest(text, known)
            )


def _csv(found: "list[Entry]", name: str, everything: "list[Entry]") -> None:
    """Writes CSV over no file but one that holds nothing which the log does not."""
    from midiforge.files.disk import reason, write_aside
    from midiforge.practice.log import as_csv

    if name == "-":
        say_text(as_csv(found, line_end="\n"))
        return
    path = Path(name)
    known = set(as_csv(everything).encode().splitlines())
    try:
        if path.exists() and not (path.is_file() and known.issuperset(_lines(path))):
            raise MidiforgeError(
                "is there, and holds what the log does not",
                name,
                hint="choose another name, or remove it",
            )
    except OSError as error:
        raise MidiforgeError(f"cannot be written: {reason(error)}", name) from None
    write_aside(path, as_csv(found))
    say(f"{many(len(found), 'take')} in {name}")


def _lines(path: Path) -> list[bytes]:
    return path.read_bytes().splitlines()


def _draw(found: "list[Course]", path: Path) -> None:
    from midiforge.files.own_file import COURSE
    from midiforge.practice.picture import MOST, svg

    if not found:
        raise MidiforgeError("there is no take to draw", "--picture")
    COURSE.write(path, svg(found))
    if len(found) > MOST:
        say(f"the {MOST} exercises played last are drawn, {len(found) - MOST} are not")


def _show(found: "list[Course]", days: int) -> None:
    from midiforge.practice.course import STYLES, course_lines

    if not found:
        say("no takes in the last days" if days else "no takes yet: a review adds one")
        return
    say_styled(course_lines(found, _width(), plain=not _has_blocks()), STYLES)


def _has_blocks() -> bool:
    """Whether standard output takes the letters that charts are made of."""
    try:
        "▁█●│".encode(sys.stdout.encoding or "ascii")
    except (UnicodeError, LookupError):
        return False
    return True


# midiforge plan


def _plan_path(out: str) -> Path:
    path = Path(out)
    return path if path.suffix else path.with_suffix(".toml")


def _say_plan(made: "Plan", out: str, who: str, others: Sequence[str]) -> None:
    from midiforge.practice.words import CAUTION, plan_note

    of = f", for {who}" if who else ""
    said = f"{made.minutes} minutes on {made.day.isoformat()}{of}"
    for text in (f"{made.drill.title}: {said}", *others):
        for line in _wrapped(text, 0):
            say(line)
    for at, said, exercises in plan_note(made):
        indent = _CLOCK if at else 0
        heads = [f"{at:>5}  " if at else "", *([" " * indent + "- "] * len(exercises))]
        for head, sentences in zip(heads, (said, *exercises), strict=True):
            first, *rest = _wrapped(sentences, len(head))
            say(head + first)
            for text in rest:
                say(" " * len(head) + text)
    for text in _wrapped(CAUTION, 0):
        say(text)
    if out:
        path = _plan_path(out)
        say(f"To play, rests and all: midiforge play {path} --port NAME")
