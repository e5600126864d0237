"""A lesson's folder: a file for each exercise, the whole lesson in one, the index, the cues.

Everything is written aside first and moved into place at the end, so that a build that fails or
is interrupted leaves the folder as it was; see `midiforge.files.record`.
"""

import csv
from collections.abc import Callable, Iterable
from contextlib import ExitStack
from fractions import Fraction
from pathlib import Path
from typing import TextIO

from midiforge.errors import MidiforgeError
from midiforge.files.names import file_name
from midiforge.files.record import RECORD, Writing, checksum, rewriting
from midiforge.files.swap import checksum_of
from midiforge.files.table import cells
from midiforge.frozen import frozen
from midiforge.kits.kit import Kit
from midiforge.midi.exercise_file import file_bytes
from midiforge.midi.lesson_file import Cue, LessonFile
from midiforge.model.exercise import Exercise
from midiforge.model.tempo import plain
from midiforge.moves import MOVES

INDEX, LESSON, CUES = "index.csv", "lesson.mid", "cues.csv"

_COLUMNS = (
    "file",
    "number",
    "stage",
    "sticking",
    "placement",
    "accents",
    "lead",
    "tempo",
    "bars",
    "count_in_bars",
    "returns_after_bars",
    "seconds",
    "feet",
    "feet_placement",
    "title",
    "steps",
    "direction",
    "accent_placement",
)
# Those of moves that came later stand behind.
INDEX_COLUMNS = (
    *_COLUMNS,
    *(column for move in MOVES for column in move.columns if column not in _COLUMNS),
)
CUE_COLUMNS = ("start", "seconds", "number", "title", "section")


@frozen
class Built:
    """What a build wrote.

    files: how many exercises.
    seconds: how long the whole lesson lasts.
    kept: files of an earlier build that somebody changed since; they were left alone.
    removed: how many others of it are gone, without one of the same name in their place.
    """

    folder: Path
    files: int
    seconds: Fraction
    kept: tuple[str, ...]
    removed: int = 0


def build(
    exercises: Iterable[Exercise],
    kit: Kit,
    folder: Path,
    title: str,
    file_format: int = 1,
    digits: int = 2,
    progress: Callable[[int], None] | None = None,
) -> Built:
    """Writes a lesson into a folder, made if it is not there.

    digits: of the number that each file name begins with.
    progress: told how many exercises are written.
    Raises MidiforgeError, the folder left as it was, where something cannot be written or would
    overwrite a file that midiforge did not make.
    """
    with rewriting(folder, RECORD, INDEX, LESSON, CUES) as (before, aside):
        writer = _Writer(aside, kit, title, file_format, digits)
        count = writer.write_all(exercises, progress)
        if not count:
            raise MidiforgeError("there is no exercise to write")
        replaced = before.replace_by(aside)
    return Built(folder, count, writer.seconds, replaced.kept, replaced.removed)


class _Writer:
    """Writes the files of a lesson, and a record of them, into a folder."""

    def __init__(self, folder: Path, kit: Kit, title: str, file_format: int, digits: int) -> None:
        self.folder = folder
        self.kit = kit
        self.title = title
        self.file_format = file_format
        self.digits = digits
        self.seconds = Fraction(0)

    def write_all(
        self, exercises: Iterable[Exercise], progress: Callable[[int], None] | None
    ) -> int:
        """Writes everything; gives the number of exercises."""
        count = 0
        with ExitStack() as held, Writing(self.folder) as record:
            index, cues = self._table(INDEX, INDEX_COLUMNS), self._table(CUES, CUE_COLUMNS)
            held.callback(index.close)
            held.callback(cues.close)
            lesson = held.enter_context(LessonFile(self.title, self.kit, self.file_format))
            for exercise in exercises:
                parts, its_cues = lesson.add(exercise)
                name = file_name(exercise, self.digits)
                title = f"{exercise.title}, {exercise.tempo}"
                content = file_bytes(parts, title, self.kit, lesson.division)
                (self.folder / name).write_bytes(content)
                record.note(name, checksum(content))
                csv.writer(index).writerow(cells(_index_row(name, exercise)))
                csv.writer(cues).writerows(cells(_cue_row(cue)) for cue in its_cues)
                count += 1
                if progress:
                    progress(count)
            if count:
                with (self.folder / LESSON).open("wb") as stream:
                    lesson.write(stream)
                self.seconds = lesson.seconds
                index.close()
                cues.close()
                for name in (INDEX, LESSON, CUES):
                    record.note(name, checksum_of(self.folder / name))
        return count

    def _table(self, name: str, columns: tuple[str, ...]) -> TextIO:
        stream = (self.folder / name).open("w", newline="", encoding="utf-8")
        csv.writer(stream).writerow(columns)
        return stream


def _cue_row(cue: Cue) -> tuple[object, ...]:
    seconds = f"{float(cue.seconds):.3f}"
    return (_clock(cue.seconds), seconds, cue.number, cue.title, cue.section)


def _index_row(name: str, exercise: Exercise) -> tuple[object, ...]:
    """Where things begin is a count in each of its columns; what does not play has none."""
    columns = {
        "file": name,
        "number": exercise.number,
        "stage": exercise.stage,
        "sticking": exercise.variant.sticking,
        "tempo": plain(exercise.tempo.first),
        "bars": exercise.bars,
        "count_in_bars": exercise.count_in_bars,
        "returns_after_bars": exercise.returns_after_bars,
        "seconds": f"{float(exercise.seconds):.3f}",
        "feet": exercise.feet,
        "title": exercise.title,
        "steps": str(exercise.meter.beat / exercise.step),
        **exercise.variant.columns,
    }
    if not exercise.feet:
        columns["feet_placement"] = ""
    return tuple(columns.get(column, "") for column in INDEX_COLUMNS)


def _clock(seconds: Fraction) -> str:
    """Seconds as h:mm:ss.mmm."""
    whole = round(seconds * 1000)
    minutes, rest = divmod(whole, 60_000)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest // 1000:02d}.{rest % 1000:03d}"
