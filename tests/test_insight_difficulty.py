"""The order from easy to hard. The measure is our own; what must hold of it is common practice."""

from collections.abc import Iterable
from fractions import Fraction
from typing import Any

import pytest

from midiforge import check_drill
from midiforge.calls import exercises
from midiforge.insight.difficulty import PARTS, Difficulty, difficulty, easiest_first
from midiforge.model.exercise import Exercise


def full(**keys: Any) -> Exercise:
    return next(iter(exercises(check_drill({"stages": "full", **keys}))))


def hard(**keys: Any) -> Difficulty:
    return difficulty(full(**keys))


def test_the_score_is_the_sum_of_its_parts() -> None:
    found = hard(sticking="lR L R R rL R (L) L", feet="tumbao", placements="+3")
    assert found.score == pytest.approx(sum(part.points for part in found.parts.values()))
    assert [part.name for part in found.parts.values()] == list(PARTS)
    for part in found.parts.values():
        assert part.points == pytest.approx(part.value * PARTS[part.name])
        assert bool(part.why) is (part.points > 0)


def test_the_hardest_parts_come_first() -> None:
    points = [part.points for part in hard(sticking="RLRR LRLL", feet="tumbao").hardest]
    assert points == sorted(points, reverse=True)


@pytest.mark.parametrize(
    ("easier", "harder"),
    [  # common practice
        ({"sticking": "RL"}, {"sticking": "RLRR LRLL"}),
        ({"sticking": "RLRR LRLL"}, {"sticking": "RLRR LRLL", "feet": "hihat-quarters"}),
        (
            {"sticking": "RLRR LRLL", "feet": "hihat-quarters"},
            {"sticking": "RLRR LRLL", "feet": "tumbao"},
        ),
        ({"sticking": ">RLRR >LRLL"}, {"sticking": ">RLRR >LRLL", "placements": "+1"}),
        ({"sticking": "RRLL"}, {"sticking": "RRRLLL", "steps": "3"}),
        ({"sticking": "RLRR LRLL"}, {"sticking": "lRLRR rLRLL"}),
        (
            {"sticking": "RLRLRL", "feet": "1 2 3 4", "steps": "3"},
            {"sticking": "RLRLRL", "feet": "bass-drum-eighths", "partner": "none", "steps": "3"},
        ),
        ({"sticking": "RLRL"}, {"sticking": "RLR"}),
    ],
)
def test_what_is_added_makes_it_harder(easier: dict[str, Any], harder: dict[str, Any]) -> None:
    assert hard(**easier).score < hard(**harder).score


def test_only_speed_follows_the_tempo() -> None:
    keys = {"sticking": "RLRR LRLL", "feet": "samba"}
    slow, fast = hard(**keys, tempos="60"), hard(**keys, tempos="120")
    for name in PARTS:
        same = slow.parts[name] == fast.parts[name]
        assert same is (name != "speed")
    assert fast.parts["speed"].value == pytest.approx(2 * slow.parts["speed"].value)


def test_crossing_is_the_share_of_foot_strokes_without_a_hand() -> None:
    # Triplets over the off-beats of the hi-hat foot: all four of its strokes lie between.
    found = hard(sticking="RL", steps="3", feet="hihat-off-beats")
    assert found.parts["crossing"].value == 1
    assert found.parts["two grids"].value == pytest.approx(4 / 16)


def test_doubles_are_counted_over_the_seam() -> None:
    # RLLR: L L, and R R over the seam: half of the strokes.
    assert hard(sticking="RLLR").parts["doubles"].value == pytest.approx(1 / 2)


def test_a_grace_note_after_its_own_hand_is_a_double() -> None:
    # Flam accent, l R L R r L R L: R r, and L l over the seam; two of eight.
    assert hard(sticking="lRLR rLRL", steps="3").parts["doubles"].value == pytest.approx(2 / 8)
    # Flam tap, l R R r L L: two of each three.
    assert hard(sticking="lRR rLL").parts["doubles"].value == pytest.approx(4 / 6)


@pytest.mark.parametrize(
    ("feet", "most"),
    [  # common practice: what every beginner's foot keeps going
        ("hihat-two-and-four", 0),
        ("hihat-quarters", 0),
        ("one-drop", 0),
        ("hihat-off-beats", 1),
        (".x.. .x.. .x.. .x..", 1),
    ],
)
def test_a_steady_foot_is_hardly_syncopated(feet: str, most: int) -> None:
    part = hard(sticking="RLRL", feet=feet, partner="none").parts["syncopation"]
    assert part.value == most
    assert ("foot" in part.why) is bool(most)


def test_a_waltz_s_two_and_three_are_on_the_beats() -> None:
    assert hard(feet="hihat-waltz", meter="3/4").parts["syncopation"].value == 0


def test_an_uneven_foot_is_syncopated_as_measured() -> None:
    # 9 a bar by hand, see the tests of the measure.
    assert hard(feet="tumbao", partner="none").parts["syncopation"].value == 9


@pytest.mark.parametrize("feet", ["baiao", "tumbao", "samba", "bossa-nova", "tresillo"])
def test_moved_feet_are_harder_than_feet_at_home(feet: str) -> None:
    # Common practice: what is known from its place on the beat is lost. Hands on every
    # sixteenth, so that nothing else changes.
    home, *moved = exercises(
        check_drill(
            {"sticking": "R", "feet": feet, "feet_placements": "0,1,2,3,4,5,6,7", "stages": "full"}
        )
    )
    assert len(moved) >= 3
    for each in moved:
        assert difficulty(each).score > difficulty(home).score
        assert difficulty(each).parts["moved feet"].value == 1
        assert difficulty(each).parts["syncopation"].value >= (
            difficulty(home).parts["syncopation"].value
        )
    assert difficulty(home).parts["moved feet"].value == 0


def test_a_foot_moved_onto_the_beats_is_not_called_syncopated() -> None:
    # The baião's partner, the off-beats of the hi-hat foot, begun two sixteenths late.
    part = hard(sticking="R", feet="baiao", feet_placements="+2").parts["syncopation"]
    assert part.why == "syncopation of right foot"


def test_one_hand_alone_has_neither_run_nor_doubles() -> None:
    found = hard(sticking="R")
    assert found.parts["run"].value == found.parts["doubles"].value == 0


def test_repeating_an_exercise_does_not_make_it_harder() -> None:
    assert hard(sticking="RLRRL", repeats=4) == hard(sticking="RLRRL")


def test_easiest_first_sorts_by_the_full_exercise_and_keeps_the_order_of_equals() -> None:
    easy, harder = full(sticking="RL"), full(sticking="RLRR LRLL", feet="tumbao")
    table: dict[str, Exercise | None] = {"a": harder, "b": easy, "c": None, "d": easy, "e": harder}

    def sort(names: Iterable[str]) -> list[str]:
        return easiest_first(names, table.get)  # type: ignore[arg-type, return-value]

    assert sort("abcde") == ["c", "b", "d", "a", "e"]


def test_a_drill_can_ask_for_it() -> None:
    keys = {"sticking": [">RLRR >LRLL", "RL"], "placements": "beat", "feet": "tumbao"}
    drill = check_drill({**keys, "order": "easiest", "stages": "full"})
    scores = [difficulty(each).score for each in exercises(drill)]
    assert scores == sorted(scores)
    taught = check_drill({**keys, "stages": "full"})
    assert sorted(difficulty(each).score for each in exercises(taught)) == scores


def test_an_exercise_without_strokes_is_not_hard() -> None:
    empty = full(sticking="RL").changed(hits=(), answers=(), returns_after_bars=1)
    assert difficulty(empty).score == 0
    assert empty.step == Fraction(1, 4)
