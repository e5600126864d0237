"""A lesson's folder: a file for each exercise, the whole lesson in one, the index, the cues.

Everything is written aside first and moved into place at the end, so that a build that fails or
is interrupted leaves the folder as it was; see `midiforge.files.record`.
"""

from collections.abc import Callable, Iterable, Iterator
from fractions import Fraction
from pathlib import Path

from midiforge.errors import MidiforgeError
from midiforge.files.names import file_name
from midiforge.files.record import RECORD, rewriting
from midiforge.files.swap import checksum, checksum_of
from midiforge.files.table import table
from midiforge.frozen import frozen
from midiforge.kits.kit import Kit
from midiforge.midi.exercise_file import file_bytes
from midiforge.midi.lesson_file import LessonFile
from midiforge.model.exercise import Exercise
from midiforge.model.tempo import plain
from midiforge.moves import MOVES

INDEX, LESSON, CUES = "index.csv", "lesson.mid", "cues.csv"

_COLUMNS = (
    *("file", "number", "stage", "sticking", "placement", "accents", "lead", "tempo", "bars"),
    *("count_in_bars", "returns_after_bars", "seconds", "feet", "feet_placement", "title"),
    *("steps", "direction", "accent_placement"),
)
# Those of moves that came later stand behind.
INDEX_COLUMNS = tuple(
    dict.fromkeys((*_COLUMNS, *(column for move in MOVES for column in move.columns)))
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
        sums: dict[str, str] = {}
        with (
            LessonFile(title, kit, file_format) as lesson,
            table(aside / INDEX, INDEX_COLUMNS) as into_index,
            table(aside / CUES, CUE_COLUMNS) as into_cues,
        ):
            for exercise in exercises:
                for row in _cues(exercise, lesson.seconds):
                    into_cues(row)
                parts = lesson.add(exercise)
                name = file_name(exercise, digits)
                content = file_bytes(parts, _named(exercise), kit, lesson.division)
                (aside / name).write_bytes(content)
                sums[name] = checksum(content)
                into_index(_index_row(name, exercise))
                if progress:
                    progress(len(sums))
            if not sums:
                raise MidiforgeError("there is no exercise to write")
            with (aside / LESSON).open("wb") as stream:
                lesson.write(stream)
        count = len(sums)
        for name in (INDEX, LESSON, CUES):
            sums[name] = checksum_of(aside / name)
        replaced = before.replace_by(aside, sums)
    return Built(folder, count, lesson.seconds, replaced.kept, replaced.removed)


def _named(exercise: Exercise) -> str:
    return f"{exercise.title}, {exercise.tempo}"


def _cues(exercise: Exercise, began: Fraction) -> Iterator[tuple[object, ...]]:
    """Where the sections of an exercise begin that begins so many seconds into the lesson."""
    for section in exercise.sections:
        seconds = began + exercise.tempo.seconds(-exercise.count_in, section.start)
        number, title = exercise.number, _named(exercise)
        yield (_clock(seconds), f"{float(seconds):.3f}", number, title, section.title)


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
