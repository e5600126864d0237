"""Unevenness hangs on the stroke: whatever else is heard or left out, it is played alike."""

from dataclasses import replace

import midiforge


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
    left = replace(exercise, hits=tuple(h for h in exercise.hits if h.limb not in hands))
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
