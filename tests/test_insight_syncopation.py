"""Syncopation against published weights and examples.

HS = H. Honing and L. M. Smith's program of the measure of Longuet-Higgins and Lee 1984 (Music
Cognition Group, University of Amsterdam), whose comments list the weights of common meters and
the examples of figure 9 of H. C. Longuet-Higgins and C. S. Lee, The rhythmic interpretation of
monophonic music, Music Perception 1(4), 1984, with the strengths the paper gives them.
"""

from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from midiforge import check_drill
from midiforge.calls import exercises
from midiforge.insight.syncopation import (
    ACCENTS,
    Line,
    Syncopation,
    place_weights,
    syncopation,
    syncopations,
)
from midiforge.model.meter import Meter

EIGHTH, SIXTEENTH = Fraction(1, 2), Fraction(1, 4)


def found(times: str, meter: str = "4/4") -> dict[int, int]:
    """Syncopated steps and their strengths, of "x..x" over whole bars."""
    each = Meter.parse(meter)
    length = each.bar * max(1, round(len(times) / 16)) if meter == "4/4" else each.bar
    step = length / len(times)
    onsets = [i * step for i, mark in enumerate(times) if mark == "x"]
    return {int(time / step): strength for time, strength in syncopations(onsets, each, length)}


def weights(meter: Meter, step: Fraction) -> tuple[int, ...]:
    """The weight of each grid step of a bar."""
    parts = tuple(int(length / step) for length in meter.beat_lengths)
    return tuple(weight for _, weight in place_weights(meter, parts))


@pytest.mark.parametrize(
    ("meter", "step", "expected"),
    [  # HS
        ("3/4", EIGHTH, (0, -2, -1, -2, -1, -2)),
        ("4/4", EIGHTH, (0, -3, -2, -3, -1, -3, -2, -3)),
        ("6/8", EIGHTH, (0, -2, -2, -1, -2, -2)),
        ("9/8", EIGHTH, (0, -2, -2, -1, -2, -2, -1, -2, -2)),
        ("12/8", EIGHTH, (0, -3, -3, -2, -3, -3, -1, -3, -3, -2, -3, -3)),
        ("3/2", EIGHTH, (0, -3, -2, -3, -1, -3, -2, -3, -1, -3, -2, -3)),
    ],
)
def test_weights_of_common_meters(meter: str, step: Fraction, expected: tuple[int, ...]) -> None:
    assert weights(Meter.parse(meter), step) == expected


def test_weights_of_sixteenths_in_four() -> None:
    # As used by T. Kaplan's program of Witek and others 2014 for one voice.
    expected = (0, -4, -3, -4, -2, -4, -3, -4, -1, -4, -3, -4, -2, -4, -3, -4)
    assert weights(Meter.parse("4/4"), SIXTEENTH) == expected


def test_weights_of_a_mixed_meter_put_its_beats_on_one_level() -> None:
    # By the rule in the module, by hand: beats of 2, 2 and 3 eighths.
    assert weights(Meter.parse("2+2+3/8"), EIGHTH) == (0, -2, -1, -2, -1, -2, -2)


def test_a_prime_number_of_beats_is_divided_at_once() -> None:
    assert weights(Meter.parse("5/4"), Fraction(1)) == (0, -1, -1, -1, -1)


def test_six_parts_of_a_beat_are_three_halved() -> None:
    assert weights(Meter.parse("1/4"), Fraction(1, 6)) == (0, -2, -1, -2, -1, -2)


def test_a_dotted_beat_divides_into_its_units_first() -> None:
    assert weights(Meter.parse("6/8"), SIXTEENTH) == (0, -3, -2, -3, -2, -3, -1, -3, -2, -3, -2, -3)


@pytest.mark.parametrize(
    ("gaps", "meter", "expected"),
    [  # figure 9 of the paper, as HS lists it; gaps in units of the finest level
        ((1, 3), "2/4", {1: 1}),
        ((2, 1, 3, 2), "4/4", {3: 2}),
        ((3, 1), "2/4", {}),
        ((2, 1), "3/4", {}),
        ((1, 2), "3/4", {}),  # a silent place no heavier than the note: strength 0
    ],
)
def test_examples_of_the_paper(gaps: tuple[int, ...], meter: str, expected: dict[int, int]) -> None:
    each = Meter.parse(meter)
    step = each.bar / sum(gaps)
    onsets = [sum(gaps[:i]) * step for i in range(len(gaps))]
    strengths = syncopations(onsets, each, each.bar)
    assert {int(time / step): strength for time, strength in strengths} == expected


@pytest.mark.parametrize(
    ("timeline", "expected"),
    [
        # Timelines: G. Toussaint, A Mathematical Analysis of African, Brazilian and Cuban Clave
        # Rhythms, BRIDGES 2002. Strengths worked out by hand from the rule and the weights above.
        ("x...x.x...x.x...", {6: 2}),  # shiko
        ("x..x..x...x.x...", {3: 2, 6: 2}),  # son
        ("x..x..x...xx....", {3: 2, 6: 2, 11: 2}),  # soukous
        ("x..x...x..x.x...", {3: 2, 7: 3}),  # rumba
        ("x..x..x...x..x..", {3: 2, 6: 2, 10: 1, 13: 1}),  # bossa nova
        ("x..x..x...x...x.", {3: 2, 6: 2, 10: 1}),  # gahu
    ],
)
def test_timelines_by_hand(timeline: str, expected: dict[int, int]) -> None:
    assert found(timeline) == expected


def test_a_note_before_a_silent_downbeat_wraps_round_the_seam() -> None:
    # The and of four, held over the next one: from -3 to 0.
    assert found("....x.......x.x.")[14] == 3


def test_notes_on_every_beat_or_step_are_not_syncopated() -> None:
    assert found("x...x...x...x...") == found("x" * 16) == {}


def test_off_beats_throughout_are() -> None:
    assert found("..x...x...x...x.") == {2: 1, 6: 2, 10: 1, 14: 3}


def test_one_note_a_loop_is_held_over_everything() -> None:
    assert found("........x.......") == {8: 1}


# The 4/4 weights of Longuet-Higgins and Lee, highest 5, as another program has them:
# pelinski/TransformerGrooveInfilling, hvo_sequence/metrical_profiles.py.
PROFILE = (5, 1, 2, 1, 3, 1, 2, 1, 4, 1, 2, 1, 3, 1, 2, 1)


@given(st.lists(st.booleans(), min_size=32, max_size=32).filter(any))
def test_strengths_agree_with_the_rule_read_note_by_note(onsets: list[bool]) -> None:
    expected = {}
    for i, sounds in enumerate(onsets):
        if sounds:
            heaviest = 0
            k = i + 1
            while not onsets[k % 32]:
                heaviest = max(heaviest, PROFILE[k % 16])
                k += 1
            if heaviest > PROFILE[i % 16]:
                expected[i] = heaviest - PROFILE[i % 16]
    assert found("".join("x" if sounds else "." for sounds in onsets)) == expected


def of(**keys: Any) -> Syncopation:
    drill = check_drill({"stages": "full", **keys})
    return syncopation(next(iter(exercises(drill))))


def line_of(found: Syncopation, name: str) -> Line:
    return next(line for line in found.lines if line.name == name)


def total(found: Syncopation, name: str) -> int:
    return line_of(found, name).total


def test_each_limb_and_the_accents_are_lines_of_their_own() -> None:
    # Accents on every e: held over & 2, & 3 and so on; -4 against -2, -1, -2 and 0.
    read = of(sticking="R>LRL", feet="1 3")
    assert [line.name for line in read.lines] == [ACCENTS, "right hand", "left hand", "right foot"]
    assert total(read, ACCENTS) == 2 + 3 + 2 + 4
    assert total(read, "right foot") == 0


def test_the_tumbao_is_syncopated_on_every_stroke() -> None:
    # Common practice: the a of one, the and of two, and so on; nothing on a downbeat.
    # By hand: a of 1 to beat 2: 2; & of 2 to beat 3: 2; a of 3 to 4: 2; & of 4 to 1: 3.
    assert total(of(feet="tumbao", partner="none"), "right foot") == 9


def test_a_line_off_the_grid_is_weighed_in_its_own_parts_of_the_beat() -> None:
    on_grid = of(sticking="RLRL", feet="tumbao", steps="4")
    off_grid = of(sticking="RLR", feet="tumbao", steps="3")
    name = "right foot"
    assert line_of(on_grid, name).per_bar == line_of(off_grid, name).per_bar == 9
