"""An exact take is reviewed at the tempo it was played at, whatever tempo its file carries."""

import dataclasses
from pathlib import Path

import pytest

import midiforge
from midiforge.hear.choice import reviewed
from midiforge.hear.take import read_take

NARROW, WIDE = [52, 58, 66, 74, 84, 94], [52, 58, 80, 120, 160]


@pytest.mark.parametrize("stage", ["hands", "full"])
@pytest.mark.parametrize("tempos", [NARROW, WIDE], ids=["narrow", "wide"])
@pytest.mark.parametrize("sticking", ["RLRR LRLL", "RLLRL", "single-stroke-roll", "flam-tap"])
def test_the_exercise_at_the_tempo_played_is_found(
    tmp_path: Path, sticking: str, tempos: list[int], stage: str
) -> None:
    drill = midiforge.check_drill(
        {"sticking": sticking, "tempos": tempos, "stages": stage, "repeats": 4}
    )
    exercises = [*midiforge.exercises(drill)]
    for exercise in exercises[::2]:
        path = tmp_path / "own.mid"
        path.write_bytes(midiforge.exercise_bytes(exercise, drill.kit))
        take = dataclasses.replace(read_take(path), tempos=((0.0, 120.0),))
        found = reviewed(take, exercises, drill.kit).review
        assert found.exercise is exercise
        assert (found.tally.missed, found.tally.extra) == (0, 0)
