"""Real playing against exercises of its own bars: place, start, and the limbs against the click.

What is right is worked out here from the click alone (`recorded`); `recordings_figures.py` prints
the whole.
"""

from collections import defaultdict
from itertools import pairwise
from statistics import fmean, stdev

import pytest
from recorded import KIT, RECORDINGS, recordings
from recordings_figures import NEAR, cases, off

from midiforge.hear.expected import expected, pad_of
from midiforge.hear.review import review

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


def test_limbs_lie_to_each_other_as_against_the_click() -> None:
    """One limb's mean from another's within 5 ms, deviations within 6, of limbs with 20 strokes;
    the click is at 0 s and steady."""
    compared = 0
    for one in recordings()[::4]:
        exercise = one.exercise(0, 2) if 8 < one.bars < 40 else None
        if exercise is None:
            continue
        told = review(one.take, exercise, KIT)
        if told.tally.clean < 0.6:
            continue
        heard = defaultdict(list)
        for stroke in one.take.strokes:
            heard[pad_of(KIT.voice(stroke.number, stroke.pedal) or "")].append(stroke.time)
        offs = defaultdict(list)
        for due in expected(exercise, KIT, one.take.length):
            near = min(heard[due.pad] or [1e9], key=lambda time: abs(time - due.time))
            if abs(near - due.time) < 0.06:
                offs[due.hit.limb].append(1000 * (near - due.time))
        pairs = [
            (limb.timing, offs[limb.limb]) for limb in told.limbs if len(offs[limb.limb]) >= 20
        ]
        for (one_timing, one_offs), (timing, own) in pairwise(pairs):
            apart = timing.mean_ms - one_timing.mean_ms
            assert apart == pytest.approx(fmean(own) - fmean(one_offs), abs=5), one.name
            assert timing.deviation_ms == pytest.approx(stdev(own), abs=6), one.name
            compared += 1
    assert compared >= 3
