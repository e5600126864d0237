"""What an exercise asks of each limb, worked out by hand from the sticking and the tempo."""

from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

import midiforge
from midiforge import check_drill
from midiforge.calls import exercises
from midiforge.insight.demands import Demands, demands, warnings
from midiforge.kits.kit import read_kit
from midiforge.model.exercise import Exercise
from midiforge.model.hit import Limb
from midiforge.performance.notes import notes

RH, LH, RF, LF = Limb.RIGHT_HAND, Limb.LEFT_HAND, Limb.RIGHT_FOOT, Limb.LEFT_FOOT


def full(**keys: Any) -> Exercise:
    return list(exercises(check_drill({"tempos": "60", "stages": "full", **keys})))[-1]


def asked(**keys: Any) -> Demands:
    return demands(full(**keys))


def of(found: Demands, limb: Limb) -> Any:
    return next(each for each in found.limbs if each.limb is limb)


def test_a_paradiddle_in_sixteenths_at_60_is_two_strokes_a_second_for_each_hand() -> None:
    # RLRR LRLL: four strokes of each hand in eight sixteenths, which last two seconds;
    # the closest two of a hand are a sixteenth, a quarter of a second, apart.
    found = asked(sticking="RLRR LRLL")
    for hand in (RH, LH):
        assert of(found, hand).per_second == 2
        assert of(found, hand).peak == 4
    assert found.seconds == 4  # one bar of 4/4
    assert (of(found, RH).strokes, of(found, LH).strokes) == (8, 8)


def test_rates_follow_the_tempo() -> None:
    slow, fast = asked(sticking="RLRR"), asked(sticking="RLRR", tempos="120")
    assert of(fast, RH).per_second == 2 * of(slow, RH).per_second
    assert of(fast, RH).peak == 2 * of(slow, RH).peak


def test_the_shortest_gap_may_lie_across_the_seam() -> None:
    # R on the first and the last of sixteen sixteenths only.
    found = asked(sticking="RL-L -L-L -L-L -L-R")
    assert of(found, RH).peak == 4
    assert of(found, LH).peak == 2


def test_the_gap_of_one_stroke_a_loop_is_the_loop() -> None:
    """A bar of 4/4 at 60 lasts four seconds."""
    assert of(asked(sticking="R--- ---- ---- ----"), RH).peak == Fraction(1, 4)


def test_swing_brings_two_strokes_closer() -> None:
    # Eighths at 60, long to short 2:1: gaps of 2/3 and 1/3 of a second.
    found = asked(sticking="RR", steps="2", swing="2:1")
    assert of(found, RH).peak == 3
    assert of(found, RH).per_second == 2


def test_a_ramp_is_judged_at_its_fastest() -> None:
    found = asked(sticking="RL", ramp="60 to 120 by 20 every 1 bars")
    assert found.tempo == 120
    assert of(found, RH).per_second == 4  # two of four sixteenths in half a second


def test_a_dotted_pulse_counts_three_eighths() -> None:
    # 6/8 at 60 dotted quarters: six eighths in two seconds, all with the right hand.
    assert of(asked(sticking="RRRRRR", meter="6/8", steps="3"), RH).per_second == 3


@pytest.mark.parametrize(
    ("burst", "sustained"),
    [("RRRR RRRR", 4), ("RRRR ----", 2), ("RR-- ----", 1), ("R--- ----", Fraction(1, 8))],
)
def test_a_burst_is_sustained_as_far_as_it_fills_two_seconds(
    burst: str, sustained: Fraction
) -> None:
    # Sixteenths at 60, four a second, in two bars that last eight seconds. Eight fill two
    # seconds; of fewer, two seconds hold only so many. One alone comes every eight seconds.
    found = asked(sticking=burst + " ----" * 6)
    assert of(found, RH).sustained == sustained


def test_a_steady_hand_sustains_its_mean() -> None:
    found = asked(sticking="R", tempos="90")
    assert of(found, RH).sustained == of(found, RH).per_second == of(found, RH).peak == 6


@pytest.mark.parametrize(
    ("name", "run"),
    [  # common practice: the hand that has just struck plays the next grace note
        ("flam", 2),  # l R, r L: R r
        ("flam-accent", 2),  # l R L R, r L R L: R r
        ("flam-tap", 3),  # l R R, r L L: R R r
        ("inverted-flam-tap", 1),  # l R L, r L R: hand to hand throughout
        ("flam-paradiddle", 3),  # l R L R R, r L R L L: R R r
        ("flam-paradiddle-diddle", 2),  # l R L R R L L, r L R L L R R: L L, then r
        ("drag", 2),  # ll R, rr L: R rr, the second r a rebound
    ],
)
def test_grace_notes_lengthen_the_runs_of_flam_rudiments(name: str, run: int) -> None:
    drill = check_drill({"sticking": name, "placements": "phrase", "tempos": "60"})
    hands = [each for each in exercises(drill) if each.stage == "hands"]
    assert hands
    assert {demands(each).longest_run for each in hands} == {run}


@pytest.mark.parametrize(("sticking", "grace"), [("lR R rL L", 30), ("llR R rrL L", 70)])
def test_the_gap_before_a_grace_note_is_shorter_by_its_lead(sticking: str, grace: int) -> None:
    # Sixteenths at 60 are 250 ms apart; a flam is 30 ms long, a drag twice 35 (the defaults).
    peak = Fraction(1000, 250 - grace)
    found = asked(sticking=sticking)
    assert (of(found, RH).peak, of(found, LH).peak) == (peak, peak)


def test_a_grace_note_reaches_back_45_hundredths_of_a_step_at_most() -> None:
    # 32nds at 300 are 25 ms apart.
    assert of(asked(sticking="lR R rL L", steps="8", tempos="300"), RH).peak == Fraction(
        1000, 25 * Fraction(55, 100)
    )


@pytest.mark.parametrize("tempo", ["60", "140", "300"])
@pytest.mark.parametrize("sticking", ["lR R rL L", "llR R rrL L", "lllR R rrrL L"])
def test_grace_notes_are_where_they_are_performed(sticking: str, tempo: str) -> None:
    exercise = full(sticking=sticking, tempos=tempo, placements="phrase", click="off")
    quarter = 60 / float(tempo)
    played = sorted(
        (float(note.time) * quarter + note.offset / 1000, note.part, note.sticking)
        for note in notes(exercise, read_kit("general-midi-1"))
        if note.time >= 0
    )
    right = [(time, sticking) for time, part, sticking in played if part == RH]
    # From each full stroke (it has letters) to the note after it.
    gaps = [
        later - time for (time, said), (later, _) in pairwise(right) if said and later - time > 1e-6
    ]
    assert float(of(demands(exercise), RH).peak) == pytest.approx(1 / min(gaps))


def test_grace_notes_are_one_movement_of_the_other_hand() -> None:
    # A drag and a rest, in eighths: the left hand only plays grace notes, two before each stroke.
    found = asked(sticking="llR -", steps="2")
    left = of(found, LH)
    assert (left.strokes, left.grace_notes) == (0, 8)
    assert left.per_second == 1
    assert of(found, RH).grace_notes == 0


def test_what_the_player_answers_counts() -> None:
    whole = asked(sticking="RLRR")
    answering = asked(sticking="RLRR", form="1 call 1 response")
    assert of(answering, RH).per_second == of(whole, RH).per_second


def test_writing_an_exercise_more_often_asks_for_nothing_else() -> None:
    assert asked(sticking="RLRRL", feet="tumbao", repeats=3) == asked(
        sticking="RLRRL", feet="tumbao"
    )


def test_a_late_entry_is_judged_as_it_loops() -> None:
    late = asked(sticking="RLRR LRLL", placements="+3", entry="late")
    wrapped = asked(sticking="RLRR LRLL", placements="+3")
    assert late == wrapped


@pytest.mark.parametrize(
    ("sticking", "run", "hand"),
    [
        ("RLRL", 1, RH),
        ("RLRR LRLL", 2, RH),
        ("RRRLLL RRRLLL RRRL", 3, RH),
        ("RLLL RLLR", 3, LH),
        ("RRLL LLLR", 5, LH),
        ("RLLB LLLB", 7, LH),  # both hands together go on with a run
        ("RLBB", 3, RH),
        ("BBRL", 3, RH),
        ("LRKR LRKR", 2, RH),  # a foot between them does not
        ("lR R lR L", 2, RH),  # a grace note is a stroke of its hand: R R, l, R, L l
        ("llR R L", 2, RH),  # and two are one movement of it: ll, R R, L
        ("llR L", 2, LH),  # L, then ll over the seam
    ],
)
def test_the_longest_run_in_one_hand(sticking: str, run: int, hand: Limb) -> None:
    found = asked(sticking=sticking)
    assert (found.longest_run, found.run_hand, found.endless) == (run, hand, False)


def test_an_open_hi_hat_that_the_pedal_closes_is_warned_of() -> None:
    keys = {"sticking": "RLRL", "feet": "1 3 on LF", "steps": 1, "stages": "full"}
    both = warnings(asked(**keys, voicing="RH=hihat-open, LH=snare"))
    assert any("hi-hat" in sentence and "open" in sentence for sentence in both)
    assert not warnings(asked(**keys, voicing="RH=hihat-closed, LH=snare"))
    between = keys | {"feet": "2 4 on LF"}
    assert not warnings(asked(**between, voicing="RH=hihat-open, LH=snare"))


def test_a_foot_that_opens_the_hi_hat_under_a_hand_that_plays_it_closed_is_warned_of() -> None:
    keys = {
        "sticking": "RLRL",
        "steps": 1,
        "stages": "full",
        "voicing": "RH=hihat-closed, LH=snare",
    }
    assert warnings(asked(**keys, feet="1 3 on LF as hihat-open"))
    assert not warnings(asked(**keys, feet="2 4 on LF as hihat-open"))


def test_no_example_asks_for_a_hi_hat_that_is_open_and_closed() -> None:
    for path in (Path(__file__).parent.parent / "examples").glob("0*.toml"):
        for exercise in midiforge.exercises(midiforge.read_drill(path)):
            assert not demands(exercise).hihat_both_ways, path


def test_a_run_goes_over_the_seam() -> None:
    # Two R at the end and one at the front.
    assert asked(sticking="RLRL LRLL RLRL RLRR").longest_run == 3


def test_one_hand_alone_never_ends_its_run() -> None:
    found = asked(sticking="L-")
    assert (found.endless, found.run_hand, found.longest_run) == (True, LH, 8)


def test_feet_alone_have_no_run() -> None:
    found = asked(feet="hihat-quarters")
    assert (found.longest_run, found.run_hand, found.endless) == (0, None, False)


@pytest.mark.parametrize(
    ("name", "run"),
    [  # PAS International Drum Rudiments, from memory: what the names say
        ("single-stroke-roll", 1),
        ("double-stroke-open-roll", 2),
        ("triple-stroke-roll", 3),
        ("single-paradiddle", 2),
        ("double-paradiddle", 2),
        ("triple-paradiddle", 2),
    ],
)
def test_rudiments_have_the_runs_they_are_named_for(name: str, run: int) -> None:
    for exercise in exercises(check_drill({"sticking": name, "placements": "phrase"})):
        assert demands(exercise).longest_run == run


def test_unisons_are_moments_of_two_limbs_or_more() -> None:
    # Sixteen sixteenths; the bass drum (1, 3) and hi-hat foot (every quarter) meet hands and
    # each other on the four quarters only.
    found = asked(sticking="RLRL", feet=["1 3", "hihat-quarters"])
    assert (found.moments, found.unisons) == (16, 4)
    assert found.unison_share == Fraction(1, 4)


def test_the_click_and_layers_are_not_the_player() -> None:
    assert asked(sticking="RL--", layers="son-clave-3-2", click="throughout") == asked(
        sticking="RL--", click="off"
    )


def test_warnings_begin_above_seven_strokes_a_second_of_one_hand() -> None:
    # 5 to 7 a second: S. Fujii and others, Neuroscience Letters 459 (2009) 69-73, abstract.
    assert not warnings(asked(sticking="R", tempos="105"))  # exactly 7
    (said,) = warnings(asked(sticking="R", tempos="106"))
    assert "Right hand: more than 7 strokes a second, on and on" in said
    assert "from about 105 bpm up" in said


def test_a_warning_is_the_same_at_every_tempo_that_is_too_much() -> None:
    # So that a build tells it once.
    for sticking in ("R", "RRRR RRRR ---- ----", "lR R rL L"):
        said = {warnings(asked(sticking=sticking, tempos=str(bpm))) for bpm in (190, 220.5, 300)}
        assert len(said) == 1, said
        assert said != {()}


def test_a_flam_tap_is_too_close_where_the_grace_note_follows_within_a_tenth() -> None:
    # 15 / tempo - 0.03 seconds from the tap to the grace note: a tenth at 115.4.
    assert not warnings(asked(sticking="lR R rL L", tempos="115"))
    said = warnings(asked(sticking="lR R rL L", tempos="116"))
    assert len(said) == 2
    assert all(
        "more than 10 strokes a second for a moment, from about 115" in each for each in said
    )


def test_a_double_faster_than_ten_a_second_is_warned_of() -> None:
    # 10 a second with one stick: the same paper. 32nds at 80 are 10.67 a second.
    assert not warnings(asked(sticking="RRLL", steps="8", tempos="75"))
    assert len(warnings(asked(sticking="RRLL", steps="8", tempos="80"))) == 2


def test_feet_have_a_lower_limit() -> None:
    assert not warnings(asked(feet="bass-drum-eighths", tempos="150"))  # exactly 5
    (said,) = warnings(asked(feet="bass-drum-eighths", tempos="151"))
    # The foot's own limit, in the note values drummers think in: 5 / 4 * 60 = 75.
    assert "from about 150 bpm up" in said
    assert "more than 5 a second is faster than sixteenths of one foot at 75 bpm" in said


def test_the_order_of_hits_does_not_matter() -> None:
    exercise = full(sticking="RLRR LRLL", feet="tumbao")
    assert demands(exercise.changed(hits=exercise.hits[::-1])) == demands(exercise)
