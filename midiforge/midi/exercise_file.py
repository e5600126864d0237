"""One exercise as a Standard MIDI File."""

from collections.abc import Mapping

from midiforge.errors import WrongArgument
from midiforge.kits.kit import Kit
from midiforge.midi import smf
from midiforge.midi.message import program_change
from midiforge.midi.tracks import CONDUCTOR, SINGLE, Part, exercise_parts
from midiforge.model.exercise import Exercise
from midiforge.model.rounds import bare
from midiforge.performance.notes import part_title

MOST_TIMES = 100_000


def exercise_bytes(exercise: Exercise, kit: Kit, file_format: int = 1, times: int = 1) -> bytes:
    """A whole file: count-in, then the loop; the end of every track is the end of the loop.

    file_format: 1 for a track for each limb, time layer, the click and the conductor; 0 for all
        in one, which is all that many sound modules read.
    times: how often the loop goes round; what comes before it comes once.
    Raises WrongArgument.
    """
    if file_format not in (0, 1):
        raise WrongArgument(
            f"{file_format} is no format of these files", "file_format", hint="0 or 1"
        )
    if not 1 <= times <= MOST_TIMES:
        raise WrongArgument(f"{times} is no number of times", "times", hint=f"1 to {MOST_TIMES:,}")
    division = smf.division(exercise.parts)
    single = file_format == 0
    parts = exercise_parts(exercise, kit, division, single)
    if times > 1:
        loop = bare(exercise)
        again = exercise_parts(loop, kit, division, single)
        silent = Part(0, b"", smf.ticks(loop.length, division))
        parts = {
            name: _joined(part, again.get(name, silent), times - 1) for name, part in parts.items()
        }
    return file_bytes(parts, f"{exercise.title}, {exercise.tempo}", kit, division)


def _joined(part: Part, again: Part, times: int) -> Part:
    """A part and, behind it, another several times."""
    if not again.events:
        return Part(part.first, part.events, part.rest + times * again.rest)
    first = smf.wait(part.rest + again.first)
    following = smf.wait(again.rest + again.first) + again.events
    if not part.events:
        part = Part(part.rest + again.first, again.events, again.rest)
        return Part(part.first, part.events + following * (times - 1), part.rest)
    events = part.events + first + again.events + following * (times - 1)
    return Part(part.first, events, again.rest)


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
        events += b"\0" + program_change(kit.channel, kit.program)
    return events
