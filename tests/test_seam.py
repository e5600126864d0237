"""Which notes sound in which round of a loop: one answer, and every output gives it."""

import io
from collections import Counter
from fractions import Fraction
from typing import Any

import mido
import pytest

import midiforge
from midiforge.live.playing.bars import playable
from midiforge.performance.notes import held, notes
from midiforge.performance.seam import Round, Seam
from midiforge.sound.schedule import sounding

FLAM = {"sticking": "lR L rrL R"}
LATE = {"sticking": "lR L Rz L", "placements": "3", "entry": "late"}
DRILLS: dict[str, dict[str, Any]] = {
    "flam first": FLAM,
    "flam first, no count-in": {**FLAM, "count_in": 0},
    "late entry": LATE,
    "late entry, no count-in": {**LATE, "count_in": 0},
    "ramp": {**FLAM, "tempos": None, "ramp": "60 to 120 by 60 every 1 bars"},
    "band": {"sticking": "lRLRR", "chords": "Dm7 | G7", "style": "son"},
    "band, late entry": {**LATE, "chords": "Dm7 | G7", "style": "son"},
}
TOUCHES = [0, 12, 50]  # ms


def made(keys: dict[str, Any], timing: float = 0, seed: int = 1) -> midiforge.Exercise:
    keys = {"stages": "full", "tempos": 200, "feet": "samba", **keys}
    if timing:
        keys["humanise"] = {"timing": timing, "seed": seed}
    drill = midiforge.check_drill({name: key for name, key in keys.items() if key is not None})
    return next(iter(midiforge.exercises(drill)))


KIT = midiforge.check_drill({"sticking": "R"}).kit


@pytest.mark.parametrize("timing", TOUCHES)
@pytest.mark.parametrize("name", DRILLS)
def test_every_note_stays_in_the_rounds_it_is_of(name: str, timing: float) -> None:
    for seed in range(8):
        exercise = made(DRILLS[name], timing, seed)
        seam = Seam(exercise)
        for note in notes(exercise, KIT):
            place = seam.place(note)
            if note.when is Round.BEFORE:
                assert -exercise.count_in <= place < exercise.loop_start
            else:
                assert exercise.loop_start <= place < exercise.length
        for tone in held(exercise):
            assert (tone.time >= exercise.loop_start) == (tone.when is Round.EVERY)
            assert tone.time < tone.end <= exercise.length


def test_grace_notes_of_the_first_stroke_lead_back_to_it_over_the_seam() -> None:
    for keys, before in ((FLAM, 1), ({**FLAM, "count_in": 0}, 0), (LATE, 1)):
        exercise = made(keys)
        rounds = Counter(note.when for note in notes(exercise, KIT) if note.offset < 0)
        leads_in = [
            note for note in notes(exercise, KIT) if note.offset < 0 and note.when is Round.BEFORE
            and note.time == exercise.loop_start
        ]  # fmt: skip
        over = [note for note in notes(exercise, KIT) if note.when is Round.SEAM]
        assert exercise.leads_back == bool(over)
        if exercise.leads_back:
            assert len(leads_in) == before
            assert [(note.time, note.offset) for note in over] == [(exercise.length, -30)]
            assert rounds[Round.SEAM] == 1
        alone = list(notes(exercise, KIT, closes=False))
        assert [note for note in notes(exercise, KIT) if note.when is not Round.SEAM] == alone


def test_a_grace_note_that_comes_behind_the_downbeat_sounds_once_a_round() -> None:
    late = 0
    for seed in range(30):
        for count_in in (0, 1):
            exercise = made({**FLAM, "count_in": count_in}, 50, seed)
            first = [
                note for note in notes(exercise, KIT)
                if note.part == "LH" and note.velocity <= KIT.velocities["grace"]
                and note.time in (0, exercise.length)
            ]  # fmt: skip
            [stroke] = [
                note for note in notes(exercise, KIT) if note.part == "RH" and note.time == 0
            ]
            behind = [note for note in first if note.when is Round.EVERY]
            assert len([note for note in first if note.when]) == 1
            assert len(behind) == (stroke.offset >= 30)
            late += len(behind)
    assert late > 4


Heard = tuple[int, float]  # note, seconds from the start of the count-in


def in_the_file(exercise: midiforge.Exercise) -> list[Heard]:
    time, found = 0.0, []
    content = midiforge.exercise_bytes(exercise, KIT)
    for message in mido.MidiFile(file=io.BytesIO(content)):
        time += message.time
        if message.type == "note_on" and message.velocity:
            found.append((message.note, time))
    return found


def live(exercise: midiforge.Exercise) -> list[Heard]:
    begins, found = Fraction(0), []
    for bar in playable(exercise, KIT).bars:
        for moment in bar.moments:
            time = float(begins) + moment.at * float(bar.quarter) / 1e9
            found += [(note.number, time) for note in moment.notes]
        begins += bar.length * bar.quarter / 10**9
    return found


def rendered(exercise: midiforge.Exercise) -> list[Heard]:
    return [(each.key, each.begin) for each in sounding(exercise, KIT, range(128))]


def alone(some: list[Heard], others: list[Heard]) -> list[Heard]:
    """Those without one of the same note at the same time among the others. Of two of one note at
    one tick a file has one."""
    times: dict[int, list[float]] = {}
    for note, time in others:
        times.setdefault(note, []).append(time)
    return [
        (note, time)
        for note, time in some
        if not any(abs(time - other) < 0.004 for other in times.get(note, ()))
    ]


@pytest.mark.parametrize("timing", TOUCHES)
@pytest.mark.parametrize("name", DRILLS)
def test_file_port_and_sound_have_the_same_notes_at_the_same_times(
    name: str, timing: float
) -> None:
    exercise = made(DRILLS[name], timing, 4)
    file, port, sound = in_the_file(exercise), live(exercise), rendered(exercise)
    for other in (port, sound):
        assert alone(other, file) == []
        assert alone(file, other) == []
        assert len(other) - len(file) <= len(file) / 50
