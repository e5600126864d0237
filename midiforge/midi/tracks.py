"""An exercise as tracks of encoded events that can be written alone or joined one to another."""

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from operator import itemgetter

from midiforge.kits.kit import Kit
from midiforge.midi import smf
from midiforge.midi.message import note_off, note_on, program_change
from midiforge.model.band import NO_CHORD
from midiforge.model.exercise import Exercise
from midiforge.performance.notes import held, notes, part_place
from midiforge.performance.seam import Note

CONDUCTOR = "conductor"
SINGLE = "single"  # the one track of format 0
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


def exercise_parts(
    exercise: Exercise, kit: Kit, division: int, single: bool = False, closes: bool = True
) -> dict[str, Part]:
    """The exercise's tracks by name: the conductor first, then one for each who plays.

    single: all in one track instead (format 0). closes: as in `performance.notes`.
    """
    start = -smf.ticks(-exercise.count_in, division)
    length = start + smf.ticks(exercise.length, division)
    tracks: dict[str, list[Event]] = {CONDUCTOR: _conductor(exercise, division, start)}
    _add_notes(
        tracks, _struck(exercise, kit, division, start, length, closes), kit, division, length
    )
    _add_tones(tracks, exercise, division, start, length)
    if single:
        events = [event for track in tracks.values() for event in track]
        tracks = {SINGLE: events}
    named = sorted(tracks, key=lambda name: (name not in _FIRST, part_place(name)))
    return {name: _part(tracks[name], length) for name in named}


def _conductor(exercise: Exercise, division: int, start: int) -> list[Event]:
    meter = exercise.meter
    events = [
        (_META, smf.time_signature(meter.numerator, meter.unit, meter.pulse)),
    ]
    for i, (time, tempo) in enumerate(exercise.tempo.changes):
        at = start + smf.ticks(time, division) if i else 0
        events.append((4 * at + _META, smf.tempo(60 / (tempo * exercise.tempo.pulse))))
    for i, section in enumerate(exercise.sections):
        words = section.title
        if i == 0:
            words = f"{exercise.number}. {exercise.title}, {exercise.tempo}: {words}"
        at = start + smf.ticks(section.start, division)
        events.append((4 * at + _META, smf.text(smf.MARKER, words)))
    for mark in exercise.chords:
        at = start + smf.ticks(mark.time, division)
        events.append((4 * at + _META, smf.text(smf.TEXT, mark.symbol or NO_CHORD)))
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
    messages: dict[tuple[int, int], bytes] = {}
    offs = [note_off(kit.channel, number) for number in range(128)]
    for tick, (_, _, number, velocity, part, sticking, _, _) in struck:
        if part not in tracks:
            tracks[part] = []
        events = tracks[part]
        if sticking:
            events.append((4 * tick + _LYRIC, _lyric(sticking)))
        message = messages.get((number, velocity))
        if message is None:
            message = note_on(kit.channel, number, velocity)
            messages[number, velocity] = message
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


_lyrics: dict[str, bytes] = {}


def _lyric(words: str) -> bytes:
    if words not in _lyrics:
        _lyrics[words] = smf.text(smf.LYRIC, words)
    return _lyrics[words]


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
