"""Half and double the tempo are recognised and named as such."""

from fractions import Fraction

import pytest
from synthetic import KIT, synthetic

import midiforge
from midiforge.hear.review import review

ONE_SURFACE = "RH=snare, LH=snare"


@pytest.mark.parametrize(
    ("stretch", "ratio"),
    [(2.0, Fraction(1, 2)), (1.94, Fraction(1, 2)), (0.5, Fraction(2)), (0.52, Fraction(2))],
)
@pytest.mark.parametrize("sticking", [">RLRR >LRLL", "RLLRL"])
def test_half_and_double_the_tempo_are_named(
    sticking: str, stretch: float, ratio: Fraction
) -> None:
    drill = {"sticking": sticking, "feet": "tumbao", "stages": "full", "tempos": 90}
    exercise = next(midiforge.exercises(midiforge.check_drill(drill)))
    take, truth = synthetic(exercise, 3, stretch=stretch, jitter=0.006)
    found = review(take, exercise, KIT)
    assert found.tempo_ratio == ratio
    assert found.played_tempo == pytest.approx(90 / stretch, rel=0.01)
    assert found.tally.hit >= truth.strokes - 2


@pytest.mark.parametrize("stretch", [0.75, 0.9, 1.0, 1.2, 1.5])
def test_another_tempo_is_neither(stretch: float) -> None:
    drill = {"sticking": ">RLRR >LRLL", "feet": "tumbao", "stages": "full", "tempos": 90}
    exercise = next(midiforge.exercises(midiforge.check_drill(drill)))
    take, _ = synthetic(exercise, 3, stretch=stretch)
    found = review(take, exercise, KIT)
    assert found.tempo_ratio == 1
    assert not any("asked for" in each for each in found.remarks)


@pytest.mark.parametrize("stretch", [2.0, 1.97])
@pytest.mark.parametrize("sticking", [">RLRL RLRL", ">RLRL >RLRL", "RLRL RLRL"])
def test_half_the_tempo_of_even_strokes_on_one_surface_is_no_stroke_in_two_missed(
    sticking: str, stretch: float
) -> None:
    drill = {"sticking": sticking, "stages": "hands", "tempos": 90, "voicing": ONE_SURFACE}
    exercise = next(midiforge.exercises(midiforge.check_drill({**drill, "feet": "tumbao"})))
    take, truth = synthetic(exercise, 3, stretch=stretch, jitter=0.006)
    found = review(take, exercise, KIT)
    assert found.tempo_ratio == Fraction(1, 2)
    assert found.tally.missed <= 1 and found.tally.hit >= truth.strokes - 1
