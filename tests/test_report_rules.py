"""Where each rule of a review's sentence begins to speak: just short of it silent, from it on not.

The thresholds are those that the rules' own files give, with their sources there: I. J. Hirsh
1959, A. Friberg and J. Sundberg 1995 (from memory), common practice of teachers, or ours.
"""

import re
from collections.abc import Callable
from fractions import Fraction
from math import sqrt
from types import SimpleNamespace as Made
from typing import Any

import pytest

from midiforge.hear.figures import (
    DoubleFigures,
    GraceFigures,
    Levels,
    LoudnessFigures,
    Tally,
    Timing,
)
from midiforge.hear.known import Other, likelier
from midiforge.model.hit import HANDS, Limb, OrnamentKind, Strength
from midiforge.model.number import Number
from midiforge.model.swing import Swing, read_ratio
from midiforge.report.rules.besides import (
    added,
    extras,
    fills,
    free,
    moved,
    otherwise,
    pulled,
    triggers,
)
from midiforge.report.rules.case import Case, Finding
from midiforge.report.rules.evenness import doubles, loose_count, unsteady
from midiforge.report.rules.graces import graces
from midiforge.report.rules.loudness import accents, accents_moved, ghosts, hands_unequal
from midiforge.report.rules.missing import (
    count_falls_apart,
    limb_drops_out,
    lost,
    silent,
    stands_out,
    stops,
    strokes_missing,
)
from midiforge.report.rules.pace import half_or_double, off_the_click, pace, ramp
from midiforge.report.rules.right import other_exercise, short
from midiforge.report.rules.shifted import shifted
from midiforge.report.rules.swung import swung
from midiforge.report.rules.together import apart, early_or_late, now_one_now_the_other
from midiforge.report.sentence import RULES
from midiforge.report.view import Lane

HAND, FOOT = Limb.RIGHT_HAND, Limb.LEFT_FOOT
NOTHING_WRONG = Tally(1000, 1000)
EXERCISE = Made(number=Number(7), title="one", touch=Made(flam_ms=30.0, drag_ms=35.0))


def case(view: Any = None, others: Any = (), **review: Any) -> Any:
    """What a rule is asked about: a clean take but for what is named."""
    usual: dict[str, Any] = {
        "tally": NOTHING_WRONG, "limbs": [], "tempos": [], "doubles": [], "together": [],
        "graces": [],
        "line": Made(jumps=[]), "like": 0.9, "exercise": EXERCISE, "step_ms": 100.0,
        "tempo": 100.0, "played_tempo": 100.0, "drift_ms_per_bar": 0.0, "thirds": None,
        "bars": 10.0,
        "delay_ms": None, "known_delay_ms": None, "judged": [], "kinds": {}, "tempo_ratio": 1,
    }  # fmt: skip
    said = Made(**usual | review)
    whole, known = said.delay_ms, said.known_delay_ms
    said.own_ms = None if whole is None or known is None else whole - known
    seen: dict[str, Any] = {
        "uncertain": frozenset(), "lanes": [], "silent_bars": [], "last_bar": 10, "extras": [],
        "besides": [], "extra_counts": [], "meetings": [], "has_dynamics": True, "review": said,
        "bar_starts": lambda last: list(range(last)), "columns": lambda _: [],
    }  # fmt: skip
    looked = Made(**seen | (view or {}))
    looked.lanes_of = lambda limb: [lane for lane in looked.lanes if limb in lane.limbs]
    looked.count = str
    looked.bars_of_besides = lambda: looked.besides
    return Case(looked, Made(likelier_kit="", others=others))  # type: ignore[arg-type]


def lane(hit: int, missed: int, limb: Limb = HAND, count: str = "1") -> Lane:
    return Lane(count, 0, (limb,), [0.0] * hit, [1] * hit, [1] * missed)  # type: ignore[arg-type]


def spread_lanes(usual: float, wide: float, strokes: int = 4000) -> list[Lane]:
    """Four places with the usual deviation in ms, a fifth with another."""
    found = []
    for deviation in (usual,) * 4 + (wide,):
        off = deviation * sqrt((strokes - 1) / strokes)
        found.append(Lane("1", 0, (HAND,), [off, -off] * (strokes // 2)))  # type: ignore[arg-type]
    return found


def limb(missed: int, expected: int = 1000, which: Limb = HAND, **more: Any) -> Any:
    levels = more.pop("levels", Levels(None, None, None, None, None))
    timing = more.pop("timing", Timing(expected, 0.0, 0.0, 0.0))
    tally = Tally(expected, expected - missed)
    return Made(limb=which, tally=tally, timing=timing, levels=levels, certain=True)


def dropping(missed: int, others: int, counts: tuple[int, ...] = (0, 0)) -> Any:
    """A hand that misses, a foot that misses less; how the hand's misses lie on its counts."""
    lanes = [*(lane(10, each) for each in counts), *(lane(10, 0, FOOT, each) for each in "12")]
    return case({"lanes": lanes}, limbs=[limb(missed), limb(others, which=FOOT)])


def levels(**given: Any) -> Any:
    usual = {"accent": 110.0, "tap": 70.0, "ghost": None, "ratio": 1.5, "overlap": 0.0}
    made = Levels(**usual | {"times": (4, 4, 4)} | given)
    loudness = [LoudnessFigures("snare", whose, made) for whose in (None, HAND)]
    return case(limbs=[limb(0, 8)], loudness=loudness)


def two_hands(left: int, right: int = 100, strokes: int = 8, pads: str = "ss") -> Any:
    """Taps of both hands by their velocities, each on the pad of its letter."""
    return case(
        judged=[
            Made(kind="hit", velocity=velocity, voice=pad,
                 due=Made(hits=(0,), hit=Made(limb=hand, strength=Strength.TAP)))
            for hand, velocity, pad in zip(HANDS, (right, left), pads, strict=True)
            for _ in range(strokes)
        ]
    )  # fmt: skip


def double(late: float = 0.0, softer: float = 1.0, times: int = 4, step: float = 100.0) -> Any:
    figures = DoubleFigures(HAND, times, late, 1.0, softer)
    return case(doubles=[figures], step_ms=step)


def flams(times: int, heard: int, gap: float | None = 30.0) -> Any:
    return case(graces=[GraceFigures(OrnamentKind.FLAM, times, heard, gap)])


def uneven(spread: float, percent: float, strokes: int = 8) -> Any:
    return case(limbs=[limb(0, strokes, timing=Timing(strokes, 0.0, spread, percent))])


def rising(share: float, percent: float = 0.0, spread: float = 0.0) -> Any:
    def at(tempo: float, right: float, timing: Timing) -> Any:
        return Made(tempo=tempo, tally=Tally(1000, round(1000 * right)), timing=timing)

    good = at(60.0, 1.0, Timing(1000, 0.0, 1.0, 1.0))
    return case(tempos=[good, at(70.0, share, Timing(1000, 0.0, spread, percent))])


def met(gap: float, deviation: float, times: int, foot: Limb = Limb.RIGHT_FOOT) -> Any:
    meeting = Made(limbs=(HAND, foot), counts=("1",), times=times, gap_ms=gap,
                   deviation_ms=deviation)  # fmt: skip
    return case({"meetings": [meeting]})


def drifting(a_bar: float, bars: float, step: float, played: float = 100.0) -> Any:
    return case(drift_ms_per_bar=a_bar, bars=bars, step_ms=step, played_tempo=played)


def getting_faster(to: float, played: float = 110.0) -> Any:
    return case(thirds=(100.0, to), drift_ms_per_bar=-1.0, played_tempo=played)


def too_many(extra: int, expected: int) -> Any:
    return case({"extras": [Made(voice="snare")] * extra}, tally=Tally(expected, expected, extra))


def missing(expected: int, hit: int) -> Any:
    return case(tally=Tally(expected, hit))


def silent_bars(expected: int, last: int) -> Any:
    silent = Lane("1", 0, (HAND,), missed=[3])  # type: ignore[arg-type]
    view = {"silent_bars": [3], "last_bar": last, "lanes": [silent]}
    return case(view, tally=Tally(expected, expected - 1))


def on_counts(*lanes: tuple[int, int]) -> Any:
    return case({"lanes": [lane(hit, missed) for hit, missed in lanes]})


def spreads(usual: float, wide: float, step: float = 50.0, strokes: int = 4000) -> Any:
    return case({"lanes": spread_lanes(usual, wide, strokes)}, step_ms=step)


def elsewhere(kind: str, times: int, voice: str = "ride", off: float = 100.0) -> Any:
    """So many of forty strokes moved or pulled, from 2 on."""
    due = Made(place=1, hits=(Made(limb=HAND),), hit=Made(limb=HAND, voice="snare"))
    judged = [Made(kind=kind, due=due, voice=voice, off_ms=off)] * times
    exercise = Made(step=1, meter=Made(bar=4), number=Number(7), title="one")
    return case({"lanes": [lane(40 - times, 0), lane(0, times, FOOT, "2")]}, judged=judged,
                exercise=exercise, tally=Tally(400, 400 - times))  # fmt: skip


def besides(number: int, expected: int) -> Any:
    return case(tally=Tally(expected, expected, added=number))


def around(away: int, besides: int) -> Any:
    return case(tally=Tally(1000, 1000 - away, besides))


def learnt_wrongly(hand: int, foot: int) -> Any:
    """So many of four hundred strokes never as written, each of four times."""
    judged = [
        Made(kind="missed" if i < never else "hit", due=due)
        for limb, never in ((HAND, hand), (FOOT, foot))
        for i in range(50)
        for due in [Made(place=i, hits=(limb, i), hit=Made(limb=limb))] * 4
    ]
    exercise = Made(step=Fraction(1, 4), swing=Swing(Fraction(1), Fraction(1, 2)), number=Number(7))
    return case(judged=judged, exercise=exercise, tally=Tally(400, 400 - 4 * (hand + foot)))


def instead(missed: int, besides: int) -> Any:
    """So many of the strokes of bar 3 missing, and so many others there."""
    lanes = [Lane("1", 0, (HAND,), missed=[3] * missed)]  # type: ignore[arg-type]
    return case({"lanes": lanes, "besides": [3] * besides}, tally=Tally(400, 400 - missed))


def stopping(missed: int, of: int) -> Any:
    """So many of a limb's strokes of bar 3 missing."""
    bars = [1, 2] * of + [3] * (of - missed)
    lanes = [Lane("1", 0, (HAND,), [0.0] * len(bars), bars, [3] * missed)]  # type: ignore[arg-type]
    return case({"lanes": lanes}, limbs=[limb(missed, 3 * of)])


def struck(accents: str, loud: str, apart: bool = False) -> Any:
    """Strokes of a hand: which are accents, and which are loud, by the same letter; apart: whether
    accents have a drum of their own."""
    judged = [
        Made(kind="hit", velocity=110 if letter == ">" else 70,
             due=Made(bar=1, pad=meant if apart else "snare",
                      hit=Made(limb=HAND, strength=Strength(meant))))
        for letter, meant in zip(loud, ["accent" if each == ">" else "tap" for each in accents],
                                 strict=True)
    ]  # fmt: skip
    return case(judged=judged)


def swinging(late_ms: float, written: str = "1:1") -> Any:
    """Eighths on a grid of them, at a step of 100 ms: so late is every second one."""
    eighth, share = Fraction(1, 2), read_ratio(written)
    played = Made(step=eighth, swing=Swing(Fraction(1), share))
    lanes = [Lane("&", second * eighth, (hand,), [late_ms if second else 0.0] * 4)
             for hand in HANDS for second in (0, 1)]  # fmt: skip
    return case({"lanes": lanes}, exercise=played)


def on_the_wrong_beats(of: int, elsewhere: int) -> Any:
    """A foot on 2 of so many bars, at a second a beat: some of them one beat late, the others
    missing."""
    exercise = Made(meter=Made(bar=Fraction(4)), step=Fraction(1))
    judged = []
    for i in range(of):
        due = Made(time=4.0 * i + 1, pad="hihat-pedal", bar=i + 1, hits=(Made(limb=FOOT),))
        judged.append(Made(kind="missed", due=due, time=None, voice="hihat-pedal"))
        if i < elsewhere:
            judged.append(Made(kind="extra", due=None, time=4.0 * i + 2, voice="hihat-pedal"))
    lanes = [Lane("2", Fraction(1), (FOOT,), missed=[*range(1, of + 1)])]
    line = Made(jumps=[], stretch=1.0, all=list)
    return case({"lanes": lanes}, judged=judged, exercise=exercise, line=line, step_ms=1000.0,
                limbs=[limb(0), limb(of, of, FOOT)])  # fmt: skip


def rung(times: int, expected: int) -> Any:
    judged = [Made(kind="double trigger", voice="snare")] * times
    return case(judged=judged, kinds={"double trigger": times}, tally=Tally(expected, expected))


def off_its_place(
    mean: float, deviation: float = 1.0, strokes: int = 8, on_a_count: float | None = None
) -> Any:
    timings = (Timing(strokes, mean, deviation, 1.0), Timing(1000, 0.0, 1.0, 1.0))
    both = zip((FOOT, HAND), timings, strict=True)
    # Of two the hand is told: it is to be nearer. So it is early by as much as the foot is late.
    offs = [0.0 if on_a_count is None else mean - on_a_count] * 4
    lanes = {"lanes": [Lane("1", 0, (HAND,), offs)]}  # type: ignore[arg-type]
    return case(lanes, limbs=[limb(0, 1000, which, timing=timing) for which, timing in both])


# The rule; a take just short of it; the take that it is about.
Rule = Callable[[Any], Finding | None]
PAIRS: dict[str, tuple[Rule, Any, Any]] = {
    "eight strokes are enough": (short, missing(9, 8), missing(9, 7)),
    "of fewer than eight strokes no other exercise is likelier": (
        short,
        case(tally=Tally(9, 1, 7), others=[Other(EXERCISE, 1.0)]),
        case(tally=Tally(9, 1, 6), others=[Other(EXERCISE, 1.0)]),
    ),
    "hardly this exercise below 40 %": (other_exercise, missing(100, 40), missing(100, 39)),
    "extras from 5 % on": (extras, too_many(9, 200), too_many(10, 200)),
    "extras from three on": (extras, too_many(2, 10), too_many(3, 10)),
    "strokes missing from 10 % on": (strokes_missing, missing(100, 91), missing(100, 90)),
    "strokes missing from three on": (strokes_missing, missing(20, 18), missing(20, 17)),
    "a limb from 10 % on": (limb_drops_out, dropping(99, 1), dropping(100, 1)),
    "a limb that misses twice as much": (limb_drops_out, dropping(200, 101), dropping(200, 100)),
    "a limb, not one of its counts": (
        limb_drops_out, dropping(200, 0, (150, 50)), dropping(200, 0, (149, 51))
    ),
    "silent bars of three strokes": (silent, silent_bars(29, 10), silent_bars(30, 10)),
    "a place lost once": (
        lost, case(), case(line=Made(jumps=[(2.5, 1.3)]))
    ),
    "around it from 10 % elsewhere on": (free, around(99, 250), around(100, 250)),
    "around it from 25 % besides on": (free, around(100, 249), around(100, 250)),
    "another exercise from 15 % on": (otherwise, learnt_wrongly(7, 7), learnt_wrongly(8, 7)),
    "not if it is one limb": (otherwise, learnt_wrongly(16, 5), learnt_wrongly(15, 5)),
    "something else from three on": (fills, instead(3, 2), instead(3, 3)),
    "a limb stops with six of ten": (stops, stopping(5, 10), stopping(6, 10)),
    "a limb stops with three": (stops, stopping(2, 2), stopping(3, 3)),
    "accents one late": (accents_moved, struck(">..." * 8, ">..." * 8),
                         struck(">..." * 8, ".>.." * 8)),
    "accents on the drum of the taps": (
        accents_moved, struck(">..." * 8, ".>.." * 8, apart=True), struck(">..." * 8, ".>.." * 8)
    ),
    "swung from 57 to 43 on": (swung, swinging(13.9), swinging(14.1)),
    # Two thirds of 200 ms are 133: 13.9 ms earlier is 59.7 %, 14.1 ms 59.6.
    "straight where 2:1 is written": (swung, swinging(-13.9, "2:1"), swinging(-14.1, "2:1")),
    "on other beats from 85 % on": (
        shifted, on_the_wrong_beats(20, 16), on_the_wrong_beats(20, 17)
    ),
    "on other beats from six on": (shifted, on_the_wrong_beats(5, 5), on_the_wrong_beats(6, 6)),
    "pulled from three on": (pulled, elsewhere("pulled", 2), elsewhere("pulled", 3)),
    "moved from 10 % on": (moved, elsewhere("moved", 3), elsewhere("moved", 4)),
    "added from 10 % on": (added, besides(39, 400), besides(40, 400)),
    "rings twice from 5 % on": (triggers, rung(19, 400), rung(20, 400)),
    "early or late on each count by half": (
        early_or_late, off_its_place(40, on_a_count=19.9), off_its_place(40, on_a_count=20.1)
    ),
    "early or late by 20 ms": (early_or_late, off_its_place(19.9), off_its_place(20.1)),
    "early or late over eight strokes": (
        early_or_late, off_its_place(40, strokes=7), off_its_place(40)
    ),
    "a ramp holds at 90 %": (ramp, rising(0.90), rising(0.899)),
    "a ramp is loose from 12.8 % on": (
        ramp, rising(1.0, 12.79, 21.0), rising(1.0, 12.81, 21.0)
    ),
    "a ramp is not loose within 20 ms": (ramp, rising(1.0, 20.0, 20.0), rising(1.0, 20.0, 20.1)),
    "a count from 20 % on": (count_falls_apart, on_counts((900, 0), (801, 199)),
                             on_counts((900, 0), (800, 200))),
    "a count from three on": (count_falls_apart, on_counts((6, 2)), on_counts((5, 3))),
    "a count of four strokes": (count_falls_apart, on_counts((0, 3)), on_counts((0, 4))),
    "loose from 1.6 times on": (loose_count, spreads(20, 31.9), spreads(20, 32.1)),
    "not loose within 20 ms": (loose_count, spreads(2, 19.9), spreads(2, 20.1)),
    "not loose within 8 %": (loose_count, spreads(2, 31.9, 400), spreads(2, 32.1, 400)),
    # Four standard errors of a deviation of six strokes: 4 / sqrt(2 * 6 - 2) = 1.265.
    "loose for sure": (loose_count, spreads(20, 45.2, 50, 6), spreads(20, 45.4, 50, 6)),
    "apart from 20 ms on": (apart, met(19.9, 1, 9), met(20.0, 1, 9)),
    "a hi-hat's pedal from 35 ms on": (apart, met(34.9, 1, 9, FOOT), met(35.0, 1, 9, FOOT)),
    "apart four times": (apart, met(30, 1, 3), met(30, 1, 4)),
    "apart by twice the standard error": (apart, met(20, 20.1, 4), met(20, 20.0, 4)),
    "now one, now the other from 25 ms on": (
        now_one_now_the_other, met(0, 25.0, 10**6), met(0, 25.1, 10**6)
    ),
    # Its own error, of nine times: a quarter of it.
    "now one, now the other for sure": (
        now_one_now_the_other, met(0, 33.3, 9), met(0, 33.4, 9)
    ),
    "below half the tempo": (
        half_or_double, case(played_tempo=50.0), case(played_tempo=49.9)
    ),
    "half the tempo": (half_or_double, case(tempo_ratio=1), case(tempo_ratio=0.5)),
    "twice the tempo": (half_or_double, case(tempo_ratio=1), case(tempo_ratio=2)),
    "off the click by 20 ms": (
        pace, drifting(1.99, 10, 50), drifting(2.0, 10, 50)
    ),
    "off the click by a quarter step": (pace, drifting(2.49, 10, 100), drifting(2.5, 10, 100)),
    "to the click within 0.6 %": (
        pace, drifting(3, 10, 50, 100.61), drifting(3, 10, 50, 100.59)
    ),
    "faster by 2.5 %": (pace, getting_faster(102.4), getting_faster(102.6)),
    "ahead by 20 ms": (
        off_the_click, case(delay_ms=24.9, known_delay_ms=5.0),
        case(delay_ms=25.0, known_delay_ms=5.0),
    ),
    "accents 1.25 times as loud": (accents, levels(ratio=1.25), levels(ratio=1.249)),
    "a fifth of taps as loud": (accents, levels(overlap=0.20), levels(overlap=0.201)),
    "four accents": (
        accents, levels(ratio=1.0, times=(3, 9, 0)), levels(ratio=1.0, times=(4, 9, 0))
    ),
    "four taps": (
        accents, levels(ratio=1.0, times=(9, 3, 0)), levels(ratio=1.0, times=(9, 4, 0))
    ),
    "four ghost notes": (
        ghosts, levels(ghost=70.0, times=(9, 9, 3)), levels(ghost=70.0, times=(9, 9, 4))
    ),
    "ghosts below 85 %": (ghosts, levels(ghost=59.5), levels(ghost=59.6)),
    "a hand at 80 % of the other": (hands_unequal, two_hands(80), two_hands(79)),
    "the other hand likewise": (hands_unequal, two_hands(100, 80), two_hands(100, 79)),
    "eight taps of each hand": (hands_unequal, two_hands(50, strokes=7), two_hands(50)),
    "hands on one pad": (hands_unequal, two_hands(50, pads="st"), two_hands(50)),
    "the second stroke at 80 %": (doubles, double(softer=0.80), double(softer=0.799)),
    "grace notes missing from 10 % on": (graces, flams(40, 37), flams(40, 36)),
    "grace notes missing from three on": (graces, flams(10, 8), flams(10, 7)),
    "flams flat below 10 ms": (graces, flams(8, 8, 10.0), flams(8, 8, 9.9)),
    "flams wide above 80 ms": (graces, flams(8, 8, 80.0), flams(8, 8, 80.1)),
    "four flams": (graces, flams(5, 3, 0.0), flams(6, 4, 0.0)),
    "doubles of four times": (doubles, double(softer=0.5, times=3), double(softer=0.5)),
    "doubles within 12 ms": (doubles, double(late=-12.0), double(late=-12.1)),
    "doubles within 5 % of a step": (doubles, double(20.0, step=400), double(20.1, step=400)),
    "unsteady from 8 % on": (unsteady, uneven(30, 8.0), uneven(30, 8.1)),
    "unsteady from 20 ms on": (unsteady, uneven(20.0, 9), uneven(20.1, 9)),
    "unsteady over eight strokes": (unsteady, uneven(30, 9, 7), uneven(30, 9, 8)),
}  # fmt: skip


def text_of(rule: Rule, case: Any) -> str:
    finding = rule(case)
    assert finding is not None
    return finding.text


@pytest.mark.parametrize("name", PAIRS)
def test_a_rule_speaks_from_its_threshold_on(name: str) -> None:
    rule, before, at = PAIRS[name]
    assert rule(before) is None
    assert text_of(rule, at).endswith(".")


def test_every_rule_with_a_threshold_is_here() -> None:
    without = {"other kit", "unsure", "hands changed over"}
    assert {rule.says for rule in RULES if rule.name not in without} == {
        rule for rule, *_ in PAIRS.values()
    }


def test_misses_stand_out_where_accidents_make_them_once_in_twenty() -> None:
    """By the binomial distribution: four of 28 at 5 % 0.0491, three of 17 0.0503."""
    assert stands_out(4, 28, 0.05, compared=1)
    assert not stands_out(3, 17, 0.05, compared=1)
    assert not stands_out(4, 28, 0.05, compared=2)  # shared among all that are compared


def test_another_exercise_is_likelier_by_a_tenth_and_if_it_is_like_the_take_at_all() -> None:
    def said(own: float, other: float) -> bool:
        return likelier(Made(like=own), [Other(EXERCISE, other)]) is not None  # type: ignore[arg-type]

    assert said(0.5, 0.601) and not said(0.5, 0.599)
    assert said(0.1, 0.451) and not said(0.1, 0.449)


def test_a_rare_count_does_not_hide_one_that_falls_apart() -> None:
    """Two misses of four are too few to say anything of; thirty of a hundred are not."""
    assert "30 of 100" in text_of(count_falls_apart, on_counts((2, 2), (70, 30), (100, 0)))


@pytest.mark.parametrize(
    "name", [name for name in PAIRS if not re.match("faster|half|twice", name)]
)
def test_no_rule_names_a_tempo_to_go_on_at(name: str) -> None:
    """What was played at 100, or in a ramp to 60 and 70, is sent to no other tempo."""
    rule, _, at = PAIRS[name]
    advised = re.split("[:;] ", text_of(rule, at))[-1]
    assert not re.search(r"\d|tempo|slow down|go up|once more", advised), advised
