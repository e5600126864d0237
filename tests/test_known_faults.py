"""Reviews as the drummer reads them who knows what he did: takes with one fault, or none.

Made up from exercises, limb by limb, with a human spread of 8 to 15 ms.
"""

import random
import re
from collections.abc import Callable, Iterable, Sequence
from datetime import date
from functools import cache
from math import log
from typing import NamedTuple

import pytest
from synthetic import KIT, LEVELS

import midiforge
from midiforge.hear.choice import Reviewed
from midiforge.hear.expected import expected
from midiforge.hear.take import Stroke, Take
from midiforge.model.exercise import Exercise
from midiforge.practice.reviewed import entry_of
from midiforge.practice.steps import Steps
from midiforge.session import Session

HANDS, FEET = ("RH", "LH"), ("RF", "LF")
SEEDS = range(6)
LATCH = {
    "sticking": ">RLL>R LR>RL", "feet": "1 2& 4; 2, 4", "stages": "full",
    "placements": "beat", "tempos": "66, 76, 86",
    "voicing": "RH=hihat-closed, LH=snare, RH accent=ride, LH accent=tom-high",
}  # fmt: skip
ONE = {**LATCH, "placements": "1", "tempos": "76", "voicing": "RH=hihat-closed, LH=snare"}


class Played(NamedTuple):
    """A stroke as somebody means it. at: quarter notes from the first downbeat."""

    at: float
    limb: str
    voice: str
    strength: str
    bar: int
    place: float

    def but(self, **what: object) -> "Played":
        return self._replace(**what)  # type: ignore[arg-type]


@cache
def session(**keys: str) -> Session:
    return Session(midiforge.check_drill(dict(keys)), log=None)


def exercise(number: str, **keys: str) -> Exercise:
    return session(**keys).lesson.select(number)[0]


def written(of: Exercise, bars: int = 12) -> list[Played]:
    quarter = float(60 / (of.tempo.first * of.tempo.pulse))
    length = bars * float(of.meter.bar)
    return [
        Played(due.time / quarter, hit.limb, hit.voice, hit.strength, due.bar, float(due.place))
        for due in expected(of, KIT, (length + 1) * quarter)
        if due.time / quarter < length - 1e-6
        for hit in due.hits
        if hit.limb
    ]


def take(
    strokes: Iterable[Played],
    seed: int,
    tempo: float = 76.0,
    seconds: Callable[[float], float] | None = None,
    before: Sequence[tuple[float, str, int]] = (),
) -> Take:
    """seconds: of each moment in quarter notes. before: other strokes, when, on what, how hard."""
    chance = random.Random(seed)
    spread = {limb: chance.uniform(0.008, 0.015) for limb in (*HANDS, *FEET)}
    at = seconds or (lambda quarters: 60 * quarters / tempo)
    some = [
        (8 + at(one.at) + chance.gauss(0, spread[one.limb]), one.voice, LEVELS[one.strength])
        for one in strokes
    ]
    struck = sorted([*some, *((8 + time, voice, level) for time, voice, level in before)])
    return Take(
        "take.mid",
        tuple(
            Stroke(time, time, KIT.note(voice), max(1, min(127, round(chance.gauss(level, 6)))))
            for time, voice, level in struck
        ),
        struck[-1][0] + 1,
        tempos=((0.0, 120.0),),  # as in files for which nobody has set one
    )


def heard(some: Take, number: str = "", **keys: str) -> Reviewed:
    return session(**keys).review(some, number)


def said(review: Reviewed) -> str:
    return "\n".join(midiforge.sentences(review))


@pytest.mark.parametrize("number", ["2b", "4b"])
def test_noodling_up_to_the_first_stroke_makes_it_no_other_exercise(number: str) -> None:
    pads = ("snare", "hihat-closed", "bass-drum", "tom-high", "ride")
    of = exercise(number, **LATCH)
    for seed in range(16):
        chance, now, noodling = random.Random(77 * seed), -6.0, list[tuple[float, str, int]]()
        while now < -0.2:
            noodling.append((now, chance.choice(pads), chance.randint(30, 110)))
            now += chance.choice((0.1, 0.15, 0.2, 0.3, 0.5))
        review = heard(take(written(of), seed, before=noodling), **LATCH)
        assert str(review.review.exercise.number) == number
        assert review.review.start == pytest.approx(8, abs=0.05)


def changed(strokes: list[Played]) -> list[Played]:
    """Each hand plays on its own drum what is written for the other."""
    own = {one.limb: one.voice for one in strokes if one.limb in HANDS}
    other = dict(zip(HANDS, HANDS[::-1], strict=True))
    return [
        one.but(limb=other[one.limb], voice=own[other[one.limb]]) if one.limb in HANDS else one
        for one in strokes
    ]


@pytest.mark.parametrize("sticking", [">RLL>R LR>RL", ">RLRR >LRLL", "RLR RL RLL RRL RLR RL"])
def test_who_begins_with_the_other_hand_is_told_so_and_nothing_of_the_feet(sticking: str) -> None:
    """Of a paradiddle that is the same as to begin half of it later, but for the feet."""
    keys = {**ONE, "sticking": sticking}
    for seed in SEEDS:
        review = heard(take(changed(written(exercise("1", **keys))), seed), **keys)
        assert not review.is_it
        assert "with the hands changed over" in said(review).split(":")[0]
        assert len(said(review).splitlines()) == 1


def test_accents_on_the_drum_of_the_taps_are_no_hands_that_are_changed_over() -> None:
    for seed in SEEDS:
        some = [
            one.but(voice="hihat-closed") if one.voice == "ride" else one
            for one in written(exercise("2b", **LATCH))
        ]
        review = heard(take(some, seed), **LATCH)
        assert said(review).startswith("Your right hand plays")
        assert "on hihat-closed instead of ride" in said(review)


FLAMS = {**ONE, "sticking": "lR L R L rL R L R", "voicing": "hands=snare", "feet": "1 3; 2, 4"}


@pytest.mark.parametrize(
    ("apart_ms", "told"),
    [(30, ""), (0, "flams are flat"), (100, "flams are wide"), (None, "have no grace note")],
)
def test_grace_notes_are_told_and_taken_for_no_pad_that_rings(
    apart_ms: float | None, told: str
) -> None:
    strokes = written(of := exercise("1", **FLAMS))
    flams = {float(hit.time % 4) for hit in of.hits if hit.ornament}
    quarter = 60_000 / 76
    graces = [
        one.but(at=one.at - (apart_ms or 0) / quarter, limb="LH", strength="ghost")
        for one in strokes
        if one.limb in HANDS and one.place in flams and apart_ms is not None
    ]
    for seed in SEEDS:
        text = said(heard(take([*strokes, *graces], seed), **FLAMS))
        assert "rings" not in text
        assert told in text and ("grace note" in text) == bool(told)


def test_a_clean_take_is_told_of_nothing() -> None:
    """What lies within its own error of a limit is no fault."""
    clean = 0
    for seed in range(24):
        text = said(heard(take(written(exercise("2b", **LATCH)), seed), **LATCH))
        clean += text.startswith("All ") and "\n" not in text
    assert clean >= 23


def test_hardly_more_than_a_bar_says_nothing_of_the_tempo() -> None:
    for seed in range(24):
        some = [one for one in written(exercise("2b", **LATCH)) if one.at < 4.6]
        text = said(heard(take(some, seed), "2b", **LATCH))
        assert "rush" not in text and "drag" not in text


def test_accents_on_drums_of_their_own_are_not_said_to_be_moved() -> None:
    """How loud a drum is beside another is the module's doing."""
    loud = {"ride": 60, "tom-high": 60, "hihat-closed": 110, "snare": 110}
    for seed in SEEDS:
        some = [
            one.but(strength="accent" if loud.get(one.voice, 0) > 100 else "tap")
            for one in written(exercise("2b", **LATCH))
        ]
        assert "accents come" not in said(heard(take(some, seed), **LATCH))


def test_a_pedal_just_within_its_limit_is_said_to_be_late() -> None:
    quarter = 60_000 / 76
    for seed in SEEDS:
        some = [
            one.but(at=one.at + (25 / quarter if one.limb == "LF" else 0))
            for one in written(exercise("2b", **LATCH))
        ]
        assert re.search(
            "^All 252 strokes clean.*; your left foot comes [0-9]+ ms late, less than the 35 ms",
            said(heard(take(some, seed), "2b", **LATCH)),
        )


def test_a_step_of_triplets_is_said_as_drummers_say_it() -> None:
    triplets = {**ONE, "sticking": "RLL RRL", "steps": "3", "feet": "1 3; 2, 4"}
    strokes = written(exercise("1", **triplets))
    for steps, name in ((1, "a triplet eighth"), (2, "a triplet quarter")):
        some = [one.but(at=one.at + (one.limb in HANDS) * steps / 3) for one in strokes]
        text = said(heard(take(some, 1), **triplets))
        assert f"{name} ahead of the hands" in text


@pytest.mark.parametrize(
    "played",
    [
        {"sticking": "RLRR LRLL", "meter": "2/4", "feet": "1 2&; 2"},
        {"sticking": ">RLL >RRL", "steps": "3", "feet": "1 3; 2, 4"},
    ],
)
def test_what_is_not_the_drill_s_only_exercise_is_said_to_be_something_else(
    played: dict[str, str],
) -> None:
    other = {**ONE, **played}
    for seed in SEEDS:
        review = heard(take(written(exercise("1", **other)), seed), **ONE)
        assert re.match("(You play something else than|This is hardly) exercise 1", said(review))


@pytest.mark.parametrize("share", [2 / 3, 3 / 4])
@pytest.mark.parametrize("keys", [LATCH, ONE, {**ONE, "sticking": "RLR RL RLL RRL RLR RL"}])
def test_sixteenths_swung_hard_are_no_lost_place(keys: dict[str, str], share: float) -> None:
    of = exercise("2b" if keys is LATCH else "1", **keys)
    swung = [
        one.but(at=one.at + (share - 0.5) / 2) if abs(one.at % 0.5 - 0.25) < 1e-6 else one
        for one in written(of, 16)
    ]
    for seed in range(1, 8):
        text = said(heard(take(swung, seed), str(of.number), **keys))
        assert text.startswith("You swing what is written straight") and "\n" not in text


@pytest.mark.parametrize("at", [17, 18, 21])
@pytest.mark.parametrize(
    "keys",
    [
        {**ONE, "sticking": "R (L) (L) R (L) (L) R L", "feet": "1 3; 2, 4"},
        {**ONE, "sticking": ">RLL >RRL", "steps": "3", "feet": "1 3; 2, 4"},
        {**ONE, "sticking": "RLRR LRLL", "meter": "2/4", "feet": "1 2&; 2"},
    ],
    ids=["ghosts", "triplets", "2/4"],
)
def test_a_beat_left_out_is_told_once_and_in_its_bar(keys: dict[str, str], at: float) -> None:
    of = exercise("1", **keys)
    strokes = written(of, 32 if of.meter.bar == 2 else 16)
    some = [
        one.but(at=one.at - (one.at > at))
        for one in strokes
        if not at - 1e-6 < one.at < at + 1 - 1e-6
    ]
    for seed in SEEDS:
        text = said(heard(take(some, seed), **keys))
        assert text.startswith(f"You lose the place in bar {int(at // of.meter.bar) + 1} ")
        assert "\n" not in text


@pytest.mark.parametrize("to", [84, 92, 70])
def test_who_rushes_or_drags_goes_on_at_the_tempo_that_he_began_at(to: int) -> None:
    strokes = written(exercise("2b", **LATCH))
    change = (to - 76) / 48  # a quarter note, so that the tempo changes evenly

    def seconds(quarters: float) -> float:
        return 60 / change * log((76 + change * quarters) / 76)

    for seed in SEEDS:
        some = take(strokes, seed, seconds=seconds)
        review = heard(some, **LATCH)
        assert said(review).startswith("You rush" if to > 76 else "You drag")
        assert str(review.review.exercise.number) == "2b"
        entry = entry_of(review.review, "Latch", b"", day=date(2026, 1, 1))
        assert Steps.of(session(**LATCH).drill).meant(entry) == 76
