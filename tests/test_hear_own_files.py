"""What `build` writes is heard as played without a fault, at its own tempo and at another."""

import dataclasses
from fractions import Fraction
from pathlib import Path

import pytest
from synthetic import synthetic

import midiforge
from midiforge.hear.choice import Reviewed, reviewed
from midiforge.hear.take import Take, read_take
from midiforge.library import shelf
from midiforge.model.exercise import Exercise

SETTINGS = [(steps, tempo) for steps in (2, 3, 4, 6) for tempo in (60, 100)]
SAMPLE = [(name, *SETTINGS[i % len(SETTINGS)]) for i, name in enumerate(shelf.rudiments())]
# Grace notes two to a step of a tenth of a second, bounces up to the seam, two notes to a bar.
HARD = [
    ("drag", 6, 100), ("drag", 6, 60), ("drag", 1, 60), ("flam", 4, 100), ("flam", 1, 100),
    ("multiple-bounce-roll", 4, 100), ("multiple-bounce-roll", 6, 60), ("flam-tap", 6, 100),
    ("double-drag-tap", 4, 100), ("single-stroke-roll", 6, 60), ("pataflafla", 3, 100),
]  # fmt: skip


def built(path: Path, sticking: str, steps: int, tempo: int, stage: str) -> Reviewed:
    drill = midiforge.check_drill(
        {"sticking": sticking, "steps": steps, "tempos": tempo, "repeats": 4, "stages": stage}
    )
    exercises = [*midiforge.exercises(drill)]
    path.write_bytes(midiforge.exercise_bytes(exercises[0], drill.kit))
    return reviewed(read_take(path), exercises, drill.kit, 1)


def faults(found: Reviewed) -> tuple[int, int, str]:
    """Strokes missed, extra strokes, and what is said if it is no praise."""
    said = midiforge.sentences(found)[0]
    tally = found.review.tally
    return tally.missed, tally.extra, "" if said.startswith("All ") else said


@pytest.mark.parametrize("stage", ["full", "hands"])
@pytest.mark.parametrize(("sticking", "steps", "tempo"), SAMPLE + HARD)
def test_what_build_writes_is_heard_as_played_without_a_fault(
    tmp_path: Path, sticking: str, steps: int, tempo: int, stage: str
) -> None:
    assert faults(built(tmp_path / "own.mid", sticking, steps, tempo, stage)) == (0, 0, "")


@pytest.mark.parametrize("stretch", [0.9, 1.0, 1.1])
@pytest.mark.parametrize(("sticking", "steps", "tempo"), SAMPLE[::4] + HARD)
def test_an_exact_take_is_clean_at_any_steady_tempo(
    tmp_path: Path, sticking: str, steps: int, tempo: int, stretch: float
) -> None:
    own = built(tmp_path / "own.mid", sticking, steps, tempo, "full").review
    moved = slower(read_take(tmp_path / "own.mid"), stretch)
    drill = midiforge.check_drill(
        {"sticking": sticking, "steps": steps, "tempos": tempo, "repeats": 4, "stages": "full"}
    )
    found = reviewed(moved, [*midiforge.exercises(drill)], drill.kit, 1)
    assert faults(found) == (0, 0, "")
    assert found.review.tally.expected == own.tally.expected
    assert found.review.played_tempo == pytest.approx(tempo / stretch, rel=0.002)


def slower(take: Take, stretch: float) -> Take:
    strokes = tuple(dataclasses.replace(s, time=s.time * stretch) for s in take.strokes)
    return dataclasses.replace(take, strokes=strokes, tempos=((0.0, 120.0),))


def test_a_downbeat_is_due_of_who_goes_on() -> None:
    drill = midiforge.check_drill({"sticking": "RLRR LRLL", "feet": "x...", "stages": "full"})
    exercise = next(midiforge.exercises(drill))
    take, truth = synthetic(exercise, 1, seconds=exercise_seconds(exercise, 4))
    end = max(stroke.time for stroke in take.strokes)
    step = float(exercise.step * exercise.tempo.quarter(Fraction(1)))
    stopped = midiforge.review(take, drill, number=str(exercise.number)).review.tally
    assert (stopped.expected, stopped.missed) == (truth.strokes, 0)
    on = dataclasses.replace(take.strokes[-1], time=end + 2 * step)
    longer = dataclasses.replace(take, strokes=(*take.strokes, on))
    assert midiforge.review(longer, drill, number=str(exercise.number)).review.tally.missed >= 1


def exercise_seconds(exercise: Exercise, bars: int) -> float:
    """Just less than so many bars."""
    return float(bars * exercise.meter.bar * exercise.tempo.quarter(Fraction(1))) - 0.01


@pytest.mark.parametrize("kit", ["general-midi-1", "general-midi-2", "electronic"])
@pytest.mark.parametrize("foot", ["RF as bass-drum-2", "LF as bass-drum-2", "LF as hihat-pedal"])
def test_whatever_a_foot_plays_is_heard_as_what_it_was_written_for(
    kit: str, foot: str, tmp_path: Path
) -> None:
    drill = midiforge.check_drill(
        {
            "sticking": "RLRL", "stages": "full", "repeats": 8, "kit": kit,
            "feet": f"four-on-the-floor on {foot}",
        }
    )  # fmt: skip
    (exercise, *_) = midiforge.exercises(drill)
    path = tmp_path / "own.mid"
    path.write_bytes(midiforge.exercise_bytes(exercise, drill.kit))
    found = midiforge.review(path, drill).review
    assert {each.kind for each in found.judged} == {"hit"}
