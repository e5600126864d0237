"""Loops to play along with in one call: a drill in, a folder of MIDI files and of sound out."""

import os
from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction
from math import log10
from pathlib import Path
from typing import TYPE_CHECKING

from midiforge.drill.drill import Drill
from midiforge.errors import MidiforgeError, WrongArgument, nearest, quoted
from midiforge.files.names import file_name
from midiforge.files.record import rewriting
from midiforge.files.swap import checksum_of
from midiforge.files.table import table
from midiforge.frozen import frozen
from midiforge.lesson.size import most_pieces
from midiforge.loops import Loop, Shape, loops
from midiforge.midi.exercise_file import exercise_bytes
from midiforge.model.number import Number
from midiforge.model.tempo import plain

if TYPE_CHECKING:
    from midiforge.sound.fluid import Sound
    from midiforge.sound.pool import Done

INDEX, RECORD = "loops.csv", ".midiforge-wrote-loops"
FORMATS = ("wav", "flac", "ogg")
COLUMNS = (
    *("file", "audio", "kind", "exercises", "title", "tempo", "bars", "times", "count_in_bars"),
    *("seconds", "loop_from_seconds", "samples", "sample_rate", "gain_db"),
)


@frozen
class Written:
    """A loop's files.

    uses: what it is for whom: the kind, and the numbers of the exercises that it is that of. One
        exercise without its hands may be all of another.
    audio: "" for none; samples: how many it has, at `rate` a second; gain: the factor it was
        written with.
    """

    loop: Loop
    file: str
    uses: tuple[tuple[str, tuple[Number, ...]], ...]
    audio: str = ""
    samples: int = 0
    rate: int = 0
    gain: float = 1.0

    @property
    def numbers(self) -> tuple[Number, ...]:
        """Of the exercises that it goes with."""
        return tuple(dict.fromkeys(number for _, those in self.uses for number in those))


@frozen
class LoopReport:
    """What came of it.

    left_out: sentences on what could not be made. missing: why there is no sound though it was
    asked for, and how to get it; "" if nothing is missing. kept: files of an earlier time that
    somebody changed since; they were left alone. removed: how many others of that time are gone,
    without one of the same name in their place.
    """

    folder: Path
    written: tuple[Written, ...]
    left_out: tuple[str, ...] = ()
    missing: str = ""
    kept: tuple[str, ...] = ()
    removed: int = 0

    @property
    def seconds(self) -> Fraction:
        """How long all of it lasts."""
        return sum((files.loop.seconds for files in self.written), Fraction(0))


def write_loops(
    drill: Drill,
    folder: Path | str,
    shape: Shape | None = None,
    only: str = "",
    audio: str = "",
    soundfont: Path | str = "",
    progress: Callable[[int, int], None] | None = None,
) -> LoopReport:
    """Writes a drill's loops into a folder, as `midiforge loop` does.

    only: which exercises, by number, "3,5-8,9b"; "" for all.
    audio: "wav", "flac" or "ogg" for sound beside the MIDI files; "" for none. Where FluidSynth,
        a SoundFont or a package is missing, MIDI is written all the same and the report says so.
    soundfont: the SoundFont's file; "" to look in the usual places.
    progress: told how many files of how many are written.
    Raises MidiforgeError; the folder is then as it was.
    """
    if audio and audio not in FORMATS:
        what, hint = f"{quoted(audio)} is no format of audio", nearest(audio, FORMATS)
        raise WrongArgument(what, "audio", hint=hint)
    sound, missing = _sound(soundfont) if audio else (None, "")
    folder, shape = Path(folder), shape or Shape()
    with rewriting(folder, RECORD, INDEX) as (before, aside):
        left_out: list[str] = []
        written = list(_write_midi(drill, shape, only, aside, left_out))
        if not written:
            raise MidiforgeError(
                "there is no loop to write", drill.source, hint="".join(left_out[:1])
            )
        if sound:
            try:
                written = list(
                    _write_sound(written, drill, sound, audio, aside, left_out, progress)
                )
            except MidiforgeError as error:
                where = (place.replace(str(aside), str(folder)) for place in error.where)
                raise MidiforgeError(error.what, *where, hint=error.hint) from None
        with table(aside / INDEX, COLUMNS) as into_index:
            for files in written:
                for kind, numbers in files.uses:
                    into_index(_row(files, kind, numbers))
        names = (name for files in written for name in (files.file, files.audio) if name)
        sums = {name: checksum_of(aside / name) for name in (*names, INDEX)}
        replaced = before.replace_by(aside, sums)
    left = tuple(dict.fromkeys(left_out))
    return LoopReport(folder, tuple(written), left, missing, replaced.kept, replaced.removed)


def _sound(soundfont: Path | str) -> tuple["Sound | None", str]:
    """What to render with; or why that is not possible here.

    A SoundFont that was named and is damaged is an error: somebody meant it.
    """
    from midiforge.sound.fluid import Sound, library
    from midiforge.sound.packages import check_packages
    from midiforge.sound.soundfont import VARIABLE, find_soundfont

    named = find_soundfont(soundfont) if soundfont or os.environ.get(VARIABLE) else None
    try:
        check_packages()
        library()
        return Sound(named or find_soundfont()), ""
    except MidiforgeError as error:
        return None, str(error)


def _write_midi(
    drill: Drill, shape: Shape, only: str, aside: Path, left_out: list[str]
) -> Iterator[Written]:
    """A file for each loop; one for those that come out the same."""
    digits = max(2, len(str(most_pieces(drill))))
    uses: list[tuple[Loop, str, dict[str, tuple[Number, ...]]]] = []
    for loop in loops(drill, shape, only, left_out.append):
        if loop.same_as is not None:
            _, _, kinds = uses[loop.same_as]
            kinds[loop.kind] = kinds.get(loop.kind, ()) + loop.numbers
            continue
        name = file_name(loop.exercise, digits, loop.kind)
        content = exercise_bytes(loop.exercise, drill.kit, drill.file_format, loop.times)
        (aside / name).write_bytes(content)
        uses.append((loop, name, {loop.kind: loop.numbers}))
    for loop, name, kinds in uses:
        yield Written(loop, name, tuple(kinds.items()))


def _write_sound(
    written: list[Written],
    drill: Drill,
    sound: "Sound",
    ending: str,
    aside: Path,
    left_out: list[str],
    progress: Callable[[int, int], None] | None,
) -> Iterator[Written]:
    """The loops with their sound; what belongs to one exercise at one tempo at one level.

    The fullest loop gives the level: a click alone made as loud as a band would hurt.
    """
    from midiforge.sound.audio_file import about
    from midiforge.sound.pool import Job, render_all
    from midiforge.sound.render import RATE

    done: dict[str, Done] = {}  # by the loop's file
    levels: dict[Number, float] = {}

    def job(files: Written) -> Job:
        loop, said = files.loop, about(files.loop.exercise)
        return Job(
            exercise=loop.exercise,
            kit=drill.kit,
            path=(aside / files.file).with_suffix(f".{ending}"),
            about=replace(
                said, title=f"{said.title}, {loop.kind}", comment=f"{loop.kind}; {said.comment}"
            ),
            closed=loop.closes,
            times=loop.times,
            reference=min((levels[n] for n in files.numbers if n in levels), default=None),
        )

    firsts = [files for files in written if files.loop.kind == "everything"]
    others = [files for files in written if files.loop.kind != "everything"]
    for group in (firsts, others):
        for files, rendered in zip(group, render_all(map(job, group), sound), strict=True):
            done[files.file] = rendered
            if rendered.silent:
                left_out.append(f"{rendered.job.path.name}: next to nothing is heard in it")
            if progress:
                progress(len(done), len(written))
        # Known before the first of the others is begun.
        for files in firsts:
            levels |= dict.fromkeys(files.numbers, done[files.file].gain)
    for files in written:
        audio = done[files.file]
        name = audio.job.path.name
        yield replace(files, audio=name, samples=audio.samples, rate=RATE, gain=audio.gain)


def _row(files: Written, kind: str, numbers: tuple[Number, ...]) -> tuple[object, ...]:
    loop, exercise = files.loop, files.loop.exercise
    tempos = (plain(exercise.tempo.first), plain(exercise.tempo.last))
    return (
        files.file,
        files.audio,
        kind,
        " ".join(map(str, numbers)),
        exercise.title,
        " to ".join(dict.fromkeys(tempos)),
        exercise.bars,
        loop.times,
        exercise.count_in_bars,
        f"{float(loop.seconds):.6f}",
        f"{float(exercise.lead_seconds):.6f}" if loop.closes else "",
        files.samples or "",
        files.rate or "",
        f"{20 * log10(files.gain):.2f}" if files.audio else "",
    )
