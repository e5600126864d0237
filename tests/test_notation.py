"""How exercises are written: note values, rests, beams, tuplets, staff places, repeats.

Conventions checked here are common practice of engraving unless a source is named.
"""

from fractions import Fraction
from itertools import islice, pairwise, product
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import midiforge
from midiforge.errors import MidiforgeError
from midiforge.model.exercise import by_piece
from midiforge.model.meter import Meter
from midiforge.notation import scores
from midiforge.notation.rhythm import VALUES, cells_of, value_of, write_bar
from midiforge.notation.score import FEET_VOICE, HANDS_VOICE
from midiforge.notation.sign import HEADS, MARKS, sign_of
from midiforge.notation.write import unwritten, write

F = Fraction
METERS = ("4/4", "3/4", "2/4", "5/4", "6/8", "9/8", "12/8", "7/8", "2+2+3/8", "5+2/8", "2/2", "3/8")


def spelled(meter: str, *onsets: Fraction) -> str:
    """A bar in words: "q" quarter, "e" eighth, "s" sixteenth, "t" thirty-second; capitals rest."""
    letters = {"whole": "w", "half": "h", "quarter": "q", "eighth": "e", "16th": "s", "32nd": "t"}
    cells = []
    for cell in write_bar(Meter.parse(meter), sorted(onsets)):
        text = "".join(
            (letters[v.value.name].upper() if v.is_rest else letters[v.value.name])
            + "." * v.value.dotted
            for v in cell.notes
        )
        cells.append(f"{cell.tuplet.actual}({text})" if cell.tuplet else text)
    return " ".join(cells)


@pytest.mark.parametrize(
    ("onsets", "expected"),
    [
        ((0,), "q"),
        ((0, F(1, 2)), "ee"),
        ((0, F(3, 4)), "e.s"),
        ((0, F(1, 4)), "se."),
        ((0, F(1, 4), F(3, 4)), "ses"),
        ((F(1, 4), F(3, 4)), "Ses"),
        ((F(1, 2),), "Ee"),
        ((F(3, 4),), "ESs"),
        ((0, F(1, 3), F(2, 3)), "3(eee)"),
        ((0, F(2, 3)), "3(qe)"),
        ((F(1, 3),), "3(Eq)"),
        ((F(2, 3),), "3(Qe)"),
        (tuple(F(i, 5) for i in range(5)), "5(sssss)"),
        (tuple(F(i, 6) for i in range(6)), "6(ssssss)"),
        (tuple(F(i, 8) for i in range(8)), "tttttttt"),
    ],
)
def test_a_beat_is_written_as_drummers_read_it(onsets, expected) -> None:
    assert spelled("1/4", *map(F, onsets)) == expected


@pytest.mark.parametrize(
    ("onsets", "expected"),
    [
        ((0,), "q. Q."),
        ((0, F(1, 2), 1), "eee Q."),
        ((0, 1), "qe Q."),
        ((0, F(1, 2)), "eq Q."),
        ((0, F(3, 4)), "e.e. Q."),  # two against the dotted beat: no number over them
        (tuple(F(i, 4) for i in range(6)), "ssssss Q."),
        (tuple(F(3 * i, 8) for i in range(4)), "4(eeee) Q."),
    ],
)
def test_compound_meters_keep_the_dotted_beat(onsets, expected) -> None:
    assert spelled("6/8", *map(F, onsets)) == expected


def test_a_silent_half_of_a_four_four_bar_is_one_rest_but_never_across_the_middle() -> None:
    assert spelled("4/4", F(2)) == "H q Q"
    assert spelled("4/4", F(0)) == "q Q H"
    assert spelled("4/4", F(1)) == "Q q H"
    assert spelled("4/4", F(0), F(3)) == "q Q Q q"
    assert spelled("4/4") == "W"


def test_a_beat_of_five_or_seven_units_is_written_in_twos_and_a_three() -> None:
    assert spelled("5+2/8", F(0), F(1), F(5, 2)) == "q q. q"
    assert spelled("7+4/8", F(0), F(1), F(2), F(7, 2)) == "q q q. h"


@pytest.mark.parametrize(
    ("meter", "cells"),
    [  # common practice: eighths are beamed together where no beats are given
        ("3/8", ["3/2"]),
        ("4/8", ["1", "1"]),
        ("5/8", ["1", "3/2"]),
        ("7/8", ["1", "1", "3/2"]),
        ("5/16", ["1/2", "3/4"]),
        ("3/4", ["1", "1", "1"]),
        ("2+2+3/8", ["1", "1", "3/2"]),
        ("6/8", ["3/2", "3/2"]),
    ],
)
def test_small_beats_are_beamed_in_twos_and_a_three(meter, cells) -> None:
    assert [length for _, length, _ in cells_of(Meter.parse(meter))] == [F(each) for each in cells]


@pytest.mark.parametrize(
    ("meter", "sizes"),
    [
        ("8+3/8", [2, 2, F(3, 2)]),
        ("4+3/8", [2, F(3, 2)]),
        ("8+3/16", [1, 1, F(3, 4)]),
        ("4+4+4+3/16", [1, 1, 1, F(3, 4)]),
        ("6+4/8", [F(3, 2), F(3, 2), 2]),
        ("12+4/16", [F(3, 4)] * 4 + [1]),
        ("4+3/4", [2, 2, 3]),
        ("2/2", [2, 2]),
    ],
)
def test_no_beam_is_longer_than_four_notes_or_a_half(meter, sizes) -> None:
    assert [length for _, length, _ in cells_of(Meter.parse(meter))] == sizes


def test_a_foot_on_a_hand_s_instrument_stands_at_the_foot_of_the_staff() -> None:
    drill = midiforge.check_drill(
        {"sticking": "RL", "feet": "son-clave-3-2 on LF as cowbell", "stages": "full"}
    )
    [score] = scores(midiforge.exercises(drill))
    moved = [head for head in score.heads(HANDS_VOICE, FEET_VOICE) if head.voice == "cowbell"]
    assert {(head.sign.place, head.sign.head, head.foot) for head in moved} == {
        (-1, "triangle", "left foot")
    }


def test_a_long_cymbal_is_a_quarter_and_rests_and_a_long_drum_is_hollow() -> None:
    drill = midiforge.check_drill({"meter": "2/2", "feet": ["1", "2 on LF"], "partner": "none"})
    score = next(scores(midiforge.exercises(drill)))
    feet = next(iter(score.bars)).voice(FEET_VOICE)
    assert feet is not None
    assert [(n.value.name, n.is_rest) for n in feet.notes] == [
        ("half", False),
        ("quarter", False),
        ("quarter", True),
    ]


def test_an_accent_is_of_its_own_hand() -> None:
    drill = midiforge.check_drill(
        {"sticking": ">R+(L) L", "steps": 1, "stages": "full", "voicing": "RH=ride,LH=snare"}
    )
    [score] = scores(midiforge.exercises(drill))
    hands = next(iter(score.bars)).voice(HANDS_VOICE)
    assert hands is not None
    first = next(hands.notes)
    assert {head.hand: head.is_accented for head in first.heads} == {"R": True, "L": False}


def test_eleven_steps_to_the_beat_of_five_eight_are_finer_than_a_staff_shows() -> None:
    with pytest.raises(MidiforgeError, match="11 steps in the time of an eighth note are finer"):
        write_bar(Meter.parse("5/8"), [F(i, 22) for i in range(11)])


@st.composite
def bars(draw):
    meter = Meter.parse(draw(st.sampled_from(METERS)))
    steps = draw(st.integers(1, 6))
    step = meter.beat / steps
    size = int(meter.bar / step)
    marks = draw(st.lists(st.booleans(), min_size=size, max_size=size))
    return meter, [i * step for i, mark in enumerate(marks) if mark]


@settings(max_examples=400, deadline=None)
@given(bars())
def test_any_rhythm_is_written_without_a_gap_and_with_every_stroke(drawn) -> None:
    meter, onsets = drawn
    try:
        cells = write_bar(meter, onsets)
    except MidiforgeError:
        return
    values = [value for cell in cells for value in cell.notes]
    assert [value.start for value in values if not value.is_rest] == onsets
    assert values[0].start == 0 and values[-1].start + values[-1].length == meter.bar
    assert all(one.start + one.length == two.start for one, two in pairwise(values))
    small = set(meter.groups) == {1} and meter.unit > 4
    beats = {start for start, _, _ in cells_of(meter)} if small else {*meter.beats, meter.bar}
    for cell in cells:
        ratio = F(cell.tuplet.normal, cell.tuplet.actual) if cell.tuplet else F(1)
        for value in cell.notes:
            written = {name: length for length, name in VALUES.items()}[value.value.name]
            written *= F(3, 2) if value.value.dotted else 1
            is_whole_bar_rest = value.is_rest and value.value.name == "whole"
            assert is_whole_bar_rest or written * ratio == value.length
            crossed = [beat for beat in beats if value.start < beat < value.start + value.length]
            assert value.is_rest or not crossed, "a note across the beat"


@settings(max_examples=200, deadline=None)
@given(bars())
def test_no_value_hides_the_middle_of_a_beat_of_sixteenths_but_the_usual_syncopation(drawn) -> None:
    meter, onsets = drawn
    if meter.groups != (1,) * meter.numerator or meter.unit != 4:
        return
    for cell in write_bar(meter, onsets):
        if cell.tuplet:
            continue
        middle = cell.start + cell.length / 2
        for value in cell.notes:
            start, end = value.start, value.start + value.length
            if start < middle < end and start != cell.start:
                assert start == cell.start + cell.length / 4 and not value.is_rest


@pytest.mark.parametrize(
    ("voice", "place", "head"),
    [  # N. Weinberg, Guidelines for Drumset Notation, Percussive Notes, June 1994; from memory
        ("bass-drum", 1, "normal"),
        ("floor-tom", 3, "normal"),
        ("snare", 5, "normal"),
        ("tom-mid", 6, "normal"),
        ("tom-high", 7, "normal"),
        ("ride", 8, "x"),
        ("ride-bell", 8, "diamond"),
        ("hihat-closed", 9, "x"),
        ("crash", 10, "x"),
        ("hihat-pedal", -1, "x"),
        ("side-stick", 5, "x"),
        ("cowbell", 7, "triangle"),
    ],
)
def test_voices_stand_where_the_guidelines_put_them(voice, place, head) -> None:
    sign = sign_of(voice)
    assert (sign.place, sign.head) == (place, head)


def test_every_voice_has_a_sign_and_voices_of_the_drum_set_share_none() -> None:
    signs = {name: sign_of(name) for name in midiforge.voices()}
    assert all(sign.head in HEADS and sign.mark in MARKS for sign in signs.values())
    own = [name for name, voice in midiforge.voices().items() if voice.sign]
    for one, two in product(own, own):
        if one < two and signs[one] == signs[two]:
            assert {one, two} <= {"maracas", "shaker"}, (one, two)


def test_what_goes_round_is_written_once_and_says_how_often() -> None:
    drill = midiforge.check_drill(
        {"sticking": "RLL", "feet": "x... ..x.", "repeats": 4, "stages": "full"}
    )
    [score] = scores(midiforge.exercises(drill))
    exercise = score.exercise
    [passage] = score.passages
    assert exercise.returns_after_bars == 3 == len(passage.bars)
    assert passage.times == 4 == exercise.bars / 3


@pytest.mark.parametrize(
    ("content", "counted"),
    [
        ({"steps": 4}, "1 e & a 2 e & a 3 e & a 4 e & a"),
        ({"steps": 2, "feet": "1 3"}, "1 & 2 & 3 & 4 &"),
        ({"steps": 2, "feet": "1 2a 3"}, "1 e & a 2 e & a 3 e & a 4 e & a"),
        ({"steps": 1, "feet": "jazz-ride on RF"}, "1 & a 2 & a 3 & a 4 & a"),
        # No part of a beat that anybody counts has both.
        ({"steps": 4, "feet": "jazz-ride on RF"}, "1 e & a 2 e & a 3 e & a 4 e & a"),
    ],
)
def test_counts_are_those_that_the_strokes_of_the_bar_lie_on(content, counted) -> None:
    drill = midiforge.check_drill({"sticking": "RLRR LRLL", "stages": "full", **content})
    [score] = scores(midiforge.exercises(drill))
    assert {" ".join(said for _, said in bar.counts) for bar in score.bars} == {counted}


def test_a_groove_in_triplets_is_counted_so_and_the_exercise_on_its_own_grid() -> None:
    drill = midiforge.check_drill(
        {"sticking": "RLRR LRLL", "steps": 4, "stages": "full", "groove": "jazz-ride",
         "form": "3 time 1 exercise"}
    )  # fmt: skip
    [score] = scores(midiforge.exercises(drill))
    counted = [" ".join(said for _, said in bar.counts) for bar in score.bars]
    assert counted == ["1 & a 2 & a 3 & a 4 & a"] * 3 + ["1 e & a 2 e & a 3 e & a 4 e & a"]


@pytest.mark.parametrize(
    ("dynamics", "opening", "signs"),
    [
        ("crescendo over 4 bars", [0, F(1, 4), F(1, 2), F(3, 4), 1], ("p", "f")),
        ("diminuendo 100% to 30% over 2 bars", [1, F(1, 2), 0], ("mf", "pp")),
        ("crescendo 80% to 150% over 1 bar", [0, 1], ("mp", "ff")),
    ],
)
def test_a_swell_goes_through_the_bars_that_it_lasts(dynamics, opening, signs) -> None:
    drill = midiforge.check_drill(
        {"sticking": "RLRR LRLL", "stages": "hands", "dynamics": dynamics, "repeats": 8}
    )
    [score] = scores(midiforge.exercises(drill))
    [passage] = score.passages
    found = [bar.hairpin for bar in passage.bars]
    assert [(each.opening, each.closing) for each in found] == [*pairwise(opening)]
    assert (found[0].begins, found[-1].ends) == signs
    assert not any(each.begins for each in found[1:])
    assert not any(each.ends for each in found[:-1])
    assert passage.times * len(found) == score.exercise.bars
    assert all(bar.is_repeat for bar in passage.bars[1:])


def test_a_swell_that_does_not_go_into_what_goes_round_does_not_make_it_longer() -> None:
    drill = midiforge.check_drill(
        {"sticking": "RLRR L", "stages": "hands", "dynamics": "crescendo over 2 bars"}
    )
    [score] = scores(midiforge.exercises(drill))
    assert score.exercise.returns_after_bars == 5
    assert [bar.hairpin for bar in score.bars] == [None] * 5


@pytest.mark.parametrize("dynamics", ["crescendo over 5 bars", "soft repeat", ""])
def test_levels_that_are_no_swell_or_a_long_one_are_said_and_not_drawn(dynamics) -> None:
    drill = midiforge.check_drill(
        {"sticking": "RLRR LRLL", "stages": "hands", "dynamics": dynamics, "repeats": 2}
    )
    [score] = scores(midiforge.exercises(drill))
    assert [bar.hairpin for bar in score.bars] == [None]


def test_a_late_entry_is_a_passage_of_its_own() -> None:
    drill = midiforge.check_drill(
        {"sticking": "RLRR LRLL", "placements": "+2", "entry": "late", "stages": "full",
         "feet": "x...", "repeats": 2}
    )  # fmt: skip
    [score] = scores(midiforge.exercises(drill))
    first, loop = score.passages
    assert first.times == 1 and loop.times == 2
    assert first.bars[0].words == "First time only"
    first_hands = first.bars[0].voice(HANDS_VOICE)
    assert first_hands is not None and next(first_hands.notes).is_rest


def test_exercises_at_several_tempos_are_one_score() -> None:
    drill = midiforge.check_drill({"sticking": "RLRR LRLL", "tempos": [60, 80], "feet": "tumbao"})
    written = scores(midiforge.exercises(drill))
    assert [[str(each.number) for each in score.exercises] for score in written] == [
        ["1a", "1b"],
        ["2a", "2b"],
        ["3a", "3b"],
    ]


def test_hands_are_the_upper_voice_and_both_feet_one_lower_voice() -> None:
    drill = midiforge.check_drill(
        {"sticking": "RLRR LRLL", "feet": ["1 3", "1 2 on LF"], "stages": "full"}
    )
    [score] = scores(midiforge.exercises(drill))
    bar = next(iter(score.bars))
    assert [voice.name for voice in bar.voices] == [HANDS_VOICE, FEET_VOICE]
    feet = bar.voice(FEET_VOICE)
    assert feet is not None
    together = next(feet.notes)
    assert {head.voice for head in together.heads} == {"bass-drum", "hihat-pedal"}


def voices(**keys: object) -> list[list[str]]:
    """The voices of each bar of a drill's first exercise."""
    score = next(scores(midiforge.exercises(midiforge.check_drill({"stages": "full", **keys}))))
    return [[voice.name for voice in bar.voices] for bar in score.bars]


def test_hands_and_feet_that_take_turns_are_one_voice_beamed_together() -> None:
    """As method books set linear phrases."""
    drill = midiforge.check_drill(
        {"sticking": "R L K R L K K", "meter": "7/8", "steps": 2, "stages": "full"}
    )
    [score] = scores(midiforge.exercises(drill))
    for bar in score.bars:
        [voice] = bar.voices
        assert not [note for note in voice.notes if note.is_rest]
        assert all(group.beam == (0, len(group.notes) - 1) for group in voice.groups)


def test_hands_over_an_ostinato_are_layered_even_where_they_never_meet_it() -> None:
    layered = [HANDS_VOICE, FEET_VOICE]
    assert voices(sticking="- R - L", steps=2, feet="1 2 3 4") == [layered]
    assert voices(sticking="R K L K", steps=2, feet="2 4 on LF") == [layered]


def test_a_drill_says_whether_hands_and_feet_are_one_voice() -> None:
    linear = {"sticking": "R L K R L K K", "meter": "7/8", "steps": 2}
    assert voices(**linear, writing={"voices": "two"}) == [[HANDS_VOICE, FEET_VOICE]]
    over = {"sticking": "R L R L", "steps": 2, "feet": "1 3", "writing": {"voices": "one"}}
    assert voices(**over) == [[HANDS_VOICE]]
    [score] = scores(midiforge.exercises(midiforge.check_drill({**over, "stages": "full"})))
    first = next(next(iter(score.bars)).voices[0].notes)
    assert {head.voice for head in first.heads} == {
        "hihat-closed",
        "bass-drum",
    }  # one stem for both
    assert first.sticking == "R"


def rolled(sticking: str, **keys: object) -> list[tuple[str, int, bool]]:
    """Value, slashes and tie of the notes in a drill's first bar at eight steps to a quarter."""
    content = {"sticking": sticking, "stages": "hands", **keys}
    [score, *_] = scores(midiforge.exercises(midiforge.check_drill(content)))
    notes = next(iter(score.bars)).voices[0].notes
    return [
        (f"{'dotted ' * note.value.dotted}{note.value.name}", note.slashes, note.is_tied)
        for note in notes
        if not note.is_rest
    ]


@pytest.mark.parametrize(
    ("rudiment", "expected"),
    [
        ("five-stroke-roll", [("eighth", 2, True), ("eighth", 0, False)] * 4),
        ("seven-stroke-roll", [("dotted eighth", 2, True), ("16th", 0, False)] * 4),
        ("nine-stroke-roll", [("quarter", 3, True), ("quarter", 0, False)] * 2),
        (
            "thirteen-stroke-roll",
            [("quarter", 3, True), ("eighth", 2, True), ("eighth", 0, False)] * 2,
        ),
        ("single-dragadiddle", [("16th", 1, False), *[("16th", 0, False)] * 3] * 4),
        ("single-paradiddle", [("16th", 0, False)] * 16),
    ],
)
def test_measured_rolls_are_slashes_tied_to_their_release(
    rudiment: str, expected: list[tuple[str, int, bool]]
) -> None:
    """Percussive Arts Society, International Drum Rudiments, from memory."""
    assert rolled(rudiment) == expected


def test_a_drill_writes_rolls_out() -> None:
    written = rolled("five-stroke-roll", meter="1/4", writing={"rolls": "strokes"})
    assert written == [*[("32nd", 0, False)] * 4, ("eighth", 0, False)]


@pytest.mark.parametrize(
    "sticking", ["RLRRLRLL", "RLRLRLRL", "-RRLLRRL", "RR>LLRRLL", "RR(LL)RRLL"]
)
def test_what_is_not_all_doubles_from_hand_to_hand_is_no_roll(sticking: str) -> None:
    assert not any(slashes for _, slashes, _ in rolled(sticking, steps=8))


ROLLED = st.lists(st.sampled_from(("RRLL", "LLRR", "RR", "--", "R", "-")), min_size=1, max_size=8)


@given(ROLLED.map("".join), st.sampled_from(METERS), st.booleans())
@settings(max_examples=60, deadline=None)
def test_every_stroke_is_a_notehead_or_in_a_roll(text: str, meter: str, has_feet: bool) -> None:
    try:
        drill = midiforge.check_drill(
            {"sticking": text, "steps": 8, "meter": meter, "stages": "full",
             "voicing": "RH=snare", "feet": "x..x" if has_feet else "none"}
        )  # fmt: skip
        written = [*scores(midiforge.exercises(drill))]
    except MidiforgeError:
        return  # nothing to play, or too fine for a staff
    for score in written:
        exercise, struck = score.exercise, []
        for bar in score.bars:
            for note in (note for voice in bar.voices for note in voice.notes):
                at = (bar.number - 1) * exercise.meter.bar
                struck += [(at + note.start, head.voice) for head in note.heads]
                struck += [(at + time, head.voice) for time, head in note.rolled]
                if note.rolled:
                    assert len(note.rolled) + 1 == note.length / F(1, 8)
        played = [
            (hit.time, hit.voice)
            for hit in exercise.hits
            if hit.limb and 0 <= hit.time < len([*score.bars]) * exercise.meter.bar
        ]
        assert sorted(struck) == sorted(played)


def test_the_first_closed_stroke_after_an_open_hihat_says_so() -> None:
    drill = midiforge.check_drill(
        {"sticking": "R >R R R", "steps": 1, "stages": "full",
         "voicing": "RH=hihat-closed, RH accent=hihat-open"}
    )  # fmt: skip
    [score] = scores(midiforge.exercises(drill))
    [bar] = score.bars
    hands = bar.voice(HANDS_VOICE)
    assert hands is not None
    assert [note.mark for note in hands.notes] == ["", "open", "closed", ""]


def test_a_loop_that_ends_on_an_open_hihat_closes_it_on_the_first_stroke() -> None:
    drill = midiforge.check_drill(
        {
            "sticking": "R R R >R",
            "steps": 1,
            "stages": "full",
            "voicing": "RH=hihat-closed, RH accent=hihat-open",
        }
    )
    [score] = scores(midiforge.exercises(drill))
    hands = next(iter(score.bars)).voice(HANDS_VOICE)
    assert hands is not None
    assert [note.mark for note in hands.notes] == ["closed", "", "", "open"]


def test_strokes_in_both_hands_are_a_chord_with_both_letters() -> None:
    drill = midiforge.check_drill({"sticking": "B L", "steps": 1, "stages": "hands"})
    [score] = scores(midiforge.exercises(drill))
    hands = next(iter(score.bars)).voice(HANDS_VOICE)
    assert hands is not None
    assert [note.sticking for note in hands.notes] == ["RL", "L", "RL", "L"]


def test_lengths_have_a_single_value_or_none() -> None:
    for length, name in VALUES.items():
        plain, dotted = value_of(length), value_of(length * F(3, 2))
        assert plain is not None and (plain.name, plain.dotted) == (name, False)
        if length > F(1, 8):
            assert dotted is not None and (dotted.name, dotted.dotted) == (name, True)
    assert value_of(F(5, 4)) is None


@pytest.mark.parametrize("example", ["01-slack-water", "03-breakwater", "06-answer", "07-harbour"])
def test_what_stands_above_the_staff_is_known_before_the_bars_are_written(example: str) -> None:
    (path,) = (Path(__file__).parents[1] / "examples").glob(f"{example}*.toml")
    for tempos in islice(by_piece(midiforge.exercises(midiforge.read_drill(path))), 6):
        written, known = write(tempos), unwritten(tempos)
        assert (known.above, known.exercises) == (written.above, written.exercises)
        assert not known.passages
