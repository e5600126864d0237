"""Strokes told as they arrive, against the review of the same take when all of it is there.

Takes are made up with known mistakes, or real (`recorded`: the Groove MIDI Dataset, CC BY 4.0).
Bounds are ours: a screen may be wrong about a stroke in a hundred, never about a round as a whole.
"""

import random
from collections import Counter
from dataclasses import replace
from typing import Any

import pytest
from recorded import KIT as ELECTRONIC
from recorded import recordings
from synthetic import KIT, synthetic

import midiforge
from midiforge.hear.arriving import Arriving, Came
from midiforge.hear.review import Review, review
from midiforge.hear.take import Take
from midiforge.kits.kit import Kit
from midiforge.model.exercise import Exercise
from midiforge.model.hit import Limb

START = 3.0
DRILLS: list[dict[str, Any]] = [
    {"sticking": "RLRR LRLL", "placements": "1, 1e, 1&, 1a", "feet": "samba", "meter": "2/4"},
    {"sticking": ">RLLR", "feet": "tumbao"},
    {"sticking": "RLL", "steps": 3, "feet": "1 3"},
    {"sticking": "flam tap", "stages": "hands"},
    {"sticking": "RLRL", "feet": "bossa nova", "steps": 2},
    {"sticking": "RRLL", "swing": "2:1", "steps": 2, "feet": "2 4 on LF"},
    {"sticking": "RLRRL", "meter": "5/4", "steps": 2, "feet": "1 4"},
]


def exercises(drill: dict[str, Any]) -> list[Exercise]:
    checked = midiforge.check_drill({"stages": "full", "tempos": "70, 110", **drill})
    return [*midiforge.exercises(checked)]


def told(exercise: Exercise, take: Take, kit: Kit = KIT, delay_ms: float = 0.0) -> Arriving:
    """A take as it arrives, stroke by stroke."""
    start = take.start or 0.0
    arriving = Arriving(exercise, kit, delay_ms)
    for stroke in take.strokes:
        arriving.missed(stroke.time - start)
        arriving.heard(stroke.time - start, stroke.number, stroke.velocity, stroke.pedal)
    arriving.missed(take.strokes[-1].time - start + 2)
    return arriving


def kinds(of: Review) -> dict[tuple[float, int], str]:
    return {
        (round(judged.time, 6), judged.velocity): judged.kind
        for judged in of.judged
        if judged.time is not None and judged.velocity is not None
    }


def same(of: Review, came: list[Came], start: float) -> Counter[bool]:
    """How many strokes are told alike, and how many are not."""
    ours = kinds(of)
    return Counter(
        ours.get((round(each.stroke.time + start, 6), each.stroke.velocity)) == each.kind
        for each in came
        if each.stroke
    )


@pytest.mark.parametrize("drill", DRILLS, ids=lambda drill: str(drill["sticking"]))
def test_what_is_told_at_once_is_what_the_review_says_later(drill: dict[str, Any]) -> None:
    alike, rounds = Counter[bool](), Counter[int]()
    for exercise in exercises(drill):
        for seed in range(12):
            chance = random.Random(seed)
            take, _ = synthetic(
                exercise,
                seed=seed,
                seconds=20,
                start=START + chance.uniform(-0.02, 0.03),
                jitter=chance.choice([0.005, 0.01, 0.016]),
                miss=chance.choice([0.0, 0.03, 0.1]),
                extra=chance.choice([0.0, 0.02]),
                double=chance.choice([0.0, 0.05]),
            )
            take = replace(take, start=START)
            later, now = review(take, exercise, KIT, 0.0), told(exercise, take)
            alike += same(later, now.came, START)
            for figures in later.rounds:
                rounds[abs(now.tally(figures.number).hit - figures.tally.hit)] += 1
    assert alike[False] <= 0.01 * alike.total()
    assert rounds[0] >= 0.98 * rounds.total()
    assert max(rounds) <= 2


def test_how_early_or_late_a_stroke_is_is_told_by_the_click_less_the_delay() -> None:
    exercise = exercises(DRILLS[0])[0]
    take, _ = synthetic(exercise, start=START + 0.030, jitter=0.006)
    take = replace(take, start=START)
    later, now = review(take, exercise, KIT, 20.0), told(exercise, take, delay_ms=20.0)
    offs = {
        round(judged.time, 6): judged.off_ms
        for judged in later.judged
        if judged.kind == "hit" and judged.time is not None
    }
    apart = [
        abs(came.off_ms - (offs[round(came.stroke.time + START, 6)] or 0.0))
        for came in now.came
        if came.kind == "hit" and came.stroke and came.off_ms is not None
    ]
    assert len(apart) > 100
    assert max(apart) < 0.01
    assert now.own_ms == pytest.approx(10.0, abs=4.0)


def test_a_stroke_that_did_not_come_is_told_a_grid_step_later_and_once() -> None:
    exercise = exercises({"sticking": "RLRL", "stages": "hands", "tempos": "60"})[0]
    arriving = Arriving(exercise, KIT)  # sixteenths at 60: a step is 250 ms
    assert arriving.missed(0.2) == []
    first = arriving.missed(0.26)
    assert [came.kind for came in first] == ["missed"]
    assert first[0].due is not None and first[0].due.time == 0.0
    assert arriving.missed(0.3) == []
    assert arriving.missed(0.52)[0].due is not None


def test_a_limb_on_another_drum_is_told_as_moved() -> None:
    exercise = exercises({"sticking": "RLRL", "stages": "hands", "tempos": "60"})[0]
    arriving = Arriving(exercise, KIT)
    came = arriving.heard(0.01, KIT.note("ride"), 80)
    assert came is not None and came.kind == "moved"
    assert came.due is not None and came.due.hit.limb is Limb.RIGHT_HAND


def test_a_note_that_the_kit_does_not_know_is_nothing() -> None:
    assert Arriving(exercises(DRILLS[0])[0], KIT).heard(0.0, 3, 80) is None


def test_who_lies_behind_the_click_all_the_time_misses_nothing() -> None:
    exercise = exercises(DRILLS[1])[0]
    take, _ = synthetic(exercise, start=START + 0.070, jitter=0.006, seconds=20)
    now = told(exercise, replace(take, start=START))
    played = now.came[12:]
    assert all(came.kind == "hit" for came in played)


def test_real_playing_is_told_alike_at_once_and_later() -> None:
    alike = Counter[bool]()
    some = [each for each in recordings() if each.bars >= 4]
    if not some:
        pytest.skip("no recordings beside the repository")
    for recording in some:
        bars = min(12, recording.bars)
        exercise = recording.exercise(0, bars)
        if exercise is None:
            continue
        strokes = [each for each in recording.take.strokes if each.time < bars * recording.bar]
        take = replace(recording.take, start=0.0, strokes=tuple(strokes))
        later, now = review(take, exercise, ELECTRONIC, 0.0), told(exercise, take, ELECTRONIC)
        ours = kinds(later)
        for came in now.came:
            if came.stroke:
                # What is music all the same is told by the whole of a take.
                kind = ours.get((round(came.stroke.time, 6), came.stroke.velocity), "")
                kind = "extra" if kind in ("added", "before") else kind
                alike[kind == came.kind] += 1
    assert alike.total() > 10_000
    assert alike[True] >= 0.95 * alike.total()
