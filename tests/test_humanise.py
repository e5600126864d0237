"""Unevenness hangs on the stroke: whatever else is heard or left out, it is played alike."""

import io
from fractions import Fraction

import mido
import pytest

import midiforge
from midiforge.live.playing.bars import playable
from midiforge.performance.notes import notes


def test_a_stroke_is_moved_alike_whoever_is_left_out() -> None:
    drill = midiforge.check_drill(
        {
            "sticking": ">RLRR LRLL", "feet": "samba", "stages": "full", "chords": "Dm7 | G7",
            "humanise": {"timing": 8, "velocity": 9, "seed": 3},
        }
    )  # fmt: skip
    [exercise] = midiforge.exercises(drill)
    whole = set(midiforge.notes(exercise, drill.kit))
    hands = {"RH", "LH"}
    left = exercise.changed(hits=tuple(h for h in exercise.hits if h.limb not in hands))
    without = set(midiforge.notes(left, drill.kit))
    assert without and without < whole
    assert {note for note in whole if note.part not in hands} == without
    offsets = {note.offset for note in whole if note.part in hands}
    assert len(offsets) > 20
    assert list(midiforge.held(left)) == list(midiforge.held(exercise))


def test_a_seed_is_the_same_unevenness_and_another_seed_another() -> None:
    def offsets(seed: int) -> list[float]:
        keys = {"sticking": "RLRL", "stages": "hands", "humanise": {"timing": 8, "seed": seed}}
        drill = midiforge.check_drill(keys)
        [exercise] = midiforge.exercises(drill)
        return [note.offset for note in midiforge.notes(exercise, drill.kit)]

    assert offsets(4) == offsets(4) != offsets(5)


def test_no_stroke_of_a_loop_comes_before_it_however_uneven() -> None:
    # It would not come again: a loop begins behind its count-in.
    for seed in range(30):
        touch = {"timing": 50, "seed": seed}
        drill = midiforge.check_drill(
            {"sticking": "RLRL", "stages": "hands", "humanise": touch, "count_in": seed % 2}
        )
        (exercise, *_) = midiforge.exercises(drill)
        quarter = float(exercise.tempo.quarter(Fraction(1)))
        for note in notes(exercise, drill.kit):
            if note.time >= 0:
                assert float(note.time) * quarter + note.offset / 1000 >= -1e-9


def test_a_stroke_is_as_late_in_the_file_as_it_is_live_where_the_tempo_changes() -> None:
    # Bounces of a buzz on the downbeat of a tempo that is twice as fast.
    drill = midiforge.check_drill(
        {
            "sticking": "Rz", "steps": 1, "ramp": "60 to 120 by 60 every 1 bars", "click": "off",
            "count_in": 0, "stages": "hands",
        }
    )  # fmt: skip
    (exercise,) = midiforge.exercises(drill)
    at, in_file = 0.0, []
    for message in mido.MidiFile(file=io.BytesIO(midiforge.exercise_bytes(exercise, drill.kit))):
        at += message.time
        if message.type == "note_on" and message.velocity:
            in_file.append(at)
    begins, live = 0.0, []
    for bar in playable(exercise, drill.kit).bars:
        live += [begins + moment.at * float(bar.quarter) / 1e9 for moment in bar.moments]
        begins += float(bar.length * bar.quarter) / 1e9
    assert in_file == pytest.approx(live, abs=0.002)
