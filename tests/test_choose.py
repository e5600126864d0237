"""Exercises by their numbers and by their tempos, and what is said of a wrong argument.

No published source: the rules are the project's own.
"""

from dataclasses import replace
from pathlib import Path

import pytest

import midiforge
from midiforge.command.run import run
from midiforge.errors import MidiforgeError, NoOstinato, WrongArgument
from midiforge.lesson.choose import chosen_exercises
from midiforge.library import shelf
from midiforge.model.rounds import by_tempo
from midiforge.pages.paper import paper_of

DRILL = midiforge.check_drill({"sticking": "RLRR LRLL", "stages": "full", "tempos": "60,80"})


def orders(only: str) -> list[int]:
    return [each.order for each in chosen_exercises(DRILL, only)]


def test_numbers_and_spans_of_them_choose_exercises_in_the_drill_s_order() -> None:
    assert orders("") == [1, 2]
    assert orders("2, 1") == [1, 2]
    assert orders("2-9") == [2]


@pytest.mark.parametrize(
    ("only", "said"),
    [
        ("9", "only: there is no exercise 9"),
        ("x", "only: 'x' is not a number (such as 3,5-8)"),
        (",", "only: ',' names no exercise (such as 3,5-8)"),
        ("3-2", "only: '3-2' runs backward (2-3)"),
    ],
)
def test_a_choice_that_names_nothing_says_so_of_its_parameter(only: str, said: str) -> None:
    with pytest.raises(WrongArgument) as caught:
        orders(only)
    assert str(caught.value) == said


def test_exercises_that_share_their_hits_go_together_while_they_follow_each_other() -> None:
    one, two = chosen_exercises(DRILL)
    other = replace(one, hits=(*one.hits,))  # the same strokes, not the same exercise
    moved = replace(two, chords=("any",))  # type: ignore[arg-type]
    found = [[id(each) for each in group] for group in by_tempo([one, two, other, two, moved])]
    assert found == [[id(one), id(two)], [id(other)], [id(two)], [id(moved)]]
    assert list(by_tempo([])) == []


def test_a_library_s_error_names_the_parameter_and_a_command_s_the_flag(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    with pytest.raises(WrongArgument, match=r"^paper: no paper is called 'a5'"):
        paper_of("a5")
    page = str(tmp_path / "a.pdf")
    assert run(["sheet", "--sticking", "RL", "--out", page, "--paper", "a5"]) == 2
    assert "midiforge: --paper: no paper is called 'a5'" in capsys.readouterr().err
    assert run(["sheet", "--sticking", "RL", "--out", "a.txt"]) == 2
    assert "midiforge: --out: " in capsys.readouterr().err
    assert run(["plan", "--sticking", "RL", "--minutes", "4"]) == 2
    assert "midiforge: --minutes: 4 minutes" in capsys.readouterr().err


def test_an_error_seen_from_further_out_is_still_of_its_kind() -> None:
    with pytest.raises(NoOstinato) as caught:
        shelf.ostinato("tumbaoo")
    outer = caught.value.within("drill.toml", "feet")
    assert isinstance(outer, NoOstinato)
    assert str(outer).startswith("drill.toml: feet: no ostinato is called 'tumbaoo'")
    inner = WrongArgument("is not right", "tempo", hint="or else").within("groove.mid")
    assert inner.parameter == "tempo"
    flagged = inner.called("--tempo")
    assert str(flagged) == "groove.mid: --tempo: is not right (or else)"
    assert type(flagged) is MidiforgeError
