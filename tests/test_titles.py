"""What an exercise is called: words that a teacher says, short, and true of every bar."""

from typing import Any

import pytest

import midiforge
from midiforge.files.names import file_name


def titles(**keys: Any) -> list[str]:
    drill = midiforge.check_drill({"sticking": "RLRR LRLL", "tempos": 80, **keys})
    return [each.title for each in midiforge.exercises(drill)]


def test_hands_changed_over_are_called_by_the_hand_that_leads() -> None:
    said = titles(lead="both", feet="samba", stages="full")
    assert said == [
        "RLRR LRLL from 1, right lead, over Samba",
        "LRLL RLRR from 1, left lead, over Samba",
    ]
    said = titles(sticking="LRLL RLRR", lead="swapped", stages="hands")
    assert said == ["RLRR LRLL from 1, right lead, hands on one surface"]


@pytest.mark.parametrize(
    ("meter", "steps", "said"),
    [
        ("4/4", "4, 3", ["in sixteenths", "in triplets"]),
        ("4/4", "2, 6, 8", ["in eighths", "in sextuplets", "in thirty-seconds"]),
        ("4/4", "5, 7", ["in quintuplets", "in septuplets"]),
        ("4/4", "1, 12", ["in quarters", "in thirty-second triplets"]),
        ("4/4", "9, 11", ["at 9 to a beat", "at 11 to a beat"]),  # no name that people say
        ("2/2", "2, 4, 3", ["in quarters", "in eighths", "in triplets"]),
        ("12/8", "3, 6", ["in eighths", "in sixteenths"]),  # of a dotted beat
        ("6/8", "1, 2, 4", ["in dotted quarters", "in dotted eighths", "in dotted sixteenths"]),
    ],
)
def test_several_grids_are_called_by_their_note_values(
    meter: str, steps: str, said: list[str]
) -> None:
    found = titles(sticking="R", meter=meter, steps=steps, stages="hands")
    assert [title.partition(" from")[0] for title in found] == [f"R {each}" for each in said]


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("x..x .... ..x. ....", "Bass drum on 1, 1a and 3&"),
        ("1 2& on LF", "Hi-hat foot on 1 and 2&"),
        ("x... as cowbell", "Cowbell on every beat"),  # a beat long
        ("1& 2& 3& 4&", "Bass drum on the off-beats"),
        ("1 1& 2 2& 3 3& 4 4&", "Eighths on the bass drum"),
        ("xxxx xxxx xxxx xxxx on LF", "Sixteenths with the hi-hat foot"),
        ("x..", "Dotted eighths on the bass drum"),  # other counts in every bar
        ("x.x..", "Bass drum in a pattern of 5 steps"),
        ("1 | 2", "Bass drum in a pattern of 32 steps"),
    ],
)
def test_a_typed_pattern_is_called_as_a_drummer_does(typed: str, said: str) -> None:
    assert titles(feet=typed, stages="full") == [f"RLRR LRLL from 1, over {said}"]


def test_counts_between_syllables_are_told_by_their_note_values() -> None:
    [said] = titles(sticking="RLL", feet="1 1.4 2 2.4", meter="6/8", steps=6, stages="feet")
    assert said == "Dotted eighths on the bass drum, feet alone"
    typed = " ".join(f"{beat} {beat}.4" for beat in (1, 2, 3, 4))
    [said] = titles(sticking="RLL", feet=typed, steps=6, stages="feet")
    assert said == "Eighths on the bass drum, feet alone"


def test_logs_know_a_typed_pattern_by_its_counts_or_length_as_ever() -> None:
    for typed, logged in (
        ("x...", "Bass drum on 1 2 3 4"),
        ("x..", "Bass drum in a pattern of 3 steps"),
        ("tumbao", "Tumbao"),
    ):
        drill = midiforge.check_drill({"sticking": "RLRR LRLL", "feet": typed, "stages": "full"})
        [exercise] = midiforge.exercises(drill)
        assert exercise.feet_logged == logged


def test_a_typed_pattern_is_called_after_the_voice_its_foot_plays() -> None:
    [said] = titles(feet="1 3", voicing="RF=cowbell", stages="feet")
    assert said == "Cowbell on 1 and 3, feet alone"


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("x..x .... ..xx ....", "accents on 1, 1a, 3& and 3a"),
        ("1 2&", "accents on 1 and 2&"),
        (">..>....", "accents on 1, 1a, 3 and 3a"),  # half a bar long, so in both halves
        (">..", "accents >.."),
    ],
)
def test_typed_accents_are_called_by_their_counts_in_title_and_file_name(
    typed: str, said: str
) -> None:
    drill = midiforge.check_drill({"sticking": "RLRR", "accents": [typed], "stages": "hands"})
    [exercise] = midiforge.exercises(drill)
    assert exercise.title == f"RLRR from 1, {said}, hands on one surface"
    worded = said.replace(">", "^").replace(" ", "_").replace(",", "")
    named = f"01_RLRR_from_1_{worded}_hands_on_one_surface_80bpm.mid"
    assert file_name(exercise, 2) == named.replace("..", ".." if ">" in said else "")
    assert exercise.variant.moved("accents").value == typed  # what logs of earlier days know it by


def test_file_names_say_the_lead_as_titles_do() -> None:
    drill = midiforge.check_drill({"sticking": "RLRR", "lead": "swapped", "stages": "hands"})
    [exercise] = midiforge.exercises(drill)
    assert file_name(exercise, 2) == "01_LRLL_from_1_left_lead_hands_on_one_surface_80bpm.mid"


SIGNS = ">R-(L)L lR-Rz"  # accent, rest, ghost, flam, buzz


def test_a_file_name_is_the_title_and_reads_in_the_drill_s_notation() -> None:
    drill = midiforge.check_drill({"sticking": SIGNS, "stages": "hands", "steps": 4})
    [exercise] = midiforge.exercises(drill)
    assert exercise.title == f"{SIGNS} from 1, hands on one surface"
    name = file_name(exercise, 2)
    assert name == "01_^R-(L)L_lR-Rz_from_1_hands_on_one_surface_80bpm.mid"
    assert not set(name) & set('<>:"/\\|?* ')  # what Windows forbids


def test_a_long_title_is_cut_at_a_word_in_its_file_s_name() -> None:
    long = midiforge.check_drill({"feet": "samba", "stages": "feet"})
    [exercise] = midiforge.exercises(long)
    named = file_name(exercise.changed(title="word " * 100), 2)
    assert named == "01_" + "word_" * 20 + "80bpm.mid"


def test_every_title_says_all_that_its_drill_moves() -> None:
    everything: dict[str, Any] = {
        "sticking": "R>LRR LRLL",
        "placements": [0, 1],
        "accent_placements": [0, 2],
        "stages": "full",
        "accents": ["own", "beats", "1 2&", "xxxx xxxx xx.. xx..", "xxxx xxxx xx.. x.x."],
        "lead": "both",
        "direction": "both",
        "steps": [4, 3],
        "feet": "samba",
        "feet_placements": [0, 5],
    }
    found = titles(**everything)
    assert len(found) > 50
    assert len(set(found)) == len(found)
    assert not [each for each in found if each.endswith("(2)")]  # none only told apart by that


def test_steps_of_a_later_bar_are_called_by_their_bar() -> None:
    found = titles(sticking="R" + "L" * 31, placements=["+1", "+17"], stages="full")
    begun = [each.partition(" from ")[2] for each in found]
    assert begun == ["1e, hands over the kit", "1e of bar 2, hands over the kit"]


def test_two_stages_that_their_drill_calls_the_same_are_told_apart() -> None:
    stages = {"a": {"title": "pads", "limbs": ["RH"]}, "b": {"title": "pads", "limbs": ["LH"]}}
    found = titles(stage=stages, stages=["a", "b"])
    assert found == ["RLRR LRLL from 1, pads", "RLRR LRLL from 1, pads (2)"]


@pytest.mark.parametrize(
    ("keys", "title"),
    [
        ({"sticking": "RL"}, "RL from 1, hands over the kit"),
        ({"sticking": "RLK"}, "RLK from 1, hands and feet"),
        ({"sticking": "RL", "feet": "samba"}, "RL from 1, over Samba"),
    ],
)
def test_a_full_stage_without_feet_does_not_say_feet(keys: dict[str, str], title: str) -> None:
    [exercise] = midiforge.exercises(midiforge.check_drill({**keys, "stages": "full"}))
    assert exercise.title == title


def test_accents_that_move_are_called_by_the_place_of_the_first() -> None:
    # In RLRLLR, six sixteenths long, the third is accented: on 1&, and on 1a one step later.
    said = titles(sticking="RL>R LLR", accent_placements="1, 1e", feet="samba", stages="full")
    assert said == [
        "RLR LLR from 1, accents from 1&, over Samba",
        "RLR LLR from 1, accents from 1a, over Samba",
    ]
