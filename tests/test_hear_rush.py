"""A strong rush is followed and told as one, and not as strokes pulled or wrong."""

import random
from math import sqrt

import pytest
from synthetic import KIT, LEVELS

import midiforge
from midiforge.hear.expected import expected
from midiforge.hear.known import NOTHING
from midiforge.hear.review import review
from midiforge.hear.take import Stroke, Take
from midiforge.model.exercise import Exercise
from midiforge.report.sentence import sentences


def rushing(exercise: Exercise, first: float, last: float, seconds: float, seed: int) -> Take:
    """A take that gets faster evenly, from one tempo to another; 8 ms uneven."""
    chance, strokes = random.Random(seed), list[Stroke]()
    faster = (last - first) / (2 * seconds)
    for due in expected(exercise, KIT, 2 * seconds):
        beats = due.time / 60 * float(exercise.tempo.first)
        time = (sqrt(first**2 + 4 * faster * 60 * beats) - first) / (2 * faster)
        if time > seconds:
            break
        time += 2 + chance.gauss(0, 0.008)
        velocity = LEVELS[due.hit.strength] + chance.randint(-5, 5)
        strokes.append(Stroke(time, time, KIT.note(due.hit.voice), velocity))
    strokes.sort(key=lambda stroke: stroke.time)
    return Take("rush.mid", tuple(strokes), strokes[-1].time + 1)


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize(("feet", "steps"), [("samba", 2), ("samba", 3), ("samba", 4)])
@pytest.mark.parametrize("sticking", ["RLRR LRLL", ">RLRR >LRLL"])
def test_from_180_to_240_in_21_seconds_is_a_rush(
    sticking: str, feet: str, steps: int, seed: int
) -> None:
    drill = {"sticking": sticking, "feet": feet, "stages": "full", "tempos": 180, "steps": steps}
    exercise = next(midiforge.exercises(midiforge.check_drill(drill)))
    take = rushing(exercise, 180, 240, 21, seed)
    found = review(take, exercise, KIT)
    assert found.start == pytest.approx(2, abs=0.1)
    assert found.tally.clean > 0.97 and not found.line.jumps
    assert sentences(found, NOTHING)[0].startswith("You rush")


@pytest.mark.parametrize(("first", "last"), [(74, 80), (80, 74)])
def test_a_pace_that_passes_through_the_written_tempo_is_told_from_its_beginning(
    first: float, last: float
) -> None:
    """Not from where it comes to the tempo that is written, as if the rest were another thing."""
    drill = {"sticking": "RLRR LRLL", "feet": "samba", "stages": "full", "tempos": 80}
    exercise = next(midiforge.exercises(midiforge.check_drill(drill)))
    take = rushing(exercise, first, last, 36, seed=3)
    found = review(take, exercise, KIT)
    assert found.tally.hit >= 0.97 * len(take.strokes)
    assert found.tally.extra == 0
    word = "rush" if last > first else "drag"
    assert sentences(found, NOTHING)[0].startswith(f"You {word}, from ")


@pytest.mark.parametrize(
    ("sticking", "feet", "pace"),
    [
        (">RLRR >LRLL", "x...", (0.95, 1.06)),
        (">RLL>R L>RRL", "bossa-nova", (0.95, 1.06)),
        ("RLL RLL RL", ["son-clave-3-2 on LF", "x... ..x."], (0.9, 1.0125)),
    ],
)
def test_on_one_drum_a_changing_pace_is_no_other_beat_of_the_exercise(
    sticking: str, feet: str, pace: tuple[float, float]
) -> None:
    """Where the tempo is as written, in the midst, hands on one drum fit a step off as well."""
    drill = {"sticking": sticking, "feet": feet, "stages": "full", "tempos": 70}
    exercise = next(midiforge.exercises(midiforge.check_drill(drill | {"voicing": "hands=snare"})))
    take = rushing(exercise, 70 * pace[0], 70 * pace[1], 40, seed=3)
    found = review(take, exercise, KIT)
    assert found.start == pytest.approx(2, abs=0.1)
    assert found.tally.hit >= 0.97 * len(take.strokes)
    assert len(sentences(found, NOTHING)) == 1
