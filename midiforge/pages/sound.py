"""What the player in the page is told: notes, beats, and where its cursor stands."""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import Any

from midiforge.kit import DEFAULT, read_kit
from midiforge.model.exercise import Exercise
from midiforge.model.hit import CLICK, FEET, HANDS
from midiforge.model.tempo import plain
from midiforge.pages.booklet import Booklet, Entry, once_round
from midiforge.performance import Held, Note, held, notes

_PARTS: dict[str, str] = {
    **{limb.value: "hands" for limb in HANDS},
    **{limb.value: "feet" for limb in FEET},
}
Place = tuple[Fraction, int, float]  # written time, number of the drawing, x in it


def sound(booklet: Booklet, places: Sequence[Sequence[Place]]) -> dict[str, Any]:
    """The data of `player.js` for a booklet, of JSON's own kinds only.

    places: for each entry where its cursor stands, in order of time.
    """
    return {
        "exercises": [
            _exercise(entry, found) for entry, found in zip(booklet.entries, places, strict=True)
        ]
    }


def _exercise(entry: Entry, places: Sequence[Place]) -> dict[str, Any]:
    exercise = once_round(entry.score.exercise)
    meter, swing = exercise.meter, exercise.swing
    length = exercise.length - exercise.loop_start
    kinds = {track.name: track.kind for track in exercise.tracks}
    tones = [_tone(each, kinds[each.track]) for each in held(exercise)]
    return {
        "id": entry.anchor,
        "pulse": _number(meter.pulse),
        "bar": _number(meter.bar),
        "beats": [_number(beat) for beat in meter.beats],
        "tempos": _tempos(entry.score.exercises),
        "entry": _number(exercise.loop_start),
        "length": _number(length),
        "notes": [_note(each) for each in _played(exercise)],
        **({"tones": tones} if tones else {}),
        "cursor": [
            [_number(swing.played(time, exercise.step)), drawing, round(x, 1)]
            for time, drawing, x in _again(places, entry, length)
        ],
    }


def _again(places: Sequence[Place], entry: Entry, length: Fraction) -> Iterator[Place]:
    """The places, again and again where those beside go on for longer than what is written."""
    yield from places
    start = entry.score.exercise.loop_start
    written = len(entry.score.loop.bars) * entry.score.exercise.meter.bar
    for turn in range(1, int(length / written)):
        for time, drawing, x in places:
            if time >= start:
                yield time + turn * written, drawing, x


def _played(exercise: Exercise) -> list[Note]:
    """The notes as General MIDI has them, for that is what the page's sounds are named by."""
    found = notes(exercise, read_kit(DEFAULT))
    return [each for each in found if each.part != CLICK and each.time >= 0]


def _note(note: Note) -> list[Any]:
    part = _PARTS.get(note.part, "beside")
    return [_number(note.time), round(note.offset, 1), note.number, note.velocity, part]


def _tone(tone: Held, kind: str) -> list[Any]:
    lasts = _number(tone.end - tone.time)
    return [_number(tone.time), lasts, tone.pitch, tone.velocity, kind]


def _tempos(exercises: Sequence[Exercise]) -> list[float]:
    found = [tempo for exercise in exercises for _, tempo in exercise.tempo.changes]
    return [float(plain(tempo)) for tempo in dict.fromkeys(found)]


def _number(value: Fraction) -> float:
    return int(value) if value.denominator == 1 else round(float(value), 7)
