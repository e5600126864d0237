"""A player's own count-in, one bar of the beat on anything, is no bar of the exercise."""

from dataclasses import replace

import pytest
from synthetic import KIT, synthetic

import midiforge
from midiforge.hear.review import review

STARTS, BAR = 3.0, 3.0  # in s; a bar at 80


@pytest.mark.parametrize("seconds", [6, 10, 24])
@pytest.mark.parametrize("voice", ["sticks", "side-stick", "hihat-pedal", "snare", "bass-drum"])
@pytest.mark.parametrize(
    ("sticking", "feet", "voicing"),
    [
        ("RLRR LRLL", ["rock-and-of-two", "hihat-two-and-four"], "RH=hihat-closed, LH=snare"),
        ("RLRR LRLL", "tumbao", "hands=snare"),
        (">RLL>R L>RRL", "bossa-nova", "hands=snare"),
    ],
)
def test_what_is_counted_in_is_no_bar_of_the_exercise(
    sticking: str, feet: str, voicing: str, voice: str, seconds: float
) -> None:
    drill = {"sticking": sticking, "feet": feet, "voicing": voicing, "tempos": 80, "stages": "full"}
    exercise = next(midiforge.exercises(midiforge.check_drill(drill)))
    take, _ = synthetic(exercise, 3, seconds, STARTS)
    [*beats] = (
        replace(take.strokes[0], time=STARTS - BAR + i * BAR / 4, number=KIT.note(voice))
        for i in range(4)
    )
    told = review(replace(take, strokes=(*beats, *take.strokes)), exercise, KIT)
    assert told.start == pytest.approx(STARTS, abs=0.02)
    assert told.tally.missed == 0
