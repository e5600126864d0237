"""Families: what stands under one heading, told from what the moves did."""

from typing import Any

import pytest

import midiforge
from midiforge.engraving.engrave import Engraver
from midiforge.engraving.widths import Layout
from midiforge.model.family import Family, families
from midiforge.pages.booklet import booklet
from midiforge.pages.html import WIDEST


def of(**keys: Any) -> list[Family]:
    drill = midiforge.check_drill({"sticking": "RLRR LRLL", "stages": "full", **keys})
    return [*families(midiforge.exercises(drill))]


def ways(family: Family) -> list[tuple[str, str]]:
    return [(str(tempos[0].number.piece), way) for way, tempos in family.pieces]


def test_a_sticking_begun_later_and_later_is_one_family_with_the_numbers_of_the_lesson() -> None:
    feet, hands, full = of(feet="tumbao", placements="beat", stages=["feet", "hands", "full"])
    assert (feet.thing, ways(feet)) == ("", [("1", "")])
    assert hands.title == "RLRR LRLL, hands on one surface"
    assert ways(hands) == [("2", "from 1"), ("4", "from 1e"), ("6", "from 1&"), ("8", "from 1a")]
    assert full.title == "RLRR LRLL, over Tumbao"
    assert [number for number, _ in ways(full)] == ["3", "5", "7", "9"]


def test_pieces_that_differ_in_two_things_are_two_families() -> None:
    one, other = of(sticking="RRLR LLLL", placements="beat", direction="both")
    assert [len(family.pieces) for family in (one, other)] == [4, 4]
    assert one.title == "RRLR LLLL, hands over the kit"
    assert other.title == "RRLR LLLL, backward, hands over the kit"


def test_every_move_names_its_ways() -> None:
    said = {
        thing: [way for _, way in ways(family)]
        for keys in (
            {"direction": "both"},
            {"lead": "both"},
            {"steps": [3, 4]},
            {"sticking": ">RLRR >LRLL", "accents": ["own", "2 4", "none"]},
            {"accents": "1", "accent_placements": "1, 2"},
            {"feet": "tumbao", "feet_placements": "1, 1&"},
            {"feet": "1 3 on RF", "replacements": "none, LH by LF"},
            {"sticking": ["RLRR LRLL", "RRLL"]},
        )
        for family in of(**keys)
        for thing in [family.thing + ", placed" * ("accent_placements" in keys)]
    }
    assert said == {
        "which way the sticking runs": ["forward", "backward"],
        "which hand leads": ["right lead", "left lead"],
        "the note values": ["in triplets", "in sixteenths"],
        "where the accents are": ["accents as written", "accents on 2 and 4", "no accents"],
        "where the accents are, placed": ["accents on 1", "accents on 2"],
        "where the feet begin": ["feet from 1", "feet from 1&"],
        "which limb plays what": ["as written", "left hand by left foot"],
        "the sticking": ["RLRR LRLL", "RRLL"],
    }


def test_no_piece_is_lost_or_told_twice() -> None:
    drill = midiforge.check_drill(
        {"sticking": ["RLRR", "RLL"], "feet": "baiao", "placements": "phrase", "direction": "both",
         "lead": "both", "accents": ["own", "beats"], "feet_placements": "1, 1&"}
    )  # fmt: skip
    lesson = [*midiforge.exercises(drill)]
    told = [
        exercise
        for family in families(lesson)
        for exercise in (each for _, tempos in family.pieces for each in tempos)
    ]
    assert sorted(exercise.number for exercise in told) == [each.number for each in lesson]
    for family in families(lesson):
        numbers = [tempos[0].number for _, tempos in family.pieces]
        assert numbers == sorted(numbers)
        assert len({way for way, _ in family.pieces}) == len(family.pieces)


def test_pieces_at_other_tempos_stand_alone() -> None:
    drill = midiforge.check_drill(
        {"sticking": "RLRR LRLL", "placements": "beat", "tempos": [60, 80], "stages": "full"}
    )
    lesson = midiforge.Lesson(drill)
    alone = [family.thing for family in families(lesson.select("1a, 2b"))]
    assert alone == ["", ""]


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ({"placements": "1, 1e, 1&"}, ["from 1", "1e", "1&"]),
        ({"feet_placements": "1, 1&"}, ["feet from 1", "1&"]),
        ({"steps": "3, 4"}, ["in triplets", "sixteenths"]),
        ({"accents": "own, beats"}, ["accents as written", "on the beats"]),
        # Counts would run together with those of the one before.
        ({"accents": "1 2 3, 1 4"}, ["accents on 1, 2 and 3", "accents on 1 and 4"]),
        ({"lead": "both"}, ["right lead", "left lead"]),
        ({"accents": "1 2 3, 1 2 4, 1 3 4, 2 3 4"}, []),  # no room
        ({}, []),  # alone
    ],
)
def test_the_practice_order_lists_what_tells_a_family_apart(
    keys: dict[str, Any], said: list[str]
) -> None:
    drill = midiforge.check_drill(
        {"sticking": ">RLL", "feet": "1", "stages": "full", "steps": 4, **keys}
    )
    exercises = midiforge.exercises(drill)
    [group] = booklet("", "", exercises, Engraver(), Layout(WIDEST)).groups
    assert [*group.ways] == said
