"""What the player in the page is told: what sounds, when, and where its cursor stands.

The page's own script (`player/`) turns places into times by the clock it is given; what is music is
worked out here, by what MIDI files are made with. `player/lesson.js` has the types of it all.
"""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import Any

from midiforge.kits.kit import DEFAULT, Kit, read_kit
from midiforge.model.exercise import Exercise
from midiforge.model.hit import CLICK
from midiforge.model.tempo import TempoMap, plain
from midiforge.pages.booklet import Entry, once_round
from midiforge.pages.due import due, quarters
from midiforge.performance.notes import held, notes, part_layer
from midiforge.performance.seam import Note, Round

SLOWEST, FASTEST = 30, 240  # pulses a minute that can be set, if the exercise's own are not beyond
_COUNT_IN = "countIn"
_ROUNDS = {Round.BEFORE: "before", Round.EVERY: "loop", Round.SEAM: "seam"}
Place = tuple[Fraction, int, float]  # written time, number of the drawing, x in it


def sound(entry: Entry, places: Sequence[Place], kit: Kit) -> dict[str, Any]:
    """The data of the page's player for an exercise, of JSON's own kinds only.

    places: where its cursor stands, in order of time. kit: the student's.
    """
    exercise = once_round(entry.score.exercise)
    tempos = [float(plain(played.tempo.first)) for played in entry.score.exercises]
    limits = min(SLOWEST, *tempos), max(FASTEST, *tempos)
    tones = _tones(exercise)
    asked = due(entry, exercise, kit)
    return {
        "id": entry.anchor,
        "title": entry.title,
        "numbers": [str(played.number) for played in entry.score.exercises],
        "tempos": tempos,
        **({} if exercise.tempo.is_steady else {"said": [str(exercise.tempo)]}),
        "limits": limits,
        "clock": [[quarters(time), seconds] for time, seconds in _clock(exercise)],
        "entry": quarters(exercise.loop_start),
        "length": quarters(exercise.loop_length),
        "notes": _notes(exercise, limits[0]),
        **({"tones": tones} if any(tones.values()) else {}),
        "counted": [[quarters(time), count] for time, count in _counted(exercise)],
        "cursor": [
            [quarters(exercise.swing.played(time, exercise.step)), drawing, round(x, 1)]
            for time, drawing, x in _again(places, entry, exercise.loop_length)
        ],
        **({"due": asked} if asked else {}),
    }


def _clock(exercise: Exercise) -> Iterator[tuple[Fraction, float]]:
    """Seconds from the first downbeat at the places between which the tempo stays, end included."""
    tempo, begin = exercise.tempo, -exercise.count_in
    changes = [time for time, _ in tempo.changes[1:]]
    for time in sorted({begin, Fraction(0), exercise.loop_start, *changes, exercise.length}):
        seconds = tempo.seconds(begin, time) - tempo.seconds(begin, Fraction(0))
        yield time, round(float(seconds), 9)


def _counted(exercise: Exercise) -> Iterator[tuple[Fraction, str]]:
    """What is counted before the first downbeat, beat by beat, and when."""
    for bar in range(-exercise.count_in_bars, 0):
        for number, beat in enumerate(exercise.meter.beats, 1):
            yield bar * exercise.meter.bar + beat, str(number)


def _again(places: Sequence[Place], entry: Entry, length: Fraction) -> Iterator[Place]:
    """The places, again and again where what is heard goes on for longer than what is written."""
    yield from places
    start = entry.score.exercise.loop_start
    written = len(entry.score.loop.bars) * entry.score.exercise.meter.bar
    for turn in range(1, int(length / written)):
        for time, drawing, x in places:
            if time >= start:
                yield time + turn * written, drawing, x


def _notes(exercise: Exercise, slowest: float) -> dict[str, list[list[Any]]]:
    """The notes by the rounds they sound in. Those of the slowest tempo there may be: they are all
    that there are at any, and how far they reach says what becomes of them at others."""
    slower = Fraction(slowest) / exercise.tempo.first
    changes = tuple((time, tempo * slower) for time, tempo in exercise.tempo.changes)
    slow = exercise.changed(tempo=TempoMap(exercise.tempo.pulse, changes))
    rounds: dict[str, list[list[Any]]] = {when: [] for when in (_COUNT_IN, *_ROUNDS.values())}
    for note in notes(slow, read_kit(DEFAULT)):
        counts_in = note.part == CLICK and note.time < 0
        rounds[_COUNT_IN if counts_in else _ROUNDS[note.when]].append(_note(note))
    return rounds


def _note(note: Note) -> list[Any]:
    part = part_layer(note.part).replace("percussion", "band")
    told = [quarters(note.time), note.number, note.velocity, part]
    if note.reach:
        return [*told, *(round(part, 4) for part in note.reach)]
    return [*told, round(note.offset, 1)] if note.offset else told


def _tones(exercise: Exercise) -> dict[str, list[list[Any]]]:
    kinds = {member.name: member.kind for member in exercise.band}
    rounds: dict[str, list[list[Any]]] = {"before": [], "loop": []}
    for tone in held(exercise):
        lasts = quarters(tone.end - tone.time)
        told = [quarters(tone.time), lasts, tone.pitch, tone.velocity, kinds[tone.member]]
        rounds[_ROUNDS[tone.when]].append(told)
    return rounds
