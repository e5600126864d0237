"""Swing moves lines, not moments: whatever the grid, nothing meets, overtakes or gets lost.

Common practice: swing is for halves of a pair (eighths, or sixteenths), which triplets, sextuplets
and quintuplets beside them do not follow. Triplet swing (2:1) puts the second eighth on the third
triplet of the beat (common practice too).
"""

from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import midiforge
from midiforge.model.swing import Swing

RATIOS = ("11:10", "2:1", "3:1", "9:1")
METERS = ("4/4", "5/4", "6/8", "2+2+3/8", "5/16")


def played(**keys: object) -> list[midiforge.Exercise]:
    return list(midiforge.exercises(midiforge.check_drill(keys)))


def of(exercise: midiforge.Exercise, limb: str) -> list[Fraction]:
    """When a limb's strokes sound, in quarter notes."""
    drill = midiforge.check_drill({"sticking": "R"})
    return [n.time for n in midiforge.notes(exercise, drill.kit, closes=False) if n.part == limb]


@pytest.mark.parametrize("ratio", RATIOS)
@pytest.mark.parametrize("pair", ["eighth", "sixteenth"])
@pytest.mark.parametrize("steps", range(1, 13))
def test_on_every_grid_strokes_keep_their_order_and_number(
    steps: int, pair: str, ratio: str
) -> None:
    for meter in METERS:
        keys = {"sticking": "RLLRLR", "steps": steps, "meter": meter, "feet": "none"}
        try:
            [straight] = played(**keys, stages="hands")
            [swung] = played(**keys, stages="hands", swing=ratio, swing_pair=pair)
        except midiforge.MidiforgeError as error:
            assert "not a whole number" in str(error)
            continue
        hands = sorted(of(swung, "RH") + of(swung, "LH"))
        assert len(hands) == len(of(straight, "RH") + of(straight, "LH"))
        assert all(one < other for one, other in pairwise([*hands, swung.length]))
        assert hands[0] == 0
        if steps in (3, 5, 6, 7, 9, 10, 11, 12) and "/4" in meter:
            assert hands == sorted(of(straight, "RH") + of(straight, "LH"))


def test_triplet_swing_puts_the_second_eighth_on_the_third_triplet() -> None:
    [exercise] = played(sticking="RL", steps=2, feet="none", stages="hands", swing="2:1")
    assert of(exercise, "LH") == [beat + Fraction(2, 3) for beat in range(4)]


def test_sextuplets_over_swung_eighths_meet_them_on_the_fifth() -> None:
    [exercise] = played(sticking="RLRLRL", steps=6, feet="none", stages="hands", swing="2:1")
    hands = sorted(of(exercise, "RH") + of(exercise, "LH"))
    assert hands == [Fraction(i, 6) for i in range(24)]
    exercise = played(
        sticking="RLRLRL", steps=6, feet="1 2 3 4 on RF", layers="jazz-ride", swing="2:1"
    )[-1]
    hands = sorted(of(exercise, "RH") + of(exercise, "LH"))
    assert hands == [Fraction(i, 6) for i in range(24)]


@settings(deadline=None, max_examples=300)
@given(
    pair=st.sampled_from([Fraction(1), Fraction(1, 2), Fraction(2)]),
    share=st.fractions(Fraction(1, 2), Fraction(9, 10), max_denominator=40),
    bar=st.sampled_from([Fraction(0), Fraction(4), Fraction(3), Fraction(7, 2), Fraction(5, 4)]),
    parts=st.integers(1, 48),
)
def test_on_one_grid_no_two_times_meet_and_none_overtakes_another(
    pair: Fraction, share: Fraction, bar: Fraction, parts: int
) -> None:
    swing, grid = Swing(pair, share, bar), Fraction(1, parts)
    times = [swing.played(i * grid, grid) for i in range(-parts, 9 * parts)]
    assert all(one < other for one, other in pairwise(times))


def test_no_limb_strikes_twice_at_once_by_swing() -> None:
    with pytest.raises(midiforge.MidiforgeError, match="two strokes at once"):
        played(sticking="---R-R", steps=6, layers="-x on RH".replace("-", "."), swing="2:1")
