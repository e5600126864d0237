"""Real playing against exercises of its own bars: place, start, and the limbs against the click.

What is right is worked out here from the click alone (`recorded`); `recordings_figures.py` prints
the whole.
"""

from collections import defaultdict
from dataclasses import replace
from statistics import fmean, stdev

import pytest
from recorded import KIT, RECORDINGS, Recording, recordings
from recordings_figures import NEAR, cases, off

from midiforge.hear.expected import pad_of
from midiforge.hear.review import review
from midiforge.model.exercise import Exercise
from midiforge.model.hit import Limb

EVERY = 12  # of so many recordings one
pytestmark = pytest.mark.skipif(
    not RECORDINGS.exists(), reason="no recordings beside the repository"
)


def test_nobody_who_plays_to_a_click_loses_the_place_and_starts_are_found() -> None:
    found = [
        (case, review(case.take, case.exercise, KIT))
        for case in cases(EVERY)
        if case.what in ("whole", "broken off", "other playing first")
    ]
    assert len(found) > 20
    for case, told in found:
        assert not told.line.jumps, case.recording.name
        assert abs(off(case, told.start)) < case.recording.bar + NEAR, case.recording.name
    near = sum(abs(off(case, told.start)) <= NEAR for case, told in found)
    assert near > 0.75 * len(found)


def test_a_take_whose_file_has_the_exercise_s_tempo_begins_with_a_bar_line_of_it() -> None:
    """All whole recordings but one in fifty, by the click within 30 ms."""
    whole = [case for case in cases(3) if case.what == "whole"]
    starts = [off(case, review(case.take, case.exercise, KIT).start) for case in whole]
    assert len(starts) > 30
    assert sum(abs(start) <= NEAR for start in starts) >= 0.98 * len(starts)


def test_limbs_lie_to_the_click_as_an_independent_count_has_them() -> None:
    """Mean and deviation of limbs with 20 strokes, within 3 ms, where nine of ten strokes are as
    written. Each stroke is held against the nearest written one of its pad, on the click's grid."""
    compared = 0
    for one in recordings()[::2]:
        exercise = one.exercise(0, 2) if 8 < one.bars < 40 else None
        if exercise is None:
            continue
        told = review(replace(one.take, start=0.0), exercise, KIT, known_delay_ms=0.0)
        if told.tally.clean < 0.9:
            continue
        offs = offs_to_the_click(one, exercise, 2 * one.bar)
        for limb in told.limbs:
            own = offs[limb.limb]
            if len(own) >= 20:
                assert limb.timing.mean_ms == pytest.approx(fmean(own), abs=3), one.name
                assert limb.timing.deviation_ms == pytest.approx(stdev(own), abs=3), one.name
                compared += 1
    assert compared >= 8


def offs_to_the_click(
    one: Recording, exercise: Exercise, length: float
) -> dict[Limb | None, list[float]]:
    """By limb, in ms; length: of the exercise, in seconds."""
    written: dict[str, list[tuple[float, Limb | None]]] = defaultdict(list)
    for hit in exercise.hits:
        if hit.limb and hit.time >= 0:
            written[pad_of(hit.voice)].append((float(hit.time) * one.quarter, hit.limb))
    offs = defaultdict(list)
    for stroke in one.take.strokes:
        some = written[pad_of(KIT.voice(stroke.number, stroke.pedal) or "")]
        away = (
            ((stroke.time - time + length / 2) % length - length / 2, limb) for time, limb in some
        )
        off, limb = min(away, key=lambda each: abs(each[0]), default=(1.0, None))
        if abs(off) < 0.06:
            offs[limb].append(1000 * off)
    return offs
