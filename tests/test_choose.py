"""Exercises by their numbers and by their tempos, and what is said of a wrong argument.

No published source: the rules are the project's own.
"""

import pickle
from pathlib import Path

import pytest

import midiforge
from midiforge.command.run import run
from midiforge.errors import MidiforgeError, NoOstinato, WrongArgument
from midiforge.library import shelf
from midiforge.model.exercise import by_piece
from midiforge.model.number import exercises_said, numbers_said
from midiforge.pages.paper import paper_of

DRILL = midiforge.check_drill({"sticking": "RLRR LRLL", "stages": "full", "tempos": "60,80"})


def numbers(only: str) -> list[str]:
    return [str(each.number) for each in midiforge.Lesson(DRILL).select(only)]


def test_numbers_and_spans_of_them_choose_exercises_in_the_drill_s_order() -> None:
    assert numbers("") == ["1a", "1b"]
    assert numbers("1b, 1a") == ["1a", "1b"]
    assert numbers("1") == ["1a", "1b"]
    assert numbers("01B-9") == ["1b"]
    assert numbers("1a-b") == ["1a", "1b"]


@pytest.mark.parametrize(
    ("only", "said"),
    [
        ("9", "only: there is no exercise 9 (there is 1, each at 2 tempos, such as 1b)"),
        ("1, 9", "only: there is no exercise 9 (there is 1, each at 2 tempos, such as 1b)"),
        ("1d", "only: there is no exercise 1d (1a-b)"),
        ("x", "only: 'x' is not a number (such as 3, 3b or 5-8)"),
        (",", "only: ',' names no exercise (such as 3, 3b or 5-8)"),
        ("3-2", "only: '3-2' runs backward (2-3)"),
        ("3b-a", "only: '3b-a' runs backward (3a-3b)"),
        ("5-b", "only: '5-b' is not a number (such as 3, 3b or 5-8)"),
    ],
)
def test_a_choice_that_names_nothing_says_so_of_its_parameter(only: str, said: str) -> None:
    with pytest.raises(WrongArgument) as caught:
        numbers(only)
    assert str(caught.value) == said


def test_the_tempos_of_a_piece_share_its_number() -> None:
    drill = midiforge.check_drill({"sticking": "RLRR LRLL", "tempos": "60,80", "feet": "tumbao"})
    lesson = midiforge.Lesson(drill)
    numbered = [[str(each.number) for each in some] for some in lesson.by_piece()]
    assert numbered == [["1a", "1b"], ["2a", "2b"], ["3a", "3b"]]
    chosen = [[each.number for each in some] for some in by_piece(lesson.select("1, 2b, 3"))]
    assert [numbers_said(some) for some in chosen] == ["1", "2b", "3"]
    assert [exercises_said(some) for some in chosen] == ["exercise 1", "exercise 2b", "exercise 3"]
    assert list(by_piece([])) == []
    for some in lesson.by_piece():
        assert len({id(exercise.piece) for exercise in some}) == 1
        assert len({exercise.tempo for exercise in some}) == 2


def test_exercises_that_were_pickled_are_still_grouped_by_their_piece() -> None:
    drill = midiforge.check_drill({"sticking": "RLRR LRLL", "tempos": "60,80", "feet": "tumbao"})
    copies = [pickle.loads(pickle.dumps(exercise)) for exercise in midiforge.Lesson(drill)]
    assert [len(some) for some in by_piece(copies)] == [2, 2, 2]


def test_an_exercise_by_its_number_is_the_one_of_the_whole_lesson() -> None:
    drill = midiforge.check_drill(
        {"sticking": "RLRR LRLL, paradiddle-diddle", "placements": "beat", "tempos": "60,80"}
        | {"feet": "tumbao", "accents": "own; 1 3"}
    )
    lesson = midiforge.Lesson(drill)
    for exercise in lesson:
        assert lesson[str(exercise.number)] == exercise
    with pytest.raises(MidiforgeError, match=r"there is no exercise 99 \(there is 1 to"):
        lesson[99]


@pytest.mark.parametrize("keys", ['running = "9"', 'order = "easiest"\nlayers = "x on RH"'])
def test_what_is_wrong_with_a_lesson_names_the_drill_s_file_once(keys: str, tmp_path: Path) -> None:
    path = tmp_path / "drill.toml"
    path.write_text(f'sticking = "RLRR"\n{keys}\n')
    with pytest.raises(MidiforgeError) as caught:
        [*midiforge.Lesson(midiforge.read_drill(path))]
    assert caught.value.where.count(str(path)) == 1


def test_a_piece_at_one_tempo_needs_no_letter_and_one_at_many_has_two_that_sort() -> None:
    one = midiforge.check_drill({"sticking": "RLRR", "stages": "full"})
    assert [str(each.number) for each in midiforge.exercises(one)] == ["1"]
    many = midiforge.check_drill({"sticking": "RLRR", "stages": "full", "tempos": "60 to 90 by 1"})
    found = [each.number.padded(2) for each in midiforge.exercises(many)]
    assert found[:2] + found[25:27] == ["01aa", "01ab", "01az", "01ba"]
    assert found == sorted(found)


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
