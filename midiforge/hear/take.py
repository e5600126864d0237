"""A take: every stroke that was played, with the moment it came."""

import re
from bisect import bisect_right
from collections.abc import Sequence
from contextlib import suppress
from datetime import UTC, datetime

from midiforge.errors import MidiforgeError
from midiforge.frozen import frozen
from midiforge.midi.content import MidiContent
from midiforge.midi.message import PEDAL
from midiforge.midi.reading import MidiSource, file_name, parse, read_midi
from midiforge.model.number import Named, read_named
from midiforge.uncollected import uncollected

# Markers that `play --record` leaves in a take, so that its review need not guess.
START_MARK = "midiforge: first downbeat"
EXERCISE_MARK = "midiforge: exercise "
PLAYED_MARK = "midiforge: played "  # and the moment as ISO 8601 has it
# What `play --record` calls the track: the exercise's title, then its tempo.
_NAMED = re.compile(r"(.+), [0-9. to]+ bpm", re.DOTALL)


@frozen
class Stroke:
    """One stroke as the kit sent it.

    time: in seconds from the start of the take.
    quarter: in quarter notes from the start of the file, by the file's own beats; the time in
        seconds where it has none.
    number, velocity, channel: as MIDI has them; the channel counts from 1.
    pedal: the value of the hi-hat pedal's controller at it; None if none came.
    """

    time: float
    quarter: float
    number: int
    velocity: int
    channel: int = 10
    pedal: int | None = None


@frozen
class Take:
    """What somebody played.

    source: the file, "" for a take from memory. strokes: in order of time.
    length: of the file, in seconds.
    start: when the exercise's first downbeat was due, in seconds, if the take says so.
    exercise: the number of the exercise it was recorded with, if the take says so; title: how that
        was called, as MIDI files write it, "" if it does not say.
    tempos: (seconds, quarter notes a minute), as the file has them; empty if it has none.
    meter: numerator and note value, if the file has one.
    remarks: what was wrong with the file, one sentence each.
    played: when it was, if the take says so.
    """

    source: str
    strokes: tuple[Stroke, ...]
    length: float
    start: float | None = None
    exercise: Named | None = None
    title: str = ""
    tempos: tuple[tuple[float, float], ...] = ()
    meter: tuple[int, int] | None = None
    remarks: tuple[str, ...] = ()
    played: datetime | None = None


@uncollected()
def read_take(path: MidiSource, pedal: int = PEDAL) -> Take:
    """A take from a Standard MIDI File: recorded by midiforge, in a DAW, or on a module.

    path: of the file, or a `mido.MidiFile`. pedal: the number of the hi-hat pedal's controller.
    Raises MidiforgeError for what is no MIDI file, or has no stroke in it.
    """
    source = file_name(path)
    take = _take(read_midi(path, pedal), source)
    if not take.strokes:
        raise MidiforgeError("there is no stroke in it", source, hint="a recorded take")
    return take


def take_of_bytes(data: bytes, source: str = "", pedal: int = PEDAL) -> Take:
    """A take from the bytes of a file, as `read_take`; it may have no stroke in it."""
    return _take(parse(data, pedal), source)


def _take(content: MidiContent, source: str) -> Take:
    seconds = content.clock().seconds
    start, exercise = _marks(content)
    return Take(
        source=source,
        strokes=tuple(
            Stroke(note.time, note.quarter, note.number, note.velocity, note.channel, note.pedal)
            for note in content.notes()
        ),
        length=seconds(content.last_tick),
        start=None if start is None else seconds(start),
        exercise=exercise,
        title="" if exercise is None else _title(content.names),
        tempos=tuple(
            (seconds(tick), 60e6 / tempo) for tick, tempo in content.tempos if content.division
        ),
        meter=content.meters[0][1:] if content.meters else None,
        remarks=tuple(content.remarks),
        played=_played(content),
    )


def _played(content: MidiContent) -> datetime | None:
    said = (text for _, text in content.markers if text.startswith(PLAYED_MARK))
    with suppress(ValueError, OverflowError):  # somebody else's marker
        return datetime.fromisoformat(next(said, "").removeprefix(PLAYED_MARK)).astimezone(UTC)
    return None


def _marks(content: MidiContent) -> tuple[int | None, Named | None]:
    start = next((tick for tick, text in content.markers if text == START_MARK), None)
    named = [
        text.removeprefix(EXERCISE_MARK)
        for _, text in content.markers
        if text.startswith(EXERCISE_MARK)
    ]
    try:
        return start, read_named(named[0]) if named else None
    except MidiforgeError:  # somebody else's marker
        return start, None


def _title(names: Sequence[str]) -> str:
    found = (_NAMED.fullmatch(name) for name in names)
    return next((match[1] for match in found if match), "")


def between(take: Take, start: float, end: float) -> tuple[Stroke, ...]:
    """The strokes of a take from `start` up to `end`, in seconds."""
    times = [stroke.time for stroke in take.strokes]
    return take.strokes[bisect_right(times, start - 1e-9) : bisect_right(times, end - 1e-9)]
