"""The jobs after playing, in one call each: hear a take, keep it, say what comes next."""

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from midiforge.drill.drill import Drill
from midiforge.hear.choice import Reviewed, reviewed
from midiforge.hear.take import Take, read_take
from midiforge.lesson.choose import counted
from midiforge.lesson.lesson import exercises
from midiforge.uncollected import uncollected

if TYPE_CHECKING:
    from midiforge.practice.plan import Plan
    from midiforge.practice.standing import Advice


def review(
    take: Take | Path | str,
    drill: Drill,
    number: str | int = "",
    delay_ms: float | None = None,
) -> Reviewed:
    """Compares a take with its exercise, as `midiforge review` does.

    take: what `read_take` gave, or the MIDI file. number: of the exercise; None for the one the
        take names, else the likeliest. delay_ms: from stroke to file, if it was measured.
    Raises MidiforgeError if the file cannot be read, there is no such exercise, or the drill's
    kit knows none of the notes.
    """
    with uncollected():
        played = take if isinstance(take, Take) else read_take(take)
        return reviewed(played, list(exercises(drill)), drill.kit, number, delay_ms)


def sentences(found: Reviewed) -> list[str]:
    """What to work on, in one sentence, and up to five more on what else there is to say."""
    from midiforge.report.sentence import sentences as said

    return said(found.review, found.known)


def write_review(found: Reviewed, path: Path | str, step: str = "") -> None:
    """Writes a review as one HTML page with pictures, over nothing but an unchanged one.

    step: what to do next, as `next_step` has it.
    Raises MidiforgeError; a file that is there is then as it was.
    """
    from midiforge.report.html import write_page

    write_page(Path(path), found.review, found.known, step)


def log_review(
    found: Reviewed, drill: Drill, take: Path | str, note: str = "", log: Path | str = ""
) -> bool:
    """Keeps a review in the practice log; a take that was there has its figures replaced.

    A take that looks like another exercise or kit is not kept: its figures say nothing of this
    one. Gives whether it was.

    take: the file it was of. note: what the player says of it, such as "tired" or "pain".
    log: its file; "" for the usual one.
    Raises MidiforgeError.
    """
    from midiforge.practice.log import Log, log_path
    from midiforge.practice.reviewed import entry_of

    if not found.is_it:
        return False
    Log(log_path(str(log))).add(entry_of(found.review, drill.title, Path(take), note))
    return True


def next_step(
    found: Reviewed,
    drill: Drill,
    take: Path | str,
    note: str = "",
    log: Path | str | None = "",
) -> str:
    """What to do next with the exercise of a take, and why, as `midiforge next` says it.

    take, note: as for `log_review`. log: its file, which need not hold the take yet; "" for the
        usual one; None for no log, the take alone.
    Gives "" for a take that looks like another exercise or kit.
    Raises MidiforgeError.
    """
    from midiforge.practice import advice
    from midiforge.practice.log import Log, log_path, with_take
    from midiforge.practice.reviewed import entry_of
    from midiforge.practice.words import advice_words

    if not found.is_it:
        return ""
    entry = entry_of(found.review, drill.title, Path(take), note)
    day = max(date.today(), entry.day)  # of a file from a computer whose clock is ahead
    before = [] if log is None else Log(log_path(str(log))).entries()
    advised = advice.advise(drill, exercises(drill), with_take(before, entry), day)
    return next(advice_words(each) for each in advised if each.group.key == entry.key)


def advise(drill: Drill, log: Path | str = "", day: date | None = None) -> list["Advice"]:
    """What to do next with each exercise of a drill, after what the log holds.

    log: its file; "" for the usual one, which need not be there. day: None for today.
    Raises MidiforgeError if a log that was named cannot be read.
    """
    from midiforge.practice import advice
    from midiforge.practice.log import entries_in

    return advice.advise(drill, exercises(drill), entries_in(log), day or date.today())


def plan(
    drill: Drill,
    minutes: int = 30,
    log: Path | str = "",
    day: date | None = None,
    progress: Callable[[int], None] | None = None,
) -> "Plan":
    """Minutes of warm-up, work, review and rests, after what the log holds.

    minutes: 5 to 180. log, day: as for `advise`. progress: told how many exercises were looked at.
    Raises MidiforgeError, also where nothing is left to play because of pain.
    """
    from midiforge.practice.log import entries_in
    from midiforge.practice.plan import make_plan

    every = counted(exercises(drill), progress)
    return make_plan(drill, every, entries_in(log), day or date.today(), minutes)


def write_plan(made: "Plan", path: Path | str) -> None:
    """Writes a plan as a drill file, over nothing but an unchanged plan; MidiforgeError if not."""
    from midiforge.files.own_file import PLAN, write_own
    from midiforge.practice.drill_file import drill_file

    path = Path(path)
    write_own(path, drill_file(made, path.parent), PLAN)
