"""Exercises, loops and lessons as mido's `MidiFile`, and what a `MidiFile` holds.

What goes out is read from our own bytes, so that it is what `build` writes, event by event.
"""

from collections.abc import Iterable
from io import BytesIO
from numbers import Integral
from typing import TYPE_CHECKING

from midiforge.errors import MidiforgeError
from midiforge.kits.kit import Kit
from midiforge.midi.content import MidiContent
from midiforge.midi.exercise_file import exercise_bytes
from midiforge.midi.lesson_file import LessonFile
from midiforge.midi.message import PEDAL
from midiforge.model.exercise import Exercise

if TYPE_CHECKING:
    import mido

_CHARSET = "utf-8"  # what our bytes have beside ASCII; mido's own choice is Latin-1
_LARGEST_VALUE = 64  # of a time signature's lower number


def midi_file(
    exercise: Exercise, kit: Kit, file_format: int = 1, times: int = 1
) -> "mido.MidiFile":
    """An exercise or a loop as a `mido.MidiFile`; all parameters as for `exercise_bytes`."""
    return _read(exercise_bytes(exercise, kit, file_format, times))


def lesson_midi_file(
    exercises: Iterable[Exercise], kit: Kit, title: str, file_format: int = 1
) -> "mido.MidiFile":
    """Exercises one after the other as a `mido.MidiFile`, as `lesson.mid` has them.

    Raises MidiforgeError if there is none.
    """
    stream = BytesIO()
    with LessonFile(title, kit, file_format) as lesson:
        for exercise in exercises:
            lesson.add(exercise)
        if not lesson.division:
            raise MidiforgeError("there is no exercise to write")
        lesson.write(stream)
    return _read(stream.getvalue())


def _read(content: bytes) -> "mido.MidiFile":
    import mido

    return mido.MidiFile(file=BytesIO(content), charset=_CHARSET)


def saved(midi: "mido.MidiFile") -> bytes:
    """The file that mido would save; of what it refuses, the messages in words."""
    stream = BytesIO()
    try:
        midi.save(file=stream)
    except (TypeError, ValueError):
        return "\n".join(str(message) for track in midi.tracks for message in track).encode()
    return stream.getvalue()


def content_of(midi: "mido.MidiFile", pedal: int = PEDAL) -> MidiContent:
    """What a `mido.MidiFile` holds, the same as the file that it would be saved to.

    Messages that no file takes, such as the clock that a port heard, count by their time alone.
    Raises MidiforgeError.
    """
    try:
        content = MidiContent.of_division(midi.ticks_per_beat & 0xFFFF)
        tracks, follow, charset = midi.tracks, midi.type == 2, midi.charset
    except (AttributeError, TypeError):
        what = f"{type(midi).__name__} is neither a path nor a mido.MidiFile"
        raise MidiforgeError(what) from None
    start = 0
    for number, track in enumerate(tracks, start=1):
        tick = start
        for message in track:
            if not isinstance(message.time, Integral) or message.time < 0:
                raise MidiforgeError(
                    f"a message comes {message.time} after the one before",
                    f"track {number}",
                    hint="whole ticks from 0; mido.second2tick makes them of seconds",
                )
            tick += int(message.time)
            _add(message, tick, content, pedal, charset)
        content.last_tick = max(content.last_tick, tick)
        start = tick if follow else 0
    return content.in_order()


def _add(
    message: "mido.Message", tick: int, content: MidiContent, pedal: int, charset: str
) -> None:
    match message.type:
        case "note_on" if message.velocity:
            note = tick, message.channel + 1, message.note, message.velocity
            content.note_ons.append(note)
        case "control_change" if message.control == pedal:
            content.pedals.append((tick, message.channel + 1, message.value))
        case "set_tempo" if message.tempo:
            content.tempos.append((tick, message.tempo))
        case "time_signature" if message.numerator and message.denominator <= _LARGEST_VALUE:
            content.meters.append((tick, message.numerator, message.denominator))
        case "marker":
            content.markers.append((tick, _text(message.text, charset)))
        case "track_name":
            content.names.append(_text(message.name, charset))


def _text(text: str, charset: str) -> str:
    """Text that mido read as Latin-1, say, and that was UTF-8."""
    try:
        return text.encode(charset).decode()
    except UnicodeError:
        return text
