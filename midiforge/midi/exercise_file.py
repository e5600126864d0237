"""One exercise as a Standard MIDI File.

Its tracks are encoded events that can be written alone or joined one to another.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from operator import itemgetter

from midiforge.errors import WrongArgument
from midiforge.kits.kit import Kit
from midiforge.midi import smf
from midiforge.midi.message import note_off, note_on, program_change
from midiforge.model.band import NO_CHORD
from midiforge.model.exercise import Exercise
from midiforge.model.rounds import bare
from midiforge.performance.notes import held, notes, part_place, part_title
from midiforge.performance.seam import Note

CONDUCTOR = "conductor"
SINGLE = "single"  # the one track of format 0
MOST_TIMES = 100_000
_FIRST = (CONDUCTOR, SINGLE)

# A note lasts a thirty-second note, or until the same note sounds again. Drum sounds do not
# listen to it, but every note must end.
_NOTE_PARTS = 8

# An event's place in time, four to a tick, and its bytes. What comes first at one tick:
Event = tuple[int, bytes]
_PLACE = itemgetter(0)
_META, _OFF, _LYRIC, _ON = range(4)


@dataclass(slots=True)
class Part:
    """A track's events over a stretch of time, ready to be joined to what comes before.

    first: ticks from the beginning of the stretch to the first event.
    events: encoded, the first without its delta time; empty for none.
    rest: ticks from the last event to the end of the stretch.
    """

    first: int
    events: bytes
    rest: int


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
    loop = again.events + following * (times - 1)
    if not part.events:
        return Part(part.rest + again.first, loop, again.rest)
    return Part(part.first, part.events + first + loop, again.rest)


def file_bytes(parts: Mapping[str, Part], title: str, kit: Kit, division: int) -> bytes:
    """The file that an exercise's parts make."""
    chunks = [smf.header(0 if SINGLE in parts else 1, len(parts), division)]
    for part, body in zip(parts.values(), openings(parts, title, kit), strict=True):
        body += smf.wait(part.first) + part.events if part.events else b""
        body += smf.wait(part.rest) + smf.END_OF_TRACK
        chunks += smf.track_header(len(body)), body
    return b"".join(chunks)


def openings(names: Collection[str], title: str, kit: Kit) -> Iterator[bytes]:
    """The events at the very start of each track: its name and, in the first of those that sound,
    the program."""
    for number, name in enumerate(names, start=1):
        words = title if name in (CONDUCTOR, SINGLE) else part_title(name)
        events = b"\0" + smf.text(smf.TRACK_NAME, words)
        if number == min(2, len(names)) and kit.program is not None:
            events += b"\0" + program_change(kit.channel, kit.program)
        yield events


def exercise_parts(
    exercise: Exercise, kit: Kit, division: int, single: bool = False, closes: bool = True
) -> dict[str, Part]:
    """The exercise's tracks by name: the conductor first, then one for each who plays.

    single: all in one track instead (format 0). closes: as in `performance.notes`.
    """
    start = -smf.ticks(-exercise.count_in, division)
    length = start + smf.ticks(exercise.length, division)
    tracks = {CONDUCTOR: _conductor(exercise, division, start)}
    struck = _struck(exercise, kit, division, start, length, closes)
    _add_notes(tracks, struck, kit, division, length)
    _add_tones(tracks, exercise, division, start, length)
    if single:
        tracks = {SINGLE: [event for track in tracks.values() for event in track]}
    named = sorted(tracks, key=lambda name: (name not in _FIRST, part_place(name)))
    return {name: _part(tracks[name], length) for name in named}


def _conductor(exercise: Exercise, division: int, start: int) -> list[Event]:
    meter, pulse = exercise.meter, exercise.tempo.pulse
    (_, first), *changes = exercise.tempo.changes
    events = [
        (_META, smf.time_signature(meter.numerator, meter.unit, meter.pulse)),
        (_META, smf.tempo(60 / (first * pulse))),
    ]

    def at(time: Fraction, event: bytes) -> None:
        events.append((4 * (start + smf.ticks(time, division)) + _META, event))

    for time, tempo in changes:
        at(time, smf.tempo(60 / (tempo * pulse)))
    name = f"{exercise.number}. {exercise.title}, {exercise.tempo}: "
    for section in exercise.sections:
        at(section.start, smf.text(smf.MARKER, f"{name}{section.title}"))
        name = ""  # once, in front of the first
    for mark in exercise.chords:
        at(mark.time, smf.text(smf.TEXT, mark.symbol or NO_CHORD))
    return events


def _struck(
    exercise: Exercise, kit: Kit, division: int, start: int, length: int, closes: bool
) -> list[tuple[int, Note]]:
    """The notes with their ticks, in order of ticks."""
    struck, twice = [], 2 * division
    per_ms: dict[Fraction, float] = {}
    for note in notes(exercise, kit, closes):
        above, below = note[0].as_integer_ratio()
        tick = start + (above * twice + below) // (2 * below)
        if note[1]:
            quarter = exercise.tempo.quarter(note.time, after=note.offset > 0)
            if quarter not in per_ms:
                per_ms[quarter] = division / (1000 * float(quarter))
            tick += round(note.offset * per_ms[quarter])
            tick = min(max(tick, 0), length - 1)
        struck.append((tick, note))
    struck.sort(key=_PLACE)
    return struck


def _add_notes(
    tracks: dict[str, list[Event]],
    struck: Iterable[tuple[int, Note]],
    kit: Kit,
    division: int,
    length: int,
) -> None:
    """Note on and off events; of two strokes of one note at one tick the louder sounds."""
    lasting = max(1, division // _NOTE_PARTS)
    sounding: dict[int, tuple[int, list[Event], int]] = {}
    on = cache(note_on)
    offs = [note_off(kit.channel, number) for number in range(128)]
    for tick, (_, _, number, velocity, part, sticking, _, _) in struck:
        events = tracks.setdefault(part, [])
        if sticking:
            events.append((4 * tick + _LYRIC, _lyric(sticking)))
        message = on(kit.channel, number, velocity)
        if number in sounding:
            last, where, index = sounding[number]
            if last == tick:
                if velocity > where[index][1][2]:
                    where[index] = (4 * tick + _ON, message)
                continue
            if tick <= last + lasting:
                # Tracks are merged in any order: between two of them the end must come before.
                end = tick if where is events else max(last + 1, tick - 1)
                where[index + 1] = (4 * end + _OFF, offs[number])
        sounding[number] = (tick, events, len(events))
        events.append((4 * tick + _ON, message))
        end = tick + lasting
        events.append((4 * (end if end < length else length) + _OFF, offs[number]))


def _add_tones(
    tracks: dict[str, list[Event]], exercise: Exercise, division: int, start: int, length: int
) -> None:
    """Note on and off events of what has pitch, each track on its own channel.

    A tone ends before the same pitch is struck again, and with the end of the exercise.
    """
    sounding: dict[tuple[str, int], tuple[int, int]] = {}
    for member in exercise.band:
        if member.channel:
            program = program_change(member.channel, member.program)
            tracks[member.name] = [(_META, program)]
    for time, ends, channel, pitch, velocity, name, _ in sorted(held(exercise), key=_PLACE):
        events = tracks[name]
        tick = min(start + smf.ticks(time, division), length - 1)
        end = min(max(start + smf.ticks(ends, division), tick + 1), length)
        on, off = note_on(channel, pitch, velocity), note_off(channel, pitch)
        last, index = sounding.get((name, pitch), (-1, 0))
        if last == tick:
            continue
        if last >= 0 and events[index + 1][0] >> 2 > tick:
            events[index + 1] = (4 * tick + _OFF, off)
        sounding[name, pitch] = (tick, len(events))
        events += (4 * tick + _ON, on), (4 * end + _OFF, off)


@cache
def _lyric(words: str) -> bytes:
    return smf.text(smf.LYRIC, words)


def _part(events: list[Event], length: int) -> Part:
    events.sort(key=_PLACE)
    if not events:
        return Part(0, b"", length)
    wait = smf.wait
    pieces: list[bytes] = []
    at = first = events[0][0] >> 2
    for place, content in events:
        tick = place >> 2
        pieces += wait(tick - at), content
        at = tick
    pieces[0] = b""
    return Part(first, b"".join(pieces), length - at)
