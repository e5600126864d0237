"""Which hand meets which foot where, worked out by hand."""

from fractions import Fraction
from typing import Any

import pytest

from midiforge import check_drill
from midiforge.calls import exercises
from midiforge.insight.loop import hands_and_feet, meetings
from midiforge.model.counts import place_name
from midiforge.model.exercise import Exercise
from midiforge.model.hit import Limb
from midiforge.model.meter import Meter

RH, LH, RF, LF = Limb.RIGHT_HAND, Limb.LEFT_HAND, Limb.RIGHT_FOOT, Limb.LEFT_FOOT


def full(**keys: Any) -> Exercise:
    return next(iter(exercises(check_drill({"stages": "full", **keys}))))


def where(exercise: Exercise) -> dict[str, list[str]]:
    table = hands_and_feet(meetings(exercise))
    return {
        hand.letter + foot.letter: [each.count for each in met]
        for (hand, foot), met in table.items()
    }


def test_a_paradiddle_over_the_tumbao() -> None:
    # RLRR LRLL in sixteenths: R on 1, 1&, 1a, 2e; the bass drum on 1a and 2&, and again from 3.
    assert where(full(sticking="RLRR LRLL", feet="tumbao")) == {
        "RK": ["1a", "3a"],
        "LK": ["2&", "4&"],
        "RH": ["1", "3"],
        "LH": ["2", "4"],
    }


def test_a_sixteenth_later_the_right_hand_takes_every_bass_drum_stroke() -> None:
    met = where(full(sticking="RLRR LRLL", feet="tumbao", placements="+1"))
    assert met["RK"] == ["1a", "2&", "3a", "4&"]
    assert met["LK"] == []


def test_a_meeting_of_two_hands_is_a_meeting_but_not_of_hand_and_foot() -> None:
    exercise = full(sticking="B---")
    assert [each.letters for each in meetings(exercise)] == ["R+L"] * 4
    assert not any(where(exercise).values())


def test_bars_are_counted_from_the_first_downbeat() -> None:
    met = meetings(full(sticking="RLR", feet="1"))
    assert [(each.bar, each.count, each.letters) for each in met] == [
        (1, "1", "R+K"),
        (2, "1", "L+K"),
        (3, "1", "R+K"),
    ]


def test_sixteenths_never_meet_the_inside_of_triplets() -> None:
    met = where(full(sticking="RLR LRL", feet="tumbao", steps="3"))
    assert met["RK"] == met["LK"] == []


@pytest.mark.parametrize(
    ("meter", "step", "time", "name"),
    [  # syllables: common practice
        ("4/4", Fraction(1, 4), Fraction(7, 4), "2a"),
        ("4/4", Fraction(1, 4), Fraction(4), "1"),
        ("4/4", Fraction(1, 3), Fraction(2, 3), "1a"),
        ("4/4", Fraction(1, 3), Fraction(3, 4), "1a/4"),
        ("4/4", Fraction(1, 3), Fraction(7, 2), "4&/2"),
        ("4/4", Fraction(1, 4), Fraction(1, 3), "1&/3"),
        ("4/4", Fraction(1, 4), Fraction(2, 5), "1.3/5"),
        ("6/8", Fraction(1, 2), Fraction(9, 4), "2&/2"),
        ("2+2+3/8", Fraction(1, 4), Fraction(5, 2), "3&"),
        ("2+2+3/8", Fraction(1, 2), Fraction(11, 4), "3&/2"),
    ],
)
def test_places_are_named_as_they_are_counted(
    meter: str, step: Fraction, time: Fraction, name: str
) -> None:
    assert place_name(Meter.parse(meter), step, time) == name
