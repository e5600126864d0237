"""What a stroke was: as written, moved, pulled, added or wrong, in takes whose truth is known.

No published source: the limits are ours, from the recordings, each tested just within and just
beyond.
"""

import random
from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import cache
from typing import Any

import pytest
from synthetic import KIT, LEVELS

import midiforge
from midiforge.hear.expected import Due, expected
from midiforge.hear.figures import Tally
from midiforge.hear.review import Review, review
from midiforge.hear.take import Stroke, Take
from midiforge.model.exercise import Exercise
from midiforge.model.hit import Limb
from midiforge.report.sentence import said
from midiforge.report.view import View

TEMPOS = [50, 80, 120, 180]
START, BARS = 3.0, 16
HIHAT, RIDE, SNARE, KICK, CRASH, TOM = (
    KIT.note(voice) for voice in ("hihat-closed", "ride", "snare", "bass-drum", "crash", "tom-high")
)
FILL = [SNARE] * 2 + [TOM] * 2 + [KIT.note("tom-mid")] * 2 + [KIT.note("floor-tom")] * 2


@cache
def exercise(tempo: int, **keys: Any) -> Exercise:
    drill = {"stages": "full", "tempos": tempo, **keys}
    return next(iter(midiforge.exercises(midiforge.check_drill(drill))))


def groove(tempo: int) -> Exercise:
    """Eighths of the right hand on the hi-hat, the bass drum on every beat."""
    return exercise(tempo, sticking="R-R-R-R-", feet="x...", voicing="RH=hihat-closed")


def paradiddle(tempo: int, feet: str = "tumbao") -> Exercise:
    return exercise(tempo, sticking=">RLRR >LRLL", feet=feet)


def step(of: Exercise) -> float:
    return float(of.step * of.tempo.quarter(of.step))


def stroke(time: float, number: int, velocity: int = 80) -> Stroke:
    """A stroke so many seconds after the first downbeat."""
    return Stroke(START + time, START + time, number, velocity)


def taken(strokes: Iterable[Stroke]) -> Take:
    ordered = tuple(sorted(strokes, key=lambda each: each.time))
    return Take("take.mid", ordered, ordered[-1].time + 1)


def played(of: Exercise, late: Callable[[Due], float | None] = lambda _: 0.0) -> Take:
    """A take, steady to 8 ms, in which each stroke comes so much later; None for never."""
    chance = random.Random(1)
    last = BARS * 16 * step(of)
    return taken(
        stroke(
            due.time + by + chance.gauss(0, 0.008),
            KIT.note(due.hit.voice),
            LEVELS[due.hit.strength] + chance.randint(-5, 5),
        )
        for due in expected(of, KIT, last)
        if due.time < last - 0.01 and (by := late(due)) is not None
    )


def bars_of(of: Exercise, *bars: int) -> Callable[[Stroke], bool]:
    """Whether a stroke is in one of these bars, from 1."""
    length = 16 * step(of)
    return lambda each: int((each.time - START + step(of) / 2) // length) + 1 in bars


def each_bar(of: Exercise, at: float, number: int, velocity: int = 80) -> list[Stroke]:
    """A stroke in every bar, so many steps after its beginning."""
    return [stroke((16 * i + at) * step(of), number, velocity) for i in range(BARS)]


def fill(of: Exercise, bar: int) -> list[Stroke]:
    """Sixteenths from drum to drum through the second half of a bar."""
    first = 16 * (bar - 1) + 8
    return [stroke((first + i) * step(of), number, 90) for i, number in enumerate(FILL)]


def tally(found: Review) -> dict[str, int]:
    """Whatever was not as written."""
    kinds = ("missed", "extra", "moved", "pulled", "added")
    return {kind: n for kind in kinds if (n := getattr(found.tally, kind))}


def first_rule(found: Review) -> str:
    return said(View(found))[0][0].name


# Pulled


@pytest.mark.parametrize("tempo", TEMPOS)
@pytest.mark.parametrize("share", [0.2, 0.5, 1.0])
@pytest.mark.parametrize("feet", ["bossa", "tumbao", "samba"])
def test_a_foot_that_goes_with_the_beat_is_pulled_and_that_is_the_sentence(
    tempo: int, share: float, feet: str
) -> None:
    of, chance, changed = paradiddle(tempo, feet), random.Random(2), []

    def late(due: Due) -> float:
        to_go = float(-due.hit.time % 1 / of.step) * step(of)
        # A bar is left whole at either end, for nobody knows what a take without them is of.
        inside = 1 < due.bar < BARS
        if due.hit.limb is Limb.RIGHT_FOOT and inside and to_go and chance.random() < share:
            changed.append(due)
            return to_go
        return 0.0

    found = review(played(of, late), of, KIT)
    assert tally(found) == {"pulled": len(changed)}
    assert {each.due for each in found.judged if each.kind == "pulled"} == {*changed}
    assert first_rule(found) == "pulled"
    # Neither its steadiness nor the others' is judged by those.
    assert all((each.timing.deviation_ms or 0) < 11 for each in found.limbs)


@pytest.mark.parametrize("tempo", TEMPOS)
@pytest.mark.parametrize("way", [-1, 1])
def test_off_by_a_third_of_a_step_is_loose_and_by_four_fifths_pulled(tempo: int, way: int) -> None:
    of = paradiddle(tempo)

    def by(share: float) -> Review:
        late = {Limb.LEFT_FOOT: way * share * step(of)}
        take = played(of, lambda due: late.get(due.hit.limb, 0.0) * (due.bar % 4 == 3))
        return review(take, of, KIT)

    assert not by(0.33).tally.pulled
    if 0.75 * step(of) > 0.09:  # nearer than 60 ms nothing is pulled; 30 for three deviations
        assert by(0.8).tally.pulled == 16


def test_a_foot_late_by_a_habit_is_not_pulled_however_fast_it_is() -> None:
    for tempo in TEMPOS:
        of = paradiddle(tempo)
        take = played(of, lambda due: 0.03 * (due.hit.limb is Limb.RIGHT_FOOT))
        assert tally(review(take, of, KIT)) == {}


def test_a_foot_that_leaves_a_stroke_out_is_not_pulled() -> None:
    of = paradiddle(80)
    take = played(of, lambda due: None if due.hit.limb is Limb.LEFT_FOOT and due.bar == 5 else 0.0)
    assert tally(review(take, of, KIT)) == {"missed": 4}


# Moved


@pytest.mark.parametrize("tempo", TEMPOS)
def test_a_hand_that_goes_to_another_cymbal_is_moved_and_neither_missed_nor_extra(
    tempo: int,
) -> None:
    of = groove(tempo)
    inside = bars_of(of, 5, 6, 7)
    take = played(of)
    moved = taken(
        replace(each, number=RIDE) if each.number == HIHAT and inside(each) else each
        for each in take.strokes
    )
    found = review(moved, of, KIT)
    assert tally(found) == {"moved": 24}
    assert {each.voice for each in found.judged if each.kind == "moved"} == {"ride"}
    assert all(
        each.due and each.off_ms is not None and abs(each.off_ms) < 40
        for each in found.judged
        if each.kind == "moved"
    )
    assert first_rule(found) == "moved"


@pytest.mark.parametrize("tempo", TEMPOS)
def test_a_hand_elsewhere_a_step_later_or_a_foot_instead_is_not_moved(tempo: int) -> None:
    of = groove(tempo)
    inside = bars_of(of, 5)
    take = played(of)
    gone = [each for each in take.strokes if not (each.number == HIHAT and inside(each))]
    late = [
        replace(each, number=CRASH, time=each.time + step(of))
        for each in take.strokes
        if each.number == HIHAT and inside(each)
    ]
    assert not review(taken([*gone, *late]), of, KIT).tally.moved
    kicks = [stroke((64 + i) * step(of), KICK) for i in (2, 6, 10, 14)]
    assert not review(taken([*gone, *kicks]), of, KIT).tally.moved


# Added


@pytest.mark.parametrize("tempo", TEMPOS)
def test_a_fill_is_moved_where_something_was_due_and_added_between(tempo: int) -> None:
    of = groove(tempo)
    inside = bars_of(of, 4, 8, 12)
    strokes = [
        each
        for each in played(of).strokes
        if not (each.number == HIHAT and inside(each))
        or (each.time - START + step(of) / 2) % (16 * step(of)) < 8 * step(of)
    ]
    fills = [each for bar in (4, 8, 12) for each in fill(of, bar)]
    assert tally(review(taken([*strokes, *fills]), of, KIT)) == {"moved": 12, "added": 12}


ADDED: dict[str, tuple[float, int, int]] = {
    # where in the bar in steps, on what, how loud: beside taps of 75 on the snare
    "a ghost note": (4.5, SNARE, 35),
    "a soft stroke just before a louder one": (3.7, TOM, 45),
    "a stroke between two, none the louder": (6.5, SNARE, 75),
}
WRONG: dict[str, tuple[float, int, int]] = {
    "a crash that is louder": (6.5, CRASH, 110),
    "a bass drum": (6.0, KICK, 75),
}


@pytest.mark.parametrize("name", [*ADDED, *WRONG])
def test_what_decorates_is_added_and_what_does_not_is_too_much(name: str) -> None:
    of = exercise(90, sticking="RLRRLRLL", feet="x.......", voicing="RH=snare, LH=snare")
    take = taken([*played(of).strokes, *each_bar(of, *(ADDED | WRONG)[name])])
    assert tally(review(take, of, KIT)) == {"added" if name in ADDED else "extra": BARS}


def test_another_rhythm_throughout_is_no_fill() -> None:
    of = groove(90)
    other = exercise(90, sticking="R--R--R-", feet="x...", voicing="RH=snare")
    found = review(played(other), of, KIT)
    assert not found.tally.added
    assert found.tally.clean < 0.6


# Triggers


@pytest.mark.parametrize("velocity, kind", [(30, "double trigger"), (70, "extra")])
def test_a_beater_that_bounces_back_is_no_stroke(velocity: int, kind: str) -> None:
    """70 ms after the stroke: a hard one there is a second stroke."""
    of = groove(90)
    take = taken([*played(of).strokes, *each_bar(of, 0.07 / step(of), KICK, velocity)])
    assert review(take, of, KIT).kinds == {kind: BARS}


@pytest.mark.parametrize("last", [64, 66, 70])
@pytest.mark.parametrize("tempo", TEMPOS)
def test_a_strong_rush_is_told_as_one_and_not_as_a_trigger_s_fault(tempo: int, last: int) -> None:
    """From 60 to `last`, or as much in proportion."""
    of = paradiddle(tempo)
    take = played(of)
    rise = (last / 60 - 1) / (take.strokes[-1].time - START)

    def sooner(time: float) -> float:
        since = time - START
        return START + since / (1 + rise * since / 2)

    found = review(taken(replace(each, time=sooner(each.time)) for each in take.strokes), of, KIT)
    assert first_rule(found) == "pace"
    assert not {"triggers", "extras"} & {rule.name for rule, _ in said(View(found))}


# Figures


def test_every_figure_counts_a_stroke_once() -> None:
    """By limb, count and round the kinds add up to the whole."""
    of, chance = paradiddle(100), random.Random(4)
    take = played(of, lambda _: chance.choice([0.0] * 8 + [step(of), None]))
    number = {KIT.note("snare"): TOM}
    strokes = [
        replace(each, number=number.get(each.number, each.number))
        if chance.random() < 0.1
        else each
        for each in take.strokes
    ]
    found = review(taken([*strokes, *each_bar(of, 6.5, CRASH, 120)]), of, KIT)
    assert all(getattr(found.tally, kind) for kind in ("hit", "missed", "moved", "pulled", "extra"))
    for parts in (found.counts, found.rounds, found.limbs):
        for kind in ("expected", "hit", "missed", "moved", "pulled"):
            whole = sum(getattr(each.tally, kind) for each in parts)
            assert whole == getattr(found.tally, kind), kind
    kinds = [each.kind for each in found.judged]
    assert Tally.of({kind: kinds.count(kind) for kind in {*kinds}}) == found.tally
    assert all((each.due is None) == (each.off_ms is None) for each in found.judged
               if each.kind != "missed")  # fmt: skip
