"""One exercise as a Standard MIDI File."""

from collections.abc import Mapping

from midiforge.kit import Kit
from midiforge.midi import smf
from midiforge.midi.tracks import CONDUCTOR, SINGLE, Part, exercise_parts
from midiforge.model.exercise import Exercise
from midiforge.performance import part_title


def exercise_bytes(exercise: Exercise, kit: Kit, file_format: int = 1) -> bytes:
    """A whole file: count-in, then the loop; the end of every track is the end of the loop.

    file_format: 1 for a track for each limb, time layer, the click and the conductor; 0 for all
        in one, which is all that many sound modules read.
    """
    division = smf.division(exercise.parts)
    parts = exercise_parts(exercise, kit, division, single=file_format == 0)
    return file_bytes(parts, f"{exercise.title}, {exercise.tempo}", kit, division)


def file_bytes(parts: Mapping[str, Part], title: str, kit: Kit, division: int) -> bytes:
    """The file that an exercise's parts make."""
    chunks = [smf.header(0 if SINGLE in parts else 1, len(parts), division)]
    for number, (name, part) in enumerate(parts.items(), start=1):
        body = opening(name, title, kit, sound=number == min(2, len(parts)))
        body += smf.wait(part.first) + part.events if part.events else b""
        body += smf.wait(part.rest) + smf.END_OF_TRACK
        chunks += [smf.track_header(len(body)), body]
    return b"".join(chunks)


def opening(name: str, title: str, kit: Kit, sound: bool) -> bytes:
    """The events at the very start of a track: its name and, in the first of those that sound,
    the program."""
    words = title if name in (CONDUCTOR, SINGLE) else part_title(name)
    events = b"\0" + smf.text(smf.TRACK_NAME, words)
    if sound and kit.program is not None:
        events += b"\0" + smf.program_change(kit.channel, kit.program)
    return events
