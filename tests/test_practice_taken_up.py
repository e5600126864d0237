"""One exercise as it is advised, as a drill file of its own."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from fractions import Fraction
from pathlib import Path

import pytest

import midiforge
from midiforge.drill.read import drill_in
from midiforge.errors import MidiforgeError
from midiforge.model.exercise import Exercise
from midiforge.model.hit import Hit, Limb, Strength
from midiforge.practice.advice import advise
from midiforge.practice.changes import Change, changes
from midiforge.practice.drill_file import advised_file
from midiforge.practice.standing import Action, Advice

DAY = date(2026, 5, 4)
TEXT = """
title = "Gangway"
sticking = ">RLRR LR>LL"
feet = "samba"
stages = "hands, full"
placements = "1, 1&"
tempos = "66, 88"
voicing = { RH = "hihat-closed", LH = "snare" }
"""


def drill(more: str = "") -> midiforge.Drill:
    return drill_in(TEXT + more, Path("gangway.toml"))


def advice_of(number: int, made: midiforge.Drill) -> Advice:
    return next(
        a for a in advise(midiforge.Lesson(made), [], DAY) if a.group.numbers[0].piece == number
    )


def taken_up(advice: Advice, made: midiforge.Drill, folder: Path) -> Exercise:
    """The only exercise of the file that is made of an advice."""
    text = advised_file(advice, made, DAY, folder)
    (exercise,) = midiforge.exercises(drill_in(text, folder / "one.toml"))
    return exercise


def test_it_is_the_exercise_at_the_tempo_that_is_advised(tmp_path: Path) -> None:
    made = drill()
    advice = replace(advice_of(4, made), action=Action.UP, tempo=Fraction(72))
    one, whole = taken_up(advice, made, tmp_path), midiforge.Lesson(made)["4a"]
    assert one.tempo.first == 72
    assert one.hits == whole.hits
    assert one.title == whole.title


@pytest.mark.parametrize(
    "voicing",
    [
        '{ RH = "ride", "LH accent" = ["tom-high", "tom-mid"] }',
        '["RH=ride", "LH accent=tom-high/tom-mid"]',
        '"RH=ride, LH accent=tom-high/tom-mid"',
    ],
)
def test_voices_that_take_turns_are_in_it_as_in_the_lesson(voicing: str, tmp_path: Path) -> None:
    text = TEXT.replace('{ RH = "hihat-closed", LH = "snare" }', voicing)
    made = drill_in(text, Path("gangway.toml"))
    advice = replace(advice_of(4, made), action=Action.UP, tempo=Fraction(72))
    one, whole = taken_up(advice, made, tmp_path), midiforge.Lesson(made)["4a"]
    assert {"tom-high", "tom-mid"} <= {hit.voice for hit in struck(one)}
    assert one.hits == whole.hits


def struck(one: Exercise) -> list[Hit]:
    return [hit for hit in one.hits if hit.limb is not None]


def clicked(one: Exercise) -> set[int]:
    """The bars that have a click."""
    return {
        int(hit.time // one.meter.bar) for hit in one.hits if hit.limb is None and hit.time >= 0
    }


def hands(one: Exercise) -> str:
    named = {Limb.RIGHT_HAND: "R", Limb.LEFT_HAND: "L"}
    return "".join(named[hit.limb] for hit in struck(one) if hit.limb in named)


CHANGED: dict[str, Callable[[Exercise], bool]] = {
    "leave the accents out": lambda one: all(
        hit.strength is not Strength.ACCENT for hit in struck(one)
    ),
    "play the right hand on": lambda one: all(
        hit.voice != "hihat-closed" for hit in struck(one) if hit.limb is Limb.RIGHT_HAND
    ),
    "two bars of click": lambda one: (one.tempo.first, clicked(one)) == (60, {0, 1}),
    "alone": lambda one: len({hit.limb for hit in struck(one)}) == 2,
    "backward": lambda one: "LLRLRRLR" in 2 * hands(one),
}


@pytest.mark.parametrize("word", CHANGED)
@pytest.mark.parametrize("more", ["", 'running = "3-4, 1"\n'])
def test_a_change_that_is_advised_is_in_it(word: str, more: str, tmp_path: Path) -> None:
    made = drill()
    if more:
        made = drill_in(more + TEXT, Path("gangway.toml"))
    number = next(
        outline.numbers[0].piece
        for outline in midiforge.Lesson(made).outlines()
        if outline.stage.name == "full"
    )
    advice = advice_of(number, made)
    exercise = next(iter(advice.group.outlines[0].exercises()))
    change = next(c for c in changes(exercise, (), Fraction(60)) if word in c.said)
    advice = replace(advice, action=Action.CHANGE, said=change.said, change=change)
    assert CHANGED[word](taken_up(advice, made, tmp_path))


def test_what_no_key_says_is_the_exercise_itself(tmp_path: Path) -> None:
    made = drill()
    aloud = Change("count every beat aloud while you play to the click")
    advice = replace(advice_of(2, made), action=Action.CHANGE, said=aloud.said, change=aloud)
    assert taken_up(advice, made, tmp_path).hits == midiforge.Lesson(made)["2a"].hits


@pytest.mark.parametrize("action", [Action.LEAVE, Action.LATER, Action.DONE, Action.GO_ON])
def test_what_is_not_to_be_played_is_no_lesson(action: Action, tmp_path: Path) -> None:
    made = drill()
    with pytest.raises(MidiforgeError, match="not to be played"):
        advised_file(replace(advice_of(1, made), action=action), made, DAY, tmp_path)
