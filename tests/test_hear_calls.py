"""Call and response: the answers are asked for, the calls may be played along with."""

import random
from collections.abc import Callable

import pytest
from synthetic import KIT

import midiforge
from midiforge.hear.expected import Due, expected
from midiforge.hear.review import Review, review
from midiforge.hear.take import Stroke, Take
from midiforge.model.exercise import Exercise
from midiforge.model.hit import HANDS

FORMS = ["1 call 1 response", "2 call 2 response"]


def calling(form: str, **keys: str) -> Exercise:
    drill = {"sticking": "RLRR LRLL", "form": form, "tempos": 80, "stages": "full", **keys}
    return next(midiforge.exercises(midiforge.check_drill(drill)))


def played(exercise: Exercise, which: Callable[[Due], bool], seed: int) -> tuple[Review, int]:
    """A take of some of the dues, 8 ms uneven, and how many those are."""
    chance = random.Random(seed)
    dues = [due for due in expected(exercise, KIT, 40) if due.time < 40 and which(due)]
    times = [3 + due.time + chance.gauss(0, 0.008) for due in dues]
    strokes = [
        Stroke(time, time, KIT.note(due.hit.voice), 80)
        for time, due in zip(times, dues, strict=True)
    ]
    strokes.sort(key=lambda each: each.time)
    return review(Take("t", tuple(strokes), 45.0), exercise, KIT), len(dues)


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("feet", [{}, {"feet": "samba"}], ids=["hands", "samba"])
@pytest.mark.parametrize("seed", range(3))
def test_who_only_answers_or_plays_everything_is_clean(form, feet, seed: int) -> None:
    exercise = calling(form, **feet)
    for which in (lambda due: not due.call, lambda due: due.time < 40):
        found, strokes = played(exercise, which, seed)
        assert (found.tally.expected, found.tally.hit, found.tally.extra) == (strokes, strokes, 0)


def test_the_feet_may_go_on_through_a_call() -> None:
    exercise = calling(FORMS[1], feet="samba")
    found, strokes = played(exercise, lambda due: not due.call or due.hit.limb not in HANDS, 1)
    assert (found.tally.hit, found.tally.missed) == (strokes, 0)


def test_an_answer_that_is_not_played_is_missed() -> None:
    """The second of the answers, bars 7 and 8, with every call played along."""
    exercise = calling(FORMS[1])
    asked = [due for due in expected(exercise, KIT, 40) if due.time < 40]
    silent = sum(due.bar in (7, 8) for due in asked)
    found, strokes = played(exercise, lambda due: due.bar not in (7, 8), 1)
    assert (found.tally.hit, found.tally.missed) == (strokes, silent)


def test_a_call_that_is_played_with_gaps_is_judged() -> None:
    exercise = calling(FORMS[1])
    found, strokes = played(exercise, lambda due: not due.call or due.place % 1 != 0, 1)
    assert found.tally.hit == strokes
    assert {each.due.call for each in found.judged if each.kind == "missed"} == {True}
