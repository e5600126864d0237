"""The jobs of midiforge in one call each, for those who have one thing to do with a drill."""

from collections.abc import Callable, Iterator
from datetime import date
from functools import wraps
from inspect import Parameter, signature
from pathlib import Path
from typing import TYPE_CHECKING, Concatenate, ParamSpec, TypeVar

from midiforge.drill.drill import Drill
from midiforge.lesson.lesson import Lesson
from midiforge.lesson.outline import LeftOut
from midiforge.model.exercise import Exercise
from midiforge.session import Session

if TYPE_CHECKING:
    from midiforge.hear.choice import Reviewed
    from midiforge.hear.take import Take
    from midiforge.midi.reading import MidiSource
    from midiforge.practice.plan import Plan
    from midiforge.practice.standing import Advice

P = ParamSpec("P")
R = TypeVar("R")


def exercises(
    drill: Drill, left_out: Callable[[LeftOut], None] | None = None
) -> Iterator[Exercise]:
    """The exercises of a drill, one after the other, as they are made.

    left_out: told of every variant that makes no exercises.
    """
    for some in Lesson(drill).by_piece(left_out=left_out):
        yield from some


def _at_once(
    name: str, job: Callable[Concatenate[Session, P], R]
) -> Callable[Concatenate[Drill, P], R]:
    """A job of a session as a function: it takes the drill, then what the job takes."""

    @wraps(job, ("__doc__", "__annotations__"))
    def call(drill: Drill, *given: P.args, **named: P.kwargs) -> R:
        return job(Session(drill), *given, **named)

    call.__name__ = call.__qualname__ = name
    _, *taken = signature(job).parameters.values()
    first = Parameter("drill", Parameter.POSITIONAL_OR_KEYWORD, annotation=Drill)
    call.__signature__ = signature(job).replace(parameters=[first, *taken])  # type: ignore[attr-defined]
    return call  # type: ignore[return-value]  # the drill may be named, too


build_lesson = _at_once("build_lesson", Session.build)
write_sheet = _at_once("write_sheet", Session.sheet)
write_loops = _at_once("write_loops", Session.loops)
play = _at_once("play", Session.play)


def review(
    take: "Take | MidiSource",
    drill: Drill,
    number: str | int = "",
    delay_ms: float | None = None,
) -> "Reviewed":
    """Compares a take with its exercise; see `Session.review`."""
    return Session(drill).review(take, number, delay_ms)


def sentences(found: "Reviewed") -> list[str]:
    """What to work on, in one sentence, and up to five more on what else there is to say."""
    from midiforge.report.sentence import sentences as said

    return said(found.review, found.known)


def write_review(found: "Reviewed", path: Path | str, step: str = "", verdict: str = "") -> None:
    """Writes a review as one HTML page with pictures, over nothing but an unchanged one.

    step: what to do next, as `next_step` has it. verdict: as `Session.verdict` has it.
    Raises MidiforgeError; a file that is there is then as it was.
    """
    from midiforge.report.html import write_page

    write_page(Path(path), found.review, found.known, step, verdict)


def log_review(
    found: "Reviewed",
    drill: Drill,
    take: "MidiSource",
    note: str = "",
    log: Path | str = "",
    player: str = "",
    day: date | None = None,
) -> bool:
    """Keeps a review in the practice log; see `Session.keep`.

    player: who played; "" is the usual one.
    """
    return Session(drill, log, player).keep(found, take, note, day)


def next_step(
    found: "Reviewed",
    drill: Drill,
    take: "MidiSource",
    note: str = "",
    log: Path | str | None = "",
    player: str = "",
) -> str:
    """What to do next with the exercise of a take, and why; see `Session.next_step`.

    log: None for no log, the take alone.
    """
    return Session(drill, log, player).next_step(found, take, note)


def advise(drill: Drill, log: Path | str = "", day: date | None = None) -> "list[Advice]":
    """What to do next with each exercise of a drill; see `Session.advise`."""
    return Session(drill, log).advise(day)


def plan(drill: Drill, minutes: int = 30, log: Path | str = "", day: date | None = None) -> "Plan":
    """Minutes of warm-up, work, review and rests; see `Session.plan`."""
    return Session(drill, log).plan(minutes, day)


def write_plan(made: "Plan", path: Path | str) -> None:
    """Writes a plan as a drill file, over nothing but an unchanged plan; MidiforgeError if not."""
    from midiforge.files.own_file import PLAN
    from midiforge.practice.drill_file import drill_file

    path = Path(path)
    PLAN.write(path, drill_file(made, path.parent))
