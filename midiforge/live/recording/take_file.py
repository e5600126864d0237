"""A recorded take as a Standard MIDI File, and where such files go."""

import os
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from datetime import datetime
from fractions import Fraction
from heapq import merge
from itertools import chain, count
from math import ceil, floor
from operator import itemgetter
from pathlib import Path

from midiforge.errors import MidiforgeError
from midiforge.files.disk import write_aside
from midiforge.hear.take import EXERCISE_MARK, PLAYED_MARK, START_MARK
from midiforge.live.recording.recorder import BarPlayed, Recorded, quarters
from midiforge.midi import smf
from midiforge.midi.message import NOTE_OFF, NOTE_ON, is_stroke, note_off
from midiforge.model.number import Number

ENDINGS = (".mid", ".midi")
# Nanoseconds that a tick lasts at most, where a legal division allows it.
_FINEST = 100_000
_STEP = 480  # divisions are multiples of it, for programs that like that
_MOST_STEPS = smf.LARGEST_DIVISION // _STEP
# MIDI's tempo where a file names none (Standard MIDI Files 1.0, Set Tempo).
_NO_TEMPO = Fraction(500_000_000)

_Entry = tuple[int, bytes]  # tick and bytes


class Timeline:
    """Which tick a moment is: by the bars that were played, each from its own beginning.

    It begins on a bar line, so many whole bars before the first one played that `begin` is in it.
    Without bars it begins at `begin`, and has no tempo.

    division: ticks to a quarter note. tempos: (tick, nanoseconds to a quarter note), where it
    changes.
    """

    def __init__(self, bars: Sequence[BarPlayed], begin: int) -> None:
        lasting = quarters(bars)
        slowest = max(lasting, default=_NO_TEMPO)
        self.division = _STEP * min(ceil(slowest / _FINEST / _STEP), _MOST_STEPS)
        self.tempos: list[tuple[int, Fraction]] = []
        if not bars:
            self._starts, self._ticks = [begin], [Fraction(0)]
            self._rates = [float(self.division / _NO_TEMPO)]
            return
        first = bars[0]
        before = ceil((first.at - begin) / (first.length * lasting[0]))
        tick = max(before, 0) * first.length * self.division
        self._starts = [bar.at for bar in bars]
        self._ticks = []
        self._rates = [float(self.division / quarter) for quarter in lasting]
        for bar, quarter in zip(bars, lasting, strict=True):
            if not self.tempos or self.tempos[-1][1] != quarter:
                self.tempos.append((round(tick) if self.tempos else 0, quarter))
            self._ticks.append(tick)
            tick += bar.length * self.division

    def tick(self, at: int) -> int:
        """The tick nearest to a time, in nanoseconds."""
        i = max(bisect_right(self._starts, at) - 1, 0)
        return max(floor(float(self._ticks[i]) + (at - self._starts[i]) * self._rates[i] + 0.5), 0)


def take_bytes(take: Recorded) -> bytes:
    """The take as a file of format 0: tempo, meter, marks and all that came, each at its tick.

    Ticks are the exercise's own, exact; tempo events are rounded to whole microseconds to a
    quarter note, as the format has it.
    """
    line = Timeline(take.bars, take.begin)
    body = bytearray()
    at = 0
    for tick, content in merge(_marks(take, line), _played(take, line), key=itemgetter(0)):
        body += smf.wait(tick - at)
        body += content
        at = tick
    body += smf.wait(max(line.tick(take.end) - at, 0)) + smf.END_OF_TRACK
    return smf.header(0, 1, line.division) + smf.track_header(len(body)) + bytes(body)


def _marks(take: Recorded, line: Timeline) -> list[_Entry]:
    """What is not played; first at each tick."""
    exercise, marks = take.exercise, list[_Entry]()
    started = take.recorder.started
    if started is not None:
        played = datetime.fromtimestamp(started + (take.begin - take.recorder.begin) / 10**9)
        said = played.astimezone().isoformat(timespec="seconds")
        marks.append((0, smf.text(smf.MARKER, f"{PLAYED_MARK}{said}")))
    if exercise is None:
        return [(0, smf.text(smf.TRACK_NAME, "take")), *marks]
    marks.insert(0, (0, smf.text(smf.TRACK_NAME, f"{exercise.title}, {exercise.tempo}")))
    if take.bars:
        meter = exercise.meter
        marks.append((0, smf.time_signature(meter.numerator, meter.unit, meter.pulse)))
    marks += [(tick, smf.tempo(quarter / 10**9)) for tick, quarter in line.tempos]
    marks.append((0, smf.text(smf.MARKER, f"{EXERCISE_MARK}{exercise.number}")))
    if take.downbeat is not None:
        marks.append((line.tick(take.downbeat), smf.text(smf.MARKER, START_MARK)))
    return sorted(marks, key=itemgetter(0))


def _played(take: Recorded, line: Timeline) -> Iterator[_Entry]:
    """What was played. Every note is ended; the end of one that began before the take is not
    in it."""
    struck: set[tuple[int, int]] = set()
    sounding: dict[tuple[int, int], None] = {}
    last = 0
    for at, content in take.messages():
        kind, note = content[0] & 0xF0, ((content[0] & 0x0F) + 1, content[1])
        if is_stroke(content):
            struck.add(note)
            sounding[note] = None
        elif kind in (NOTE_OFF, NOTE_ON):
            if note not in struck:
                continue
            sounding.pop(note, None)
        last = max(line.tick(at), last)
        yield last, content
    end = max(line.tick(take.end), last)
    for channel, number in sounding:
        yield end, note_off(channel, number)


# Where takes go


def take_path(path: Path, number: Number, digits: int) -> Path:
    """The file of one of several exercises: its number before the ending, "take-07.mid"."""
    return path.with_stem(f"{path.stem}-{number.padded(digits)}")


def free(path: Path, numbers: Sequence[Number] = (), digits: int = 0) -> Path:
    """The file, or the first of its name and a number, from 2, that is not there yet; nor are those
    of these exercises, if there are any."""
    names = (path.with_stem(f"{path.stem}-{number}") for number in count(2))
    return next(name for name in chain([path], names) if not _taken(name, numbers, digits))


def check_free(path: Path, numbers: Sequence[Number], digits: int) -> Path:
    """The file that was asked for, with its ending; raises MidiforgeError if no take can be
    written there, or if there is something already.

    numbers: of the exercises, if there are several; then each has a file of its own.
    """
    path = path if path.suffix else path.with_suffix(ENDINGS[0])
    if path.suffix.lower() not in ENDINGS:
        hint = path.with_suffix(ENDINGS[0]).name
        raise MidiforgeError("a take is a MIDI file", "--record", str(path), hint=hint)
    if not path.parent.is_dir():
        raise MidiforgeError("there is no such folder", "--record", str(path.parent))
    if not os.access(path.parent, os.W_OK):
        what = "nothing can be written into this folder"
        raise MidiforgeError(what, "--record", str(path.parent))
    if taken := _taken(path, numbers, digits):
        hint = f"free is {free(path, numbers, digits)}"
        raise MidiforgeError("is there already", "--record", str(taken), hint=hint)
    return path


def _taken(path: Path, numbers: Sequence[Number], digits: int) -> Path | None:
    """The file, or the first of those of some exercises, that is there."""
    paths = [take_path(path, number, digits) for number in numbers] or [path]
    return next((file for file in paths if file.exists() or file.is_symlink()), None)


def write_take(path: Path, content: bytes) -> Path:
    """Writes a take's bytes, whole or not at all, beside what may have come there meanwhile; gives
    where.

    A take cannot be played again: where its folder takes no file, it goes into the one for files
    that do not last. Raises MidiforgeError if that does not either.
    """
    import tempfile

    try:
        file = free(path)
        write_aside(file, content)
    except MidiforgeError as error:
        file = free(Path(tempfile.gettempdir()) / path.name)
        try:
            write_aside(file, content)
        except MidiforgeError:
            raise error from None
    return file
