"""A bar or a beat that is lost or slipped in is told once, where the phrase crosses the bar too."""

import dataclasses

import pytest
from synthetic import KIT, synthetic

import midiforge
from midiforge.hear.review import Review, review
from midiforge.hear.take import Take

AT, BAR = 15.0, 3.0  # when it happens; a bar at 80
PLACES = {
    "a bar lost": -BAR,
    "a beat lost": -BAR / 4,
    "half a beat slipped in": BAR / 8,
    "a beat slipped in": BAR / 4,
    "a bar slipped in": BAR,
}


def slipped(sticking: str, feet: str, shift: float, seed: int) -> tuple[Review, int]:
    """The review of a take that goes on `shift` s later from AT on, and how many strokes it has.

    Below 0, what lies between is left out.
    """
    drill = {"sticking": sticking, "feet": feet, "tempos": 80, "stages": "full"}
    exercise = next(midiforge.exercises(midiforge.check_drill(drill)))
    take, _ = synthetic(exercise, seed, seconds=90)
    strokes = tuple(
        dataclasses.replace(each, time=each.time + (shift if each.time > AT - 0.05 else 0))
        for each in take.strokes
        if not AT - 0.05 < each.time < AT - shift - 0.05
    )
    return review(Take("t", strokes, 100.0), exercise, KIT), len(strokes)


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize(
    ("sticking", "feet"),
    [("RLLRL", "bossa-nova"), ("RLRRL RRLRL RLLRLR", "son-clave-3-2-foot"), ("RLRR LRLL", "samba")],
)
@pytest.mark.parametrize("seed", range(3))
def test_a_lost_place_is_told_once_and_spoils_nothing_else(sticking, feet, place, seed) -> None:
    """At most a bar is missing, and no more than some strokes about the place are too many."""
    shift = PLACES[place]
    found, strokes = slipped(sticking, feet, shift, seed)
    assert found.tally.hit >= strokes - 6
    assert found.tally.extra <= 6
    a_bar = 36  # strokes, at most
    assert found.tally.missed <= a_bar
    assert len(found.line.jumps) <= 1


@pytest.mark.parametrize("shift", [-BAR, BAR])
def test_where_the_phrase_crosses_the_bar_a_lost_bar_has_a_size(shift: float) -> None:
    found, _ = slipped("RLLRL", "bossa-nova", shift, 1)
    [(at, size)] = found.line.jumps
    assert at == pytest.approx(12, abs=1.6)
    assert size == pytest.approx(shift, abs=0.05)


@pytest.mark.parametrize("shift", [-1, 1])
@pytest.mark.parametrize(
    ("feet", "hands"),
    [
        (["one-and-three", "hihat-two-and-four"], "RH=ride, LH=snare"),
        ("tumbao", "hands=snare"),
        (["son-clave-3-2 on LF", "x... ..x."], "hands=snare"),
    ],
)
def test_a_beat_is_lost_though_the_hands_are_the_same_on_every_beat(feet, hands, shift) -> None:
    """Most strokes fit on, and only the feet tell."""
    drill = {"sticking": "RLRL", "feet": feet, "voicing": hands, "tempos": 80, "stages": "full"}
    exercise = next(midiforge.exercises(midiforge.check_drill(drill)))
    take, _ = synthetic(exercise, 3, seconds=60)
    at, by = AT + BAR / 4, shift * BAR / 4
    strokes = tuple(
        dataclasses.replace(each, time=each.time + (by if each.time > at - 0.05 else 0))
        for each in take.strokes
        if not at - 0.05 < each.time < at - by - 0.05
    )
    found = review(Take("t", strokes, 100.0), exercise, KIT)
    assert len(found.line.jumps) == 1
    assert found.tally.hit >= len(strokes) - 6


def test_who_was_not_in_place_just_before_does_not_lose_it() -> None:
    """Nor does a drummer who plays freely for bars, and then as written, a beat off."""
    drill = {"sticking": "RLLRL", "feet": "bossa-nova", "tempos": 80, "stages": "full"}
    exercise = next(midiforge.exercises(midiforge.check_drill(drill)))
    take, _ = synthetic(exercise, 1, seconds=90)
    loose, _ = synthetic(exercise, 1, seconds=90, miss=0.35)
    strokes = [each for each in take.strokes if not 20 < each.time < 50]
    strokes += [each for each in loose.strokes if 20 < each.time < 50]
    later = [
        dataclasses.replace(each, time=each.time + (BAR / 4 if each.time > 49.95 else 0))
        for each in sorted(strokes, key=lambda each: each.time)
    ]
    assert not review(Take("t", tuple(later), 100.0), exercise, KIT).line.jumps
