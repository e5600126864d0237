"""How a review reads: the sentence and its rules, the terminal, JSON, and the HTML page in a real
browser.

Published values: S. Fujii et al., Music Perception 28(5), 2011, 491-503 (from its abstract).
The takes are made up with a known fault each (tests/synthetic.py).
"""

import json
import math
import random
import re
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import cache
from io import StringIO
from pathlib import Path
from statistics import mean
from typing import Any

import pytest
from browser import chromium, on_paper, sized
from rich.console import Console
from synthetic import KIT, synthetic

import midiforge
from midiforge.engraving.engrave import Engraver
from midiforge.errors import MidiforgeError
from midiforge.hear.expected import expected
from midiforge.hear.known import Known, Other
from midiforge.hear.review import Review, review
from midiforge.hear.take import Stroke, Take
from midiforge.model.exercise import Exercise
from midiforge.model.hit import Limb
from midiforge.model.number import read_named
from midiforge.model.swing import STRAIGHT, Swing
from midiforge.report import studies
from midiforge.report.facts import STROKE_COLUMNS, as_json, written
from midiforge.report.html import page, write_page
from midiforge.report.rules.missing import at_least
from midiforge.report.sentence import RULES, said, sentences
from midiforge.report.terminal import show_review
from midiforge.report.view import View

EXAMPLES = Path(__file__).parent.parent / "examples"
BOSSA = list(midiforge.exercises(midiforge.read_drill(EXAMPLES / "01-slack-water-bossa.toml")))
FULL, SURFACE = BOSSA[12], BOSSA[9]
HIHAT_FOOT, BASS_DRUM, SNARE = (KIT.note(of) for of in ("hihat-pedal", "bass-drum", "snare"))


STEP = "stay at 58: sing what is written while you play (play with --only 5a)"


def exercise(**keys: Any) -> Exercise:
    return next(iter(midiforge.exercises(midiforge.check_drill(keys))))


RAMP = exercise(
    sticking=">RLRRLL", feet="four-on-the-floor", ramp="60 to 100 by 10 every 4 bars", stages="full"
)
PARADIDDLE = exercise(
    sticking="RLRR LRLL", feet="x...", stages="full", voicing="RH=ride, LH=snare", tempos=[80]
)
ALMOST_PARADIDDLE = exercise(
    sticking="RRLR LRLL", feet="x...", stages="full", voicing="RH=ride, LH=snare", tempos=[80]
)
ON_SNARE = exercise(
    sticking=">RLRR >LRLL", feet="x...", stages="full", voicing="hands=snare", tempos=[70]
)
TWELVE = exercise(sticking="RLL", steps=12, feet="x..x", stages="full")
OFF_GRID = exercise(sticking="RLL", steps=3, feet="bossa-nova", stages="full")
GHOSTED = exercise(sticking=">R(L)RL L(R)LR", stages="hands", voicing="RH=ride", tempos=[70])

FLAMS = exercise(sticking="lR L R L rL R L R", stages="hands", voicing="hands=snare", tempos=[70])


def played(of: Exercise = FULL, seconds: float = 60, **how: Any) -> Take:
    return synthetic(of, 1, seconds, **how)[0]


def without(take: Take, gone: Callable[[int, Stroke], bool]) -> Take:
    kept = (stroke for i, stroke in enumerate(take.strokes) if not gone(i, stroke))
    return replace(take, strokes=tuple(kept))


def reviewed(take: Take | None = None, of: Exercise = FULL, delay: float | None = None) -> Review:
    return review(take or played(of), of, KIT, delay)


def sentence(found: Review, others: Sequence[Other] = (), known: Known | None = None) -> str:
    return sentences(found, known or Known(others))[0]


def points(found: Review, others: Sequence[Other] = ()) -> list[str]:
    return sentences(found, Known(others))[1:]


def rules(found: Review, known: Known | None = None) -> list[str]:
    return [rule.name for rule, _ in said(View(found), known or Known())]


def late_doubles(by: float, softer: float) -> Take:
    """The second of two strokes of one hand late and soft; of a paradiddle on two pads."""
    strokes = list(played(PARADIDDLE, jitter=0.003).strokes)
    for i in range(1, len(strokes)):
        if strokes[i].number == strokes[i - 1].number:
            one = strokes[i]
            strokes[i] = replace(one, time=one.time + by, velocity=round(one.velocity * softer))
    return replace(played(PARADIDDLE), strokes=tuple(strokes))


def weak_left(share: float) -> Take:
    """The left hand's strokes so much softer, on one surface."""
    take = played(SURFACE)
    hands = [hit.limb for hit in SURFACE.hits if hit.limb]
    strokes = (
        replace(one, velocity=round(one.velocity * share))
        if hands[i % len(hands)] is Limb.LEFT_HAND
        else one
        for i, one in enumerate(take.strokes)
    )
    return replace(take, strokes=tuple(strokes))


def unlucky(chance: float, since: float = 0.0) -> Callable[[int, Stroke], bool]:
    dice = random.Random(7)
    return lambda _, stroke: stroke.time >= since and dice.random() < chance


def lost_the_place() -> Take:
    take = played()
    later = (replace(s, time=s.time + 1.3 * (s.time > 20)) for s in take.strokes)
    return replace(take, strokes=tuple(later))


def in_order(strokes: Iterable[Stroke]) -> tuple[Stroke, ...]:
    return tuple(sorted(strokes, key=lambda stroke: stroke.time))


def pulled_foot(steps: int) -> Take:
    """Every second time the bass drum of 2& comes so many steps late."""
    take, step = played(), 60 / 58 / 4
    kicks = [stroke for stroke in take.strokes if stroke.number == BASS_DRUM]
    late = {id(stroke) for stroke in kicks[1::8]}
    strokes = (
        replace(one, time=one.time + steps * step) if id(one) in late else one
        for one in take.strokes
    )
    return replace(take, strokes=in_order(strokes))


def around_it() -> Take:
    """A fifth of the strokes left out, and a crash besides with each second one left."""
    take, dice = played(), random.Random(5)
    kept = [one for one in take.strokes if dice.random() > 0.2]
    others = [
        replace(one, time=one.time + 60 / 58 / 8, number=KIT.note("crash")) for one in kept[::2]
    ]
    return replace(take, strokes=in_order((*kept, *others)))


def on_another_drum() -> Take:
    """Every third stroke of the snare on the low tom, a little late as a reach is."""
    take, tom = played(), KIT.note("tom-low")
    snare = [stroke for stroke in take.strokes if stroke.number == SNARE]
    away = {id(stroke) for stroke in snare[::3]}
    strokes = (
        replace(one, time=one.time + 0.03, number=tom) if id(one) in away else one
        for one in take.strokes
    )
    return replace(take, strokes=in_order(strokes))


def with_fills() -> Take:
    """In bars 4 and 8 of the take a roll on the toms takes the place of what is written."""
    take, bar = played(), 4 * 60 / 58
    bars = [(3 + number * bar, 3 + (number + 1) * bar) for number in (3, 7)]
    kept = [
        one
        for one in take.strokes
        if not any(begin - 0.05 <= one.time < end - 0.05 for begin, end in bars)
    ]
    rolls = [
        replace(kept[0], time=begin + i * bar / 8, number=KIT.note("tom-low"))
        for begin, _ in bars
        for i in range(8)
    ]
    return replace(take, strokes=in_order((*kept, *rolls)))


def accents_late() -> Take:
    """Every accent one stroke of the hands late."""
    take = played(ON_SNARE)
    levels = [one.velocity for one in take.strokes if one.number == SNARE]
    later = iter([levels[-1], *levels[:-1]])
    strokes = (
        replace(one, velocity=next(later)) if one.number == SNARE else one for one in take.strokes
    )
    return replace(take, strokes=tuple(strokes))


def stopping() -> Take:
    """The bass drum is silent in bar 4."""
    begin, bar = 3 + 3 * 4 * 60 / 58, 4 * 60 / 58
    return without(
        played(),
        lambda _, one: one.number == BASS_DRUM and begin - 0.05 <= one.time < begin + bar - 0.05,
    )


def with_ghosts(share: float) -> Take:
    """So many of the strokes with a soft one of the snare half a step later."""
    take, dice = played(), random.Random(3)
    ghosts = [
        replace(one, time=one.time + 60 / 58 / 8, number=SNARE, velocity=30)
        for one in take.strokes
        if dice.random() < share
    ]
    return replace(take, strokes=in_order((*take.strokes, *ghosts)))


def loose_on_one_count() -> Take:
    """Every stroke that is the sixth of its bar by turns early and late."""
    take, bar = played(PARADIDDLE, jitter=0.003), 3.0
    at = 3 + 5 / 16 * bar
    strokes = (
        replace(one, time=one.time + (0.03, -0.03)[int((one.time - at) // bar) % 2])
        if abs((one.time - at + bar / 2) % bar - bar / 2) < 0.05
        else one
        for one in take.strokes
    )
    return replace(take, strokes=tuple(sorted(strokes, key=lambda one: one.time)))


def apart_on_one() -> Take:
    """The bass drum late on 1 alone."""
    take, bar = played(jitter=0.003), 4 * 60 / 58
    return replace(take, strokes=in_order(
        replace(one, time=one.time + 0.05)
        if one.number == BASS_DRUM and abs((one.time - 3 + 0.5) % bar - 0.5) < 0.05 else one
        for one in take.strokes
    ))  # fmt: skip


def swinging(of: Exercise, share: float) -> Take:
    """Every second sixteenth so far into its pair as a share."""
    quarter = float(of.tempo.quarter(Fraction(1)))

    def swung(one: Stroke) -> Stroke:
        within = ((one.time - 3) / quarter * 2 + 0.25) % 1
        return replace(one, time=one.time + (share - 0.5) * quarter / 2) if within >= 0.5 else one

    return replace(take := played(of), strokes=in_order(map(swung, take.strokes)))


def on_other_beats() -> Take:
    """The hi-hat's foot a beat early."""
    return replace(take := played(), strokes=in_order(
        replace(one, time=one.time - 60 / 58) if one.number == HIHAT_FOOT else one
        for one in take.strokes
    ))  # fmt: skip


def hands_behind() -> Take:
    """The hands a sixteenth late from bar 5 on."""
    take, feet = played(), (HIHAT_FOOT, BASS_DRUM)
    begins, step = 3 + 4 * 4 * 60 / 58 - 0.05, 60 / 58 / 4
    return replace(take, strokes=in_order(
        replace(one, time=one.time + step) if one.number not in feet and one.time > begins else one
        for one in take.strokes
    ))  # fmt: skip


def marked(late: float) -> Take:
    """A take that says when its first downbeat was due."""
    return replace(played(start=3 + late), start=3.0, exercise=read_named(str(FULL.number)))


def with_grace_notes() -> Take:
    take, dues = played(FLAMS), expected(FLAMS, KIT, 60)
    before = (
        replace(stroke, time=stroke.time - 0.03, velocity=40)
        for stroke, due in zip(take.strokes, dues, strict=False)
        if due.hit.ornament
    )
    return replace(take, strokes=in_order([*before, *take.strokes]))


# A take with the fault, and the rule that must name it first.
FAULTS: dict[str, Callable[[], Review]] = {
    "short": lambda: reviewed(replace(played(), strokes=played().strokes[:5])),
    "other exercise": lambda: reviewed(played(BOSSA[0]), FULL),
    "lost": lambda: reviewed(lost_the_place()),
    "silent": lambda: reviewed(played(silent_bars=range(5, 7))),
    "shifted": lambda: reviewed(on_other_beats()),
    "swung": lambda: reviewed(swinging(PARADIDDLE, 0.6), PARADIDDLE),
    "otherwise": lambda: reviewed(played(ALMOST_PARADIDDLE), PARADIDDLE),
    "free": lambda: reviewed(around_it()),
    "pulled": lambda: reviewed(pulled_foot(1)),
    "fills": lambda: reviewed(with_fills()),
    "stops": lambda: reviewed(stopping()),
    "accents moved": lambda: reviewed(accents_late(), ON_SNARE),
    "moved": lambda: reviewed(on_another_drum()),
    "added": lambda: reviewed(with_ghosts(0.15)),
    "triggers": lambda: reviewed(played(double=0.1)),
    "limb drops out": lambda: reviewed(
        without(played(), lambda i, stroke: stroke.number == HIHAT_FOOT and i % 2 == 0)
    ),
    "tempo": lambda: reviewed(without(played(RAMP, 200), unlucky(0.25, since=45)), RAMP),
    "strokes missing": lambda: reviewed(played(miss=0.2)),
    "count falls apart": lambda: reviewed(
        without(played(SURFACE), lambda i, _: i % 16 == 5 and i % 3 == 0), SURFACE
    ),
    "extras": lambda: reviewed(played(extra=0.15)),
    "apart": lambda: reviewed(apart_on_one()),
    "early or late": lambda: reviewed(played(PARADIDDLE, limbs={Limb.LEFT_HAND: 0.03}), PARADIDDLE),
    "now one, now the other": lambda: reviewed(played(jitter=0.0192, seconds=240)),
    "half or double": lambda: reviewed(played(stretch=2.0)),
    "pace": lambda: reviewed(played(drift=-0.0001)),
    "off the click": lambda: reviewed(marked(0.045), delay=5.0),
    "accents": lambda: reviewed(
        played(SURFACE, levels={"accent": 82, "tap": 75, "ghost": 35}), SURFACE
    ),
    "ghosts": lambda: reviewed(
        played(GHOSTED, levels={"accent": 115, "tap": 70, "ghost": 68}), GHOSTED
    ),
    "hands unequal": lambda: reviewed(weak_left(0.7), SURFACE),
    "grace notes": lambda: reviewed(of=FLAMS),
    "doubles": lambda: reviewed(late_doubles(0.022, 0.6), PARADIDDLE),
    "unsteady": lambda: reviewed(played(jitter=0.027)),
    "loose count": lambda: reviewed(loose_on_one_count(), PARADIDDLE),
    "clean": lambda: reviewed(),
}
# The same without the fault, where a clean take is not of the same exercise.
WITHOUT: dict[str, Callable[[], Review]] = {
    "tempo": lambda: reviewed(of=RAMP),
    "count falls apart": lambda: reviewed(of=SURFACE),
    "off the click": lambda: reviewed(marked(0.005), delay=5.0),
    "ghosts": lambda: reviewed(of=GHOSTED),
    "hands unequal": lambda: reviewed(weak_left(0.95), SURFACE),
    "grace notes": lambda: reviewed(with_grace_notes(), FLAMS),
    "doubles": lambda: reviewed(late_doubles(0.0, 1.0), PARADIDDLE),
}
FAULTS = {name: cache(fault) for name, fault in FAULTS.items()}  # each is looked at by many tests


def test_every_rule_has_a_take_that_sets_it_off() -> None:
    assert {rule.name for rule in RULES} == (
        {*FAULTS, "other kit", "unsure", "hands changed over"} - {"clean"}
    )


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_is_named_first(fault: str) -> None:
    assert rules(FAULTS[fault]())[0] == fault


@pytest.mark.parametrize("fault", [name for name in FAULTS if name != "clean"])
def test_a_take_without_the_fault_is_not_told_of_it(fault: str) -> None:
    assert fault not in rules(WITHOUT.get(fault, reviewed)())


def test_a_take_with_a_fault_is_not_called_clean() -> None:
    for fault in FAULTS:
        assert ("clean" in rules(FAULTS[fault]())) == (fault == "clean")


@pytest.mark.parametrize("steps", [-1, 1])
def test_a_foot_that_is_pulled_is_not_said_to_be_missing(steps: int) -> None:
    """The classic fault of independence; common practice of teachers calls it so."""
    text = sentence(reviewed(pulled_foot(steps)))
    assert text.startswith(f"Your right foot is pulled from 2& to {'2e' if steps < 0 else '2a'}")
    assert f"where the {'left' if steps < 0 else 'right'} hand is" in text


def test_what_is_on_other_counts_is_said_to_be_there() -> None:
    said = [sentence(reviewed(take)) for take in (on_other_beats(), hands_behind())]
    assert said[0].startswith("Your left foot plays on 1 and 3 instead of 2 and 4:")
    assert said[1].startswith("Your hands are a sixteenth behind the feet from bar 5 on:")
    assert rules(reviewed(hands_behind())) == ["shifted"]


@pytest.mark.parametrize(("share", "ratio"), [(0.6, "1.5:1"), (2 / 3, "2.0:1")])
def test_sixteenths_that_swing_are_no_late_doubles(share: float, ratio: str) -> None:
    found = reviewed(swinging(PARADIDDLE, share), PARADIDDLE)
    assert rules(found) == ["swung"]
    assert f"about {ratio} long to short" in sentence(found)


def test_straight_where_swing_is_written_is_told_as_that() -> None:
    swings = exercise(
        sticking="RLRR LRLL", feet="x...", stages="full", voicing="RH=ride, LH=snare", tempos=[80],
        swing="2:1", swing_pair="eighth", steps=2,
    )  # fmt: skip
    straight = swings.changed(swing=Swing(Fraction(1), STRAIGHT))
    found = reviewed(played(straight), swings)
    assert sentence(found).startswith("You play straight what is written swung (2:1")


def test_a_foot_that_is_pulled_from_several_counts_is_told_of_them() -> None:
    take, dice, step = played(), random.Random(2), 60 / 58 / 4
    strokes = (
        replace(one, time=one.time + dice.choice((-step, step)))
        if one.number == BASS_DRUM and dice.random() < 0.3
        else one
        for one in take.strokes
    )
    text = sentence(reviewed(replace(take, strokes=in_order(strokes))))
    way = "from [0-9][&a]? to [0-9][ea]"
    assert re.match(f"Your right foot is pulled, most {way}, {way} and {way} ", text)


@pytest.mark.parametrize("stretch", [0.5, 1.95, 2.4])
def test_another_tempo_is_told_where_hands_on_one_drum_fit_the_written_one(stretch: float) -> None:
    found = reviewed(played(ON_SNARE, stretch=stretch), ON_SNARE)
    assert rules(found)[0] == "half or double"
    assert found.tally.extra == found.tally.missed == 0


def test_noodling_before_the_exercise_is_none_of_it() -> None:
    dice, take = random.Random(4), played(start=9)
    before = [
        replace(take.strokes[0], time=0.2 * (i + dice.random()), number=dice.choice((36, 38, 45)))
        for i in range(35)
    ]
    found = reviewed(replace(take, strokes=(*in_order(before), *take.strokes)))
    assert rules(found) == ["clean"]
    assert found.tally.extra == found.tally.added == 0
    assert found.kinds["before"] == 35


def test_who_is_off_is_blamed_and_not_who_meets_him() -> None:
    late_hand = sentence(reviewed(played(limbs={Limb.LEFT_HAND: 0.035})))
    assert late_hand.startswith("Your left hand")
    late_foot = sentence(reviewed(played(limbs={Limb.RIGHT_FOOT: 0.035})))
    assert re.match("Your right foot comes 3[0-9] ms late everywhere:", late_foot)


def test_feet_that_come_after_the_hands_are_told_as_one() -> None:
    feet = {Limb.RIGHT_FOOT: 0.045, Limb.LEFT_FOOT: 0.045}
    text = sentence(reviewed(played(limbs=feet)))
    assert re.match("Your feet come 4[0-9] ms after the hands everywhere:", text) or re.match(
        "Your hands come 4[0-9] ms before the feet everywhere:", text
    )


def test_a_clean_take_at_another_tempo_says_at_which() -> None:
    assert "at 75.4 where 58 is written" in sentence(reviewed(played(stretch=1 / 1.3)))
    assert "where" not in sentence(reviewed(played(stretch=1.01)))


def test_one_cause_is_told_once() -> None:
    """A limb that drops out is not told again by its counts, nor by all strokes together."""
    assert rules(FAULTS["limb drops out"]()) == ["limb drops out"]
    assert rules(FAULTS["pulled"]()) == ["pulled"]
    assert rules(FAULTS["silent"]()) == ["silent"]


def test_the_likelier_exercise_is_named() -> None:
    other = Other(BOSSA[6], 0.95)
    found = reviewed(played(BOSSA[6]), FULL)
    assert f"exercise {BOSSA[6].number} looks likelier" in sentence(found, [other])
    assert points(found, [other]) == []
    clean = reviewed()
    assert "likelier" not in sentence(clean, [Other(BOSSA[6], clean.like + 0.05)])


def test_a_likelier_kit_comes_before_everything_but_the_length() -> None:
    assert "the kit electronic" in sentence(reviewed(), known=Known(likelier_kit="electronic"))


def test_the_limb_that_drops_out_is_named_with_its_figures() -> None:
    found = FAULTS["limb drops out"]()
    [foot] = [each for each in found.limbs if each.limb is Limb.LEFT_FOOT]
    text = sentence(found)
    assert text.startswith("Your left foot drops out")
    assert f"{foot.tally.missed} of {foot.tally.expected} strokes" in text


def test_a_ramp_says_up_to_which_tempo_it_holds() -> None:
    assert "holds up to 80 and falls apart from 90 on" in sentence(FAULTS["tempo"]())


def test_what_the_sticking_decides_is_said_to_be_of_the_sticking() -> None:
    text = sentence(FAULTS["count falls apart"]())
    assert text.startswith("By the sticking, the ")
    assert not sentence(FAULTS["accents"]()).startswith("By the sticking")


def test_bars_without_a_stroke_are_named() -> None:
    assert "bars 5-6" in sentence(FAULTS["silent"]())


def test_accidents_are_rarely_called_a_weakness() -> None:
    # Five in a hundred for each question asked, common practice of statistics; a take is asked
    # twice about misses (limbs, counts), once about spread.
    for how in ({"miss": 0.03}, {"miss": 0.07}, {"jitter": 0.012}):
        takes = [reviewed(synthetic(FULL, seed, 60, **how)[0]) for seed in range(60)]
        told = [name for found in takes for name in rules(found) if name != "clean"]
        assert len(told) <= 0.15 * len(takes), (how, told)


def test_how_likely_accidents_are_is_scipy_s_binomial() -> None:
    stats = pytest.importorskip("scipy.stats")
    for times, of, chance in ((3, 14, 0.03), (0, 5, 0.5), (40, 500, 0.05), (900, 15000, 0.055)):
        assert at_least(times, of, chance) == pytest.approx(
            stats.binom.sf(times - 1, of, chance), rel=1e-6
        )


def test_a_lost_place_is_named_by_its_bar() -> None:
    text = sentence(reviewed(lost_the_place()))
    assert text.startswith("You lose the place in bar")


def test_the_gap_and_the_limbs_that_land_apart_are_named() -> None:
    text = sentence(FAULTS["apart"]())
    gap = float(text.split(" ms ")[0].split()[-1])
    assert gap == pytest.approx(50, abs=4)
    assert "right foot" in text and "after the left hand on 1:" in text


def test_rushing_and_dragging_are_told_apart() -> None:
    assert sentence(FAULTS["pace"]()).startswith("You rush")
    assert sentence(reviewed(played(drift=0.0001))).startswith("You drag")
    own = sentence(reviewed(played(drift=-0.0008, stretch=0.9)))
    assert own.startswith("You rush, from ")


def test_one_velocity_throughout_says_nothing_of_accents() -> None:
    flat = replace(played(), strokes=tuple(replace(s, velocity=100) for s in played().strokes))
    found = reviewed(flat)
    assert rules(found) == ["clean"]
    assert "no dynamics" in printed(found)


def test_sentences_are_single_and_end() -> None:
    for fault in FAULTS.values():
        found = fault()
        for text in (sentence(found), *points(found)):
            assert (text[0].isupper() or text[0].isdigit()) and text.endswith(".")
            assert ". " not in text.replace("vs. ", "")
        assert len(points(found)) <= 5


# Published figures


def test_the_professionals_are_those_that_fujii_and_others_published() -> None:
    slow, fast = studies.professionals(60), studies.professionals(200)
    assert slow == studies.professionals(120)
    assert {limb: abs(each.mean_ms) for limb, each in slow.items()} == {
        Limb.RIGHT_HAND: 2, Limb.LEFT_HAND: 10, Limb.RIGHT_FOOT: 10,
    }  # fmt: skip
    assert slow[Limb.LEFT_HAND].mean_ms < 0 > slow[Limb.RIGHT_FOOT].mean_ms  # they preceded it
    assert fast[Limb.RIGHT_HAND].mean_ms == 10  # it was delayed
    assert Limb.LEFT_FOOT not in slow  # not measured
    for word in ("Fujii", "Music Perception 28(5), 2011, 491-503"):
        assert word in studies.SOURCE


# The terminal


def printed(
    found: Review, width: int = 80, encoding: str = "utf-8", known: Known | None = None
) -> str:
    class Out(StringIO):
        @property
        def encoding(self) -> str:  # type: ignore[override]
            return encoding

    out = Out()
    show_review(found, Console(file=out, width=width, no_color=True), known or Known())
    return out.getvalue()


@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize("width", [60, 80, 200])
def test_no_line_is_wider_than_the_terminal(fault: str, width: int) -> None:
    lines = printed(FAULTS[fault](), width).splitlines()
    if width >= 80:
        assert max(map(len, lines)) <= width
    assert lines[0].startswith(sentence(FAULTS[fault]())[:20])
    assert not any("\u2026" in line for line in lines if width >= 80)  # nothing cut short


@pytest.mark.parametrize("width", [40, 80, 120])
def test_what_to_do_next_stands_below_the_sentence(width: int) -> None:
    out = StringIO()
    show_review(reviewed(), Console(file=out, width=width), step=STEP)
    lines = out.getvalue().split("\n\n")[0].splitlines()
    assert " ".join(lines) == f"{sentence(reviewed())} Next: {STEP}"
    assert max(map(len, lines)) <= width


def test_without_colour_nothing_is_lost() -> None:
    found = FAULTS["limb drops out"]()
    coloured = StringIO()
    show_review(found, Console(file=coloured, width=80, force_terminal=True, color_system="256"))
    assert "\x1b[" in coloured.getvalue()
    assert "\x1b" not in printed(found)


def test_a_terminal_of_plain_letters_gets_plain_letters() -> None:
    assert printed(FAULTS["strokes missing"](), encoding="ascii").isascii()


def test_each_place_has_its_line_with_its_mean_where_it_is_due() -> None:
    found = reviewed(played(limbs={Limb.LEFT_FOOT: -0.045}))
    lines = printed(found, 100).splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith("Where strokes lie"))
    scale = lines[start + 1]
    centre = scale.index("|")
    [foot] = [line for line in lines[start:] if line.startswith("   H")][:1]
    [hand] = [line for line in lines[start:] if line.startswith("1e")][:1]
    assert foot.index("o") < centre - 5  # 45 ms ahead is to the left
    assert abs(hand.index("o") - centre) <= 3


def test_what_midi_cannot_tell_is_not_claimed() -> None:
    text = printed(reviewed(of=SURFACE))
    assert "can't tell the hands apart" in text and "right hand *" in text
    assert "can't tell the hands apart" not in printed(reviewed())


def test_delay_is_said_to_be_delay_and_habit_together_unless_it_is_known() -> None:
    assert "cannot be known" in printed(reviewed())
    unknown = printed(reviewed(marked(0.045)))
    [said_ms] = re.findall(r"came (\d+) ms after", " ".join(unknown.split()))
    assert int(said_ms) == pytest.approx(45, abs=3)
    assert "can't tell the two apart" in " ".join(unknown.split())
    known = " ".join(printed(reviewed(marked(0.045), delay=45.0)).split())
    assert "45 ms of delay that you gave" in known


def test_controls_in_names_do_not_reach_the_terminal() -> None:
    found = replace(reviewed(), source="a\x1b[2Jb.mid", remarks=("c\x07d",))
    assert "\x1b" not in printed(found) and "\x07" not in printed(found)


# The staff


def heads(found: Review) -> dict[str, list[tuple[float, float]]]:
    """Where the strokes of each limb are laid over the staff."""
    laid: dict[str, list[tuple[float, float]]] = {}
    for limb, x, y in re.findall(r'class="played (..)" cx="([-.\d]+)" cy="([.\d]+)"', page(found)):
        laid.setdefault(limb, []).append((float(x), float(y)))
    return laid


def test_a_limb_that_is_late_is_laid_to_the_right_of_what_is_written() -> None:
    even, late = heads(reviewed()), heads(reviewed(played(limbs={Limb.RIGHT_FOOT: 0.03})))
    assert even.keys() == late.keys() == {"RH", "LH", "RF", "LF"}
    shifts = {
        limb: mean(x - usual for (x, _), (usual, _) in zip(late[limb], even[limb], strict=True))
        for limb in even
    }
    assert shifts["RF"] > 5 > abs(shifts["RH"]) and abs(shifts["LF"]) < 5
    assert [y for _, y in late["RF"]] == [y for _, y in even["RF"]]  # on its own place


def test_every_written_stroke_has_its_head_and_its_misses_their_figure() -> None:
    found = reviewed(
        without(played(), lambda i, stroke: stroke.number == HIHAT_FOOT and i % 2 == 0)
    )
    once = {(hit.time, hit.limb) for hit in FULL.hits if hit.limb and 0 <= hit.time < 4}
    assert sum(map(len, heads(found).values())) == len(once)
    gone = re.findall(r'class="gone"[^>]*>(\d+)<', page(found))
    [foot] = [limb for limb in found.limbs if limb.limb is Limb.LEFT_FOOT]
    assert sum(map(int, gone)) == foot.tally.missed


def test_of_a_long_exercise_the_bars_that_need_most_are_shown_and_engraved(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    five = exercise(sticking="RLRRL", feet="x...", stages="full")
    assert five.returns_after_bars == 5 and "need most" not in page(reviewed(of=five))
    long = exercise(sticking="RLRRLRLRRLRLR", feet="x...", stages="full")
    assert long.returns_after_bars == 13
    engraved = []
    engrave = Engraver.bar
    monkeypatch.setattr(
        Engraver, "bar", lambda *given, **how: engraved.append(1) or engrave(*given, **how)
    )
    text = page(reviewed(of=long))
    assert len(engraved) == 4  # and none that is not
    assert "The bars that need most are shown" in text
    assert text.count('aria-label="bar ') == 4


def test_a_page_without_the_engraving_library_has_all_the_rest(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def missing(*_: object) -> None:
        raise MidiforgeError("pages need the package verovio")

    monkeypatch.setattr("midiforge.engraving.engrave.Engraver.__init__", missing)
    text = page(reviewed())
    assert "where you played it" not in text and "Every stroke about its place" in text


# JSON


def walk(value: Any) -> Iterator[Any]:
    yield value
    for each in (
        value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    ):
        yield from walk(each)


@pytest.mark.parametrize("fault", FAULTS)
def test_json_is_finite_and_comes_back_the_same(fault: str) -> None:
    facts = as_json(FAULTS[fault]())
    back = json.loads(written(facts), parse_constant=pytest.fail)
    assert back == facts
    assert all(math.isfinite(each) for each in walk(back) if isinstance(each, float))


def test_json_has_every_part_of_the_review_and_every_stroke() -> None:
    found = reviewed(played(miss=0.05, extra=0.05, double=0.05))
    facts = as_json(found)
    for name in ("limbs", "counts", "rounds", "together", "doubles", "tempos", "remarks"):
        assert len(facts[name]) == len(getattr(found, name)), name
    table = facts["strokes"]
    assert table["columns"] == list(STROKE_COLUMNS)
    rows = [dict(zip(table["columns"], row, strict=True)) for row in table["rows"]]
    assert len(rows) == len(found.judged)
    kinds = [row["kind"] for row in rows]
    assert kinds.count("hit") == found.tally.hit == facts["strokes_all"]["hit"]
    assert kinds.count("missed") == found.tally.missed
    assert kinds.count("extra") == found.tally.extra
    # The limbs' means come out again from the strokes.
    for limb in facts["limbs"]:
        offs = [
            row["off_ms"]
            for row in rows
            if row["limbs"] == limb["limb"] and row["off_ms"] is not None
        ]
        assert limb["mean_ms"] == pytest.approx(mean(offs), abs=0.06)


def test_every_number_of_the_json_names_its_unit() -> None:
    facts = as_json(reviewed())
    bare = {"bars", "exercise"}
    for name, value in facts.items():
        if isinstance(value, float):
            assert name in bare or name.endswith(("_ms", "_s", "_share", "_bpm", "_per_bar")), name


# The page


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    yield from chromium(tmp_path_factory.mktemp("chromium"))


PAGES: dict[str, Callable[[], Review]] = {
    "many faults": lambda: reviewed(
        played(miss=0.1, extra=0.06, double=0.03, jitter=0.02, limbs={Limb.LEFT_FOOT: -0.03})
    ),
    "one surface": lambda: reviewed(of=SURFACE),
    "ramp": FAULTS["tempo"],
    "short": FAULTS["short"],
    "twelve to the beat": lambda: reviewed(of=TWELVE),
    "off the grid": lambda: reviewed(of=OFF_GRID),
    "an hour": lambda: an_hour(),
}


def an_hour() -> Review:
    return reviewed(synthetic(FULL, 2, 7550, miss=0.03, extra=0.02, double=0.02)[0])


_TEXTS = """
const box = (e) => {
  const b = e.getBoundingClientRect();
  return [b.left, b.top, b.right, b.bottom];
};
const hidden = (e) => e.closest('details:not([open]) :not(summary)');
const out = [], pictures = [...document.querySelectorAll('svg')];
const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
while (walk.nextNode()) {
  const node = walk.currentNode;
  if (!node.textContent.trim() || hidden(node.parentElement)) continue;
  const range = document.createRange();
  range.selectNodeContents(node);
  for (const b of range.getClientRects())
    out.push([node.textContent.trim(), [b.left, b.top, b.right, b.bottom],
              pictures.indexOf(node.parentElement.closest('svg'))]);
}
return {texts: out, pictures: pictures.map(box),
        wide: document.documentElement.scrollWidth, room: innerWidth};
"""


def meet(one: list[float], two: list[float], by: float = 1.0) -> bool:
    return (
        one[0] < two[2] - by and two[0] < one[2] - by
        and one[1] < two[3] - 5 * by and two[1] < one[3] - 5 * by  # room about letters counts
    )  # fmt: skip


@pytest.mark.parametrize("width", [375, 1280])
@pytest.mark.parametrize("name", PAGES)
def test_nothing_overlaps_and_nothing_scrolls_sideways(
    browser: Any, tmp_path: Path, name: str, width: int
) -> None:
    path = tmp_path / "review.html"
    write_page(path, PAGES[name](), Known(chosen="the likeliest of 9 exercises"), STEP)
    sized(browser, width, 800)
    browser.get(path.as_uri())
    found = browser.execute_script(_TEXTS)
    assert found["wide"] <= found["room"] == width
    texts = sorted(found["texts"], key=lambda each: each[1][1])
    for i, (said_one, one, inside) in enumerate(texts):
        assert one[0] >= 0 and one[2] <= width + 0.5, said_one
        for said_two, two, _ in texts[i + 1 : i + 40]:
            assert not meet(one, two), (said_one, said_two)
        for number, drawn in enumerate(found["pictures"]):
            assert number == inside or not meet(one, drawn, 0.5), said_one
    assert len(found["pictures"]) >= 3


def test_the_page_loads_nothing_and_runs_nothing(browser: Any, tmp_path: Path) -> None:
    path = tmp_path / "review.html"
    write_page(path, PAGES["many faults"]())
    browser.get_log("performance")
    browser.get(path.as_uri())
    asked = [
        json.loads(entry["message"])["message"]["params"]["request"]["url"]
        for entry in browser.get_log("performance")
        if '"Network.requestWillBeSent"' in entry["message"]
    ]
    assert {url for url in asked if not url.startswith("data:")} == {path.as_uri()}
    text = path.read_text("utf-8").lower()
    assert "<script" not in text and "http:" not in text and "https:" not in text
    assert not [entry for entry in browser.get_log("browser") if entry["level"] == "SEVERE"]


def test_names_with_markup_come_out_as_text(browser: Any, tmp_path: Path) -> None:
    nasty = "</title><script>window.broken = 1</script><b>&amp; \"x\" 'y'"
    of = FULL.changed(title=nasty)
    found = replace(reviewed(played(), of), source=f"{nasty}.mid", remarks=(nasty,))
    known = Known(others=[Other(BOSSA[0].changed(title=nasty), 2.0)], chosen=nasty)
    path = tmp_path / "review.html"
    write_page(path, found, known)
    browser.get(path.as_uri())
    assert browser.execute_script("return window.broken") is None
    assert nasty in browser.find_element("css selector", "header").text
    assert browser.find_element("css selector", "h1").text.count("<script>") == 1
    assert browser.execute_script("return document.querySelectorAll('main b').length") <= 3


def test_the_sentence_is_the_biggest_thing_on_the_page(browser: Any, tmp_path: Path) -> None:
    found = FAULTS["limb drops out"]()
    path = tmp_path / "review.html"
    write_page(path, found)
    sized(browser, 375, 800)
    browser.get(path.as_uri())
    assert browser.find_element("css selector", "h1").text == sentence(found)
    sizes = browser.execute_script(
        "return [...document.querySelectorAll('body *')].map("
        "(e) => [e.tagName, parseFloat(getComputedStyle(e).fontSize)])"
    )
    biggest = max(size for _, size in sizes)
    assert [tag for tag, size in sizes if size == biggest] == ["H1"]
    top = browser.execute_script(
        "return document.querySelector('h1').getBoundingClientRect().bottom"
    )
    assert top < 420  # read without scrolling, on a telephone


def test_a_stroke_ahead_is_drawn_to_the_left_by_its_milliseconds(
    browser: Any, tmp_path: Path
) -> None:
    found = FAULTS["apart"]()
    view = View(found)
    path = tmp_path / "review.html"
    write_page(path, found)
    sized(browser, 1280, 800)
    browser.get(path.as_uri())
    marks = browser.execute_script(
        "return [...document.querySelectorAll('.places svg')].map((svg) => {"
        "const s = svg.getBoundingClientRect();"
        "const m = svg.querySelector('.mean').getBoundingClientRect();"
        "return [s.left, s.right, (m.left + m.right) / 2]; })"
    )
    for lane, (left, right, mark) in zip(view.lanes, marks, strict=True):
        ms = (mark - (left + right) / 2) / (right - left) * 2 * view.reach_ms()
        assert ms == pytest.approx(mean(lane.offs), abs=0.5)


def test_dots_stay_round_however_the_picture_is_stretched(browser: Any, tmp_path: Path) -> None:
    path = tmp_path / "review.html"
    write_page(path, reviewed())
    browser.get(path.as_uri())
    style = browser.execute_script(
        "const c = getComputedStyle(document.querySelector('.dots'));"
        "return [c.vectorEffect, c.strokeLinecap]"
    )
    assert style == ["non-scaling-stroke", "round"]


def test_an_hour_is_less_than_a_megabyte_and_a_half_and_written_sooner_than_reviewed() -> None:
    start = time.process_time()
    found = an_hour()
    to_review = time.process_time() - start
    assert len(found.judged) > 40_000
    start = time.process_time()
    text = page(found)
    assert time.process_time() - start < to_review
    assert len(text.encode()) < 1_500_000


def test_a_page_replaces_a_review_and_nothing_else(tmp_path: Path) -> None:
    path = tmp_path / "review.html"
    write_page(path, reviewed())
    write_page(path, FAULTS["extras"]())
    assert "extra strokes" in path.read_text("utf-8")
    path.write_text("<!DOCTYPE html><title>my diary</title>")
    with pytest.raises(MidiforgeError, match="not written by midiforge"):
        write_page(path, reviewed())
    assert "my diary" in path.read_text()
    with pytest.raises(MidiforgeError, match="cannot be written"):
        write_page(tmp_path / "nowhere" / "review.html", reviewed())


@pytest.mark.parametrize("hand", ["written by another of our commands", "edited since"])
def test_a_page_replaces_no_other_page_of_ours(tmp_path: Path, hand: str) -> None:
    path = tmp_path / "review.html"
    write_page(path, reviewed())
    if hand == "edited since":
        text = path.read_text("utf-8").replace("</main>", "<p>what my teacher said</p></main>")
    else:
        text = '<!DOCTYPE html>\n<meta name="generator" content="midiforge 0.1.0">\nA booklet\n'
    path.write_text(text, "utf-8")
    with pytest.raises(MidiforgeError, match="not written by midiforge, or changed since"):
        write_page(path, reviewed())
    assert path.read_text("utf-8") == text


def test_the_page_prints(browser: Any, tmp_path: Path) -> None:
    path = tmp_path / "review.html"
    write_page(path, PAGES["many faults"]())
    browser.get(path.as_uri())
    pdf = on_paper(browser)
    assert pdf.startswith(b"%PDF") and 1 <= pdf.count(b"/Type /Page\n") <= 6


def test_cautions_stand_at_the_end() -> None:
    text = page(reviewed())
    assert text.index("Look after yourself") > text.index("Professionals</h2>")
    assert "headphones" in text and "see a doctor" in text
