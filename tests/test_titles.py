"""What an exercise is called: words that a teacher says, short, and true of every bar."""

from typing import Any

import pytest

import midiforge
from midiforge.midi.names import file_name


def titles(**keys: Any) -> list[str]:
    drill = midiforge.check_drill({"sticking": "RLRR LRLL", "tempos": 80, **keys})
    return [each.title for each in midiforge.exercises(drill)]


def test_hands_changed_over_are_called_by_the_hand_that_leads() -> None:
    said = titles(lead="both", feet="samba", stages="full")
    assert said == ["RLRR LRLL from 1, over Samba", "RLRR LRLL from 1, left lead, over Samba"]
    said = titles(sticking="LRLL RLRR", lead="swapped", stages="hands")
    assert said == ["LRLL RLRR from 1, right lead, hands on one surface"]


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("x..x .... ..x. ....", "Bass drum on 1 1a 3&"),
        ("1 2& on LF", "Hi-hat foot on 1 2&"),
        ("x... as cowbell", "Cowbell on 1 2 3 4"),  # a beat long: on every beat
        ("x..", "Bass drum in a pattern of 3 steps"),  # other counts in every bar
        ("xxxx xxxx xxxx xxxx", "Bass drum in a pattern of 16 steps"),  # too many to be said
        ("1 | 2", "Bass drum in a pattern of 32 steps"),
    ],
)
def test_a_typed_pattern_is_called_by_what_sounds_on_which_counts(typed: str, said: str) -> None:
    assert titles(feet=typed, stages="full") == [f"RLRR LRLL from 1, over {said}"]


def test_a_typed_pattern_is_called_after_the_voice_its_foot_plays() -> None:
    [said] = titles(feet="1 3", voicing="RF=cowbell", stages="feet")
    assert said == "Cowbell on 1 3, feet alone"


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("x..x .... ..xx ....", "accents on 1 1a 3& 3a"),
        ("1 2&", "accents on 1 2&"),
        (">..>....", "accents on 1 1a 3 3a"),  # half a bar long, so in both halves
        (">..", "accents in a pattern of 3 steps"),
    ],
)
def test_typed_accents_are_called_by_their_counts_in_title_and_file_name(
    typed: str, said: str
) -> None:
    drill = midiforge.check_drill({"sticking": "RLRR", "accents": [typed], "stages": "hands"})
    [exercise] = midiforge.exercises(drill)
    assert exercise.title == f"RLRR from 1, {said}, hands on one surface"
    worded = said.replace(" on ", " ").replace("&", "and").replace(" ", "-")
    assert file_name(exercise, 2) == f"01-hands-RLRR-from-1-{worded}-80bpm.mid"
    assert exercise.variant.accents == typed  # what logs of earlier days know it by


def test_file_names_say_the_lead_as_titles_do() -> None:
    drill = midiforge.check_drill({"sticking": "RLRR", "lead": "swapped", "stages": "hands"})
    [exercise] = midiforge.exercises(drill)
    assert file_name(exercise, 2) == "01-hands-RLRR-from-1-left-lead-80bpm.mid"


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
