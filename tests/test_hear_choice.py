"""Which exercise a take is of, where the strokes are the same: by how hard it is played, or asked.

The takes are made up (tests/synthetic.py), a few strokes missing in each.
"""

from functools import cache
from pathlib import Path
from typing import Any

import pytest
from synthetic import KIT, synthetic

import midiforge
from midiforge.hear import start
from midiforge.hear.accents import VERY_STRONG, gain, played
from midiforge.hear.choice import Reviewed, reviewed
from midiforge.model.exercise import Exercise
from midiforge.model.number import Number
from midiforge.report.sentence import sentences
from midiforge.session import Session

EVEN = {"accent": 80, "tap": 80, "ghost": 80}
WEAK = {"accent": 84, "tap": 75, "ghost": 35}  # an eighth louder: "accents do not stand out"
MOVED = {"accent_placements": "phrase"}
PATTERNS = {"accents": "own; 2 4; 1e 3e; 1a 2a"}
NONE = {"accents": "own; none; 2 4"}


@cache
def exercises(**keys: Any) -> tuple[Exercise, ...]:
    drill = {"sticking": ">RLRR LRLL", "feet": "tumbao", "stages": "full", "tempos": 100, **keys}
    return tuple(midiforge.exercises(midiforge.check_drill(drill)))


def found(of: Exercise, among: tuple[Exercise, ...], seed: int = 1, **how: Any) -> Reviewed:
    return reviewed(synthetic(of, seed, 25, miss=0.02, **how)[0], among, KIT)


@pytest.mark.parametrize("levels", [None, WEAK], ids=["clear accents", "weak accents"])
@pytest.mark.parametrize("voicing", ["", "RH=ride, LH=snare", "RH=snare, LH=snare"])
@pytest.mark.parametrize("differing", [MOVED, PATTERNS], ids=["moved", "patterns"])
def test_exercises_that_differ_in_accents_alone_are_told_apart(
    differing: dict[str, str], voicing: str, levels: dict[str, int] | None
) -> None:
    among = exercises(**differing, **({"voicing": voicing} if voicing else {}))
    for seed, of in enumerate(among):
        review = found(of, among, seed, **({"levels": levels} if levels else {}))
        assert review.review.exercise is of
        assert review.is_it and not review.known.unsure


@pytest.mark.parametrize("stretch", [1.0, 1.13, 0.8])
def test_one_of_every_sticking_of_eight_strokes_is_found_whatever_its_tempo(stretch: float) -> None:
    """All of the same number of strokes on the same pads: what follows what tells them apart."""
    drill = {"every": {"strokes": 8}, "feet": "samba", "stages": "full", "tempos": "60, 80"}
    among = tuple(midiforge.exercises(midiforge.check_drill(drill)))
    of = next(each for each in among if each.number.piece == 103)
    review = found(of, among, stretch=stretch)
    assert review.review.exercise.piece is of.piece and review.is_it


def test_the_hundredth_of_exercises_alike_is_found() -> None:
    """Only so many exercises are compared, but those of the same strokes are one."""
    patterns = [f"{count} {beat}" for count in ("1", "1e", "1&", "1a") for beat in "234"]
    among = exercises(accents="; ".join(patterns), placements="beat")
    assert len(among) > 40
    for seed, of in enumerate(among[::11]):
        assert found(of, among, seed).review.exercise is of


def test_where_nothing_tells_them_apart_it_is_said_first_and_asked() -> None:
    among = exercises(**NONE)
    for of in among:
        review = found(of, among, levels=EVEN)
        assert len(review.known.unsure) == 2
        assert not review.is_it
        first = sentences(review.review, review.known)[0]
        own = review.review.exercise
        for exercise in (own, review.known.unsure[0]):
            assert f"--exercise {exercise.number}" in first
            assert exercise.title in first


def test_without_accents_it_may_be_the_exercise_that_has_none_or_one_played_badly() -> None:
    among = exercises(**NONE)
    review = found(among[1], among)
    assert review.review.exercise is among[1]
    assert review.known.unsure


def test_who_names_the_exercise_is_believed() -> None:
    among = exercises(**NONE)
    take, _ = synthetic(among[0], 1, 25, levels=EVEN)
    review = reviewed(take, among, KIT, "1")
    assert review.is_it and not review.known.unsure


def test_hands_on_one_surface_can_be_any_sticking_and_are_asked_for() -> None:
    among = exercises(sticking="RLRR LRLL, RLRL RLRL", voicing="RH=snare, LH=snare")
    review = found(among[1], among)
    assert [each.number.piece for each in review.known.unsure] == [2]


def test_sixteenths_and_triplets_are_told_apart_by_the_feet_or_by_the_drill_s_tempo() -> None:
    with_feet = exercises(steps="3, 4")
    for of in with_feet:
        assert found(of, with_feet).review.exercise is of
    alone = exercises(steps="3, 4", stages="hands", tempos="100")
    for of in alone:
        review = found(of, alone)
        assert review.review.exercise is of and review.is_it
    # Sixteenths at 60 are triplets at 80, and both are in the drill.
    either = exercises(steps="3, 4", stages="hands", tempos="60, 80")
    sixteenths = next(each for each in either if each.step.denominator == 4)
    assert found(sixteenths, either).known.unsure


def test_a_take_that_cannot_be_told_is_kept_in_no_log_until_it_is_named(tmp_path: Path) -> None:
    keys = {"sticking": ">RLRR LRLL", "feet": "tumbao", "stages": "full", "tempos": 100}
    session = Session(midiforge.check_drill(keys | NONE), tmp_path / "log.sqlite")
    path = tmp_path / "take.mid"
    path.write_bytes(midiforge.exercise_bytes(session.lesson["1"], KIT))
    take, _ = synthetic(session.lesson["1"], 1, 25, levels=EVEN)
    assert not session.keep(session.review(take), path)
    assert not session.next_step(session.review(take), path)
    assert session.keep(session.review(take, "1"), path)


def test_accents_are_told_from_the_whole_take_not_from_its_beginning() -> None:
    """Where the accents come in after eight bars."""
    among = exercises(**PATTERNS)
    even, _ = synthetic(among[2], 1, 60, levels=EVEN)
    loud, _ = synthetic(among[2], 1, 60)
    half = even.strokes[len(even.strokes) // 2].time
    strokes = [two if two.time > half else one
               for one, two in zip(even.strokes, loud.strokes, strict=True)]  # fmt: skip
    take = even.__class__("take.mid", tuple(strokes), even.length)
    assert reviewed(take, among, KIT).review.exercise is among[2]


def test_accents_on_one_drum_are_not_those_of_two() -> None:
    """Each pad by itself, and what an accent is, the same on both."""
    among = exercises(accents="2 4; beats", voicing="RH=ride, LH=snare")
    take, _ = synthetic(among[0], 1, 25)
    heard = played(take, among[0], KIT)
    assert heard is not None
    own, other = (gain(heard, each, KIT) for each in among)
    assert own > other + VERY_STRONG


def test_stages_that_ask_for_the_same_need_no_question() -> None:
    """With no feet, hands alone and hands with feet are one."""
    [full] = exercises(feet="none")
    hands = full.changed(stage="hands", number=Number(2))
    assert not found(full, (full, hands)).known.unsure


def test_every_tempo_is_tried_only_where_no_exercise_is_like_the_take_at_the_drill_s(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    tried: list[float] = []
    every = start._tempos
    monkeypatch.setattr(start, "_tempos", lambda: tried.append(1) or every())
    among = exercises(placements="phrase", tempos="60, 80")
    for of in among[::3]:
        assert found(of, among).review.exercise is of
    assert not tried
    take, _ = synthetic(among[8], 1, 25, stretch=0.9)
    assert reviewed(take, among, KIT).review.exercise.piece == among[8].piece
    assert 0 < len(tried) < len(among) / 2
