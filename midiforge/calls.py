"""The jobs of midiforge in one call each, for those who have one thing to do with a drill."""

from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from midiforge.drill.drill import Drill
from midiforge.lesson.lesson import Lesson
from midiforge.lesson.outline import LeftOut
from midiforge.model.exercise import Exercise
from midiforge.session import BuildReport, Session, SheetReport

if TYPE_CHECKING:
    from midiforge.folders.loops import LoopReport
    from midiforge.hear.choice import Reviewed
    from midiforge.hear.take import Take
    from midiforge.live.clock.timing import LatenessFigures
    from midiforge.live.ports.output import TakesMessages
    from midiforge.loops.loop_set import Shape
    from midiforge.midi.reading import MidiSource
    from midiforge.practice.plan import Plan
    from midiforge.practice.standing import Advice


def exercises(
    drill: Drill, left_out: Callable[[LeftOut], None] | None = None
) -> Iterator[Exercise]:
    """The exercises of a drill, one after the other, as they are made.

    left_out: told of every variant that makes no exercises.
    """
    for some in Lesson(drill).by_piece(left_out=left_out):
        yield from some


def build_lesson(
    drill: Drill, folder: Path | str, progress: Callable[[int], None] | None = None
) -> BuildReport:
    """Writes a drill's lesson into a folder; see `Session.build`."""
    return Session(drill).build(folder, progress)


def write_sheet(
    drill: Drill,
    path: Path | str,
    only: str = "",
    paper: str = "a4",
    large: bool = False,
    with_counts: bool = False,
) -> SheetReport:
    """Writes a drill's exercises as engraved pages; see `Session.sheet`."""
    return Session(drill).sheet(path, only, paper, large, with_counts)


def write_loops(
    drill: Drill,
    folder: Path | str,
    shape: "Shape | None" = None,
    only: str = "",
    audio: str = "",
    soundfont: Path | str = "",
    progress: Callable[[int, int], None] | None = None,
) -> "LoopReport":
    """Writes a drill's loops into a folder; see `Session.loops`."""
    return Session(drill).loops(folder, shape, only, audio, soundfont, progress)


def play(
    drill: Drill, port: "str | TakesMessages" = "", only: str = "", times: int | None = None
) -> "LatenessFigures":
    """Plays a drill's exercises through a MIDI output; see `Session.play`."""
    return Session(drill).play(port, only, times)


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
