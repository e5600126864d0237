"""What a session shows whoever sits at the drums."""

import re
from dataclasses import replace
from functools import cache

from robot import Evening, Robot, play
from students import KEYS, KIT, Learner, Student

import midiforge
from midiforge.at_the_kit.scene import Mode, Outcome, Scene
from midiforge.at_the_kit.screen import KitScreen
from midiforge.hear.arriving import Came
from midiforge.live.screen.letters import large
from midiforge.live.screen.terminal import HERE, PLAIN
from midiforge.session import Session


@cache
def evening() -> Evening:
    student = Student("fast", range(1), least=60.0, gain=40.0)
    return play(Session(midiforge.check_drill(KEYS), None), Robot(Learner(student), KIT), 5)


def scene(outcome: Outcome, **keys: object) -> Scene:
    made = Scene(300.0, mode=Mode.PLAY, task=outcome.task, outcome=outcome)
    for name, value in keys.items():
        setattr(made, name, value)
    return made


def shown(scene: Scene, width: int = 80, height: int = 24) -> str:
    frame = KitScreen(scene).frame(width, height)
    return re.sub(r"\s+", " ", re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", frame))


def test_what_is_not_good_yet_says_first_what_it_lacks() -> None:
    outcome = replace(evening().outcomes[0][1], is_good=False, lacking="left hand: 3 missed")
    assert f"Not yet: left hand: 3 missed. {outcome.said}" in shown(scene(outcome))


def test_while_an_exercise_is_played_nothing_is_said_of_the_one_before() -> None:
    first, *others = [outcome for _, outcome in evening().outcomes]
    other = next(o.task for o in others if o.task.exercise.title != first.task.exercise.title)
    assert first.said in shown(scene(first, task=other, mode=Mode.READY))
    assert first.said not in shown(scene(first, task=other))


def test_strokes_too_many_are_counted() -> None:
    marks = (Came("extra", None, None), Came("extra", None, None))
    assert "+ 2 too many" in shown(scene(evening().outcomes[0][1], marks=marks))


def test_after_a_rest_for_pain_it_says_again_how_it_went() -> None:
    outcome = evening().outcomes[0][1]
    assert "doctor" in shown(scene(outcome, hurts=True, mode=Mode.REST))
    assert outcome.said in shown(scene(outcome, hurts=True))


def test_in_a_large_window_signs_are_as_wide_as_their_letters() -> None:
    one = evening()
    assert one.practice.scene.marks
    outcome = one.outcomes[-1][1]
    marks = one.practice.listening._arriving.round(1)  # type: ignore[union-attr]
    assert re.search(r"={4}|<{4}|>{4}|-{4}", shown(scene(outcome, marks=tuple(marks)), 200, 60))


def picture(scene: Scene, width: int, height: int) -> str:
    """The frame with its blocks as #, without what else steers a terminal."""
    screen = KitScreen(scene)
    blocks = re.sub(
        re.escape(HERE) + "( *)" + re.escape(PLAIN),
        lambda match: "#" * len(match[1]),
        screen.frame(width, height),
    )
    return re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", blocks)


def is_large(text: str, frame: str) -> bool:
    return all(row.strip() in frame for row in large(text, 200, 1))


def test_what_each_hand_is_on_stands_there_in_large_letters() -> None:
    for mode in (Mode.COUNT, Mode.PLAY):
        for size in ((80, 24), (160, 50)):
            frame = picture(scene(evening().outcomes[0][1], mode=mode), *size)
            assert is_large("R HIHAT  L SNARE", frame), (mode, size)


def test_where_a_hand_moves_a_figure_says_where_to() -> None:
    keys = {**KEYS, "voicing": {"RH": ["hihat-closed", "hihat-open", "tom-mid"]}, "placements": "1"}
    student = Student("fast", range(1), least=60.0, gain=40.0)
    one = play(Session(midiforge.check_drill(keys), None), Robot(Learner(student), KIT), 5)
    frame = shown(scene(one.outcomes[0][1], mode=Mode.COUNT))
    assert "right hand: hihat-closed, 1 = hihat-open, 2 = tom-mid left hand: snare" in frame
    assert "R R R R 1 2 L" in frame  # the first and the last are on the hi-hat, closed
