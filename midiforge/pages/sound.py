"""What the player in the page is told: what sounds, when, and where its cursor stands.

The page's own script turns places into times by the clock it is given; what is music is worked
out here, by what MIDI files are made with.
"""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import Any

from midiforge.kits.kit import DEFAULT, read_kit
from midiforge.model.exercise import Exercise
from midiforge.model.hit import CLICK, FEET, HANDS
from midiforge.model.tempo import plain
from midiforge.pages.booklet import Booklet, Entry, once_round
from midiforge.performance.notes import Held, Note, Round, held, in_rounds

_PARTS: dict[str, str] = {
    **{limb.value: "hands" for limb in HANDS},
    **{limb.value: "feet" for limb in FEET},
    CLICK: "click",
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
    length = exercise.length - exercise.loop_start
    kinds = {track.name: track.kind for track in exercise.tracks}
    tones = [_tone(each, kinds[each.track], exercise) for each in held(exercise)]
    return {
        "id": entry.anchor,
        "tempos": [float(plain(each.tempo.first)) for each in entry.score.exercises],
        **({"said": [str(exercise.tempo)]} if len(exercise.tempo.changes) > 1 else {}),
        "clock": [[_number(time), seconds] for time, seconds in _clock(exercise)],
        "entry": _number(exercise.loop_start),
        "length": _number(length),
        "notes": [_note(*each) for each in in_rounds(exercise, read_kit(DEFAULT))],
        **({"tones": tones} if tones else {}),
        "cursor": [
            [_number(exercise.swing.played(time, exercise.step)), drawing, round(x, 1)]
            for time, drawing, x in _again(places, entry, length)
        ],
    }


def _clock(exercise: Exercise) -> Iterator[tuple[Fraction, float]]:
    """Seconds from the first downbeat at the places between which the tempo stays, end included."""
    tempo, begin = exercise.tempo, -exercise.count_in
    changes = [time for time, _ in tempo.changes[1:]]
    for time in sorted({begin, Fraction(0), exercise.loop_start, *changes, exercise.length}):
        seconds = tempo.seconds(begin, time) - tempo.seconds(begin, Fraction(0))
        yield time, round(float(seconds), 9)


def _again(places: Sequence[Place], entry: Entry, length: Fraction) -> Iterator[Place]:
    """The places, again and again where what is heard goes on for longer than what is written."""
    yield from places
    start = entry.score.exercise.loop_start
    written = len(entry.score.loop.bars) * entry.score.exercise.meter.bar
    for turn in range(1, int(length / written)):
        for time, drawing, x in places:
            if time >= start:
                yield time + turn * written, drawing, x


def _note(note: Note, when: Round) -> list[Any]:
    part = _PARTS.get(note.part, "beside")
    if part == "click" and note.time < 0:
        part = "count-in"
    return [_number(note.time), round(note.offset, 1), note.number, note.velocity, part, int(when)]


def _tone(tone: Held, kind: str, exercise: Exercise) -> list[Any]:
    when = Round.FIRST if tone.time < exercise.loop_start else Round.EVERY
    lasts = _number(tone.end - tone.time)
    return [_number(tone.time), lasts, tone.pitch, tone.velocity, kind, int(when)]


def _number(value: Fraction) -> float:
    return int(value) if value.denominator == 1 else round(float(value), 7)
