"""Facts that hold for every drill, tried on random ones (hypothesis, always the same ones).

What is compared against is worked out here from the letters of the sticking and from arithmetic,
not by the functions that make exercises.
"""

import io
from collections import Counter
from dataclasses import replace
from fractions import Fraction
from itertools import groupby
from math import lcm
from typing import Any

import mido
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from midiforge import check_drill
from midiforge.calls import exercises
from midiforge.midi import smf
from midiforge.midi.exercise_file import exercise_bytes
from midiforge.model.exercise import Exercise
from midiforge.model.hit import Hit, Limb, Strength
from midiforge.model.meter import Meter
from midiforge.model.piece import Dynamics
from midiforge.model.tempo import TempoMap
from midiforge.phrase.phrase import Phrase, Stroke
from midiforge.phrase.sticking import parse_sticking, write_sticking

Content = dict[str, Any]

settings.register_profile(
    "midiforge",
    derandomize=True,
    deadline=None,
    database=None,
    max_examples=60,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)
settings.load_profile("midiforge")

RH, LH, RF, LF = Limb.RIGHT_HAND, Limb.LEFT_HAND, Limb.RIGHT_FOOT, Limb.LEFT_FOOT

# Meters, and numbers of grid steps to a beat that fill each of their beats.
METERS = {
    "4/4": (1, 2, 3, 4, 5, 6, 7),
    "3/4": (2, 3, 4, 5),
    "2/2": (2, 4, 6),
    "5/4": (1, 2, 3),
    "6/8": (3, 6, 2),
    "12/8": (3, 6),
    "7/8": (1, 2),
    "2+2+3/8": (2, 4),
}
# Each a cymbal or drum apart, so that no two voices are one note.
VOICES = ("hihat-closed", "ride", "ride-bell", "tom-high", "floor-tom", "crash")


# Strategies


@st.composite
def hand_strokes(draw: st.DrawFn, limb: Limb, grace: bool = True) -> Stroke:
    strength = draw(st.sampled_from(Strength))
    added = draw(st.sampled_from(("", "", "", "grace", "buzz")))
    if added == "grace" and grace:
        return Stroke(limb, strength, grace=draw(st.integers(1, 4)))
    return Stroke(limb, strength, buzz=added == "buzz")


@st.composite
def steps(draw: st.DrawFn, feet: bool = True) -> tuple[Stroke, ...]:
    """A grid step: a rest, a hand, both hands, a foot, or a hand with a foot."""
    kinds = ["R", "L", "R", "L", "-", "B"] + ["K", "H", "R+K"] * feet
    kind = draw(st.sampled_from(kinds))
    foot_strength = draw(st.sampled_from((Strength.TAP, Strength.ACCENT)))
    if kind == "-":
        return ()
    if kind == "B":
        right, left = (draw(hand_strokes(limb, grace=False)) for limb in (RH, LH))
        if left.strength is Strength.ACCENT:
            right = replace(left, limb=RH)
        return right, left
    if kind == "K":
        return (Stroke(RF, foot_strength),)
    if kind == "H":
        return (Stroke(LF, foot_strength),)
    if kind == "R+K":
        return (draw(hand_strokes(RH)), Stroke(RF))
    return (draw(hand_strokes(RH if kind == "R" else LH)),)


@st.composite
def phrases(draw: st.DrawFn, feet: bool = True, longest: int = 8) -> Phrase:
    found = draw(st.lists(steps(feet), min_size=1, max_size=longest))
    assume(any(found))
    return Phrase("random", tuple(found))


@st.composite
def grids(draw: st.DrawFn, least: int = 1, most: int = 6) -> str:
    """A pattern on a grid, such as "x..>.g"."""
    marks = draw(st.lists(st.sampled_from("...xx>g"), min_size=least, max_size=most))
    assume(set(marks) - {"."})
    return "".join(marks)


@st.composite
def drills(draw: st.DrawFn, turns: bool = True, hands_only: bool = False) -> Content:
    """A drill of one sticking with feet that never take a limb of the sticking's."""
    phrase = draw(phrases(feet=not hands_only))
    meter = draw(st.sampled_from(sorted(METERS)))
    content: Content = {
        "sticking": write_sticking(phrase),
        "meter": meter,
        "steps": draw(st.sampled_from(METERS[meter])),
        "count_in": draw(st.integers(0, 2)),
        "click": draw(st.sampled_from(("throughout", "count-in", "off"))),
        "flam_ms": 10,
        "drag_ms": 10,
    }
    free = [limb for limb in (RF, LF) if limb not in phrase.limbs]
    feet = [f"{draw(grids())} on {limb}" for limb in free if draw(st.booleans())]
    if feet:
        content["feet"] = feet
    if turns and draw(st.booleans()):
        many = st.lists(st.sampled_from(VOICES), min_size=2, max_size=3, unique=True)
        content["voicing"] = {
            rule: "/".join(draw(many)) for rule in ("RH", "LH accent") if draw(st.booleans())
        }
    return content


def made(content: Content, stage: str = "full") -> Exercise:
    """The one exercise of a drill's stage."""
    (found,) = exercises(check_drill({**content, "stages": stage}))
    return found


# What is compared


Sound = tuple[Fraction, Limb | None, str, Strength, object]


def sounds(hits: tuple[Hit, ...], late: Fraction = Fraction(0)) -> Counter[Sound]:
    """What the player and the layers play, without the click, as a multiset."""
    return Counter(
        (hit.time + late, hit.limb, hit.voice, hit.strength, hit.ornament)
        for hit in hits
        if hit.layer != "click"
    )


def turned(exercise: Exercise, late: Fraction) -> Counter[Sound]:
    """The loop begun `late` quarter notes later and wrapped round."""
    return Counter(
        ((time + late) % exercise.length, *rest)
        for (time, *rest) in sounds(exercise.hits).elements()
    )


def strokes(hits: tuple[Hit, ...], limbs: frozenset[Limb]) -> Counter[tuple[object, ...]]:
    """Who strikes how, wherever: limb, strength, number of grace notes, buzz."""
    return Counter(
        (
            hit.limb,
            hit.strength,
            hit.ornament.grace_notes if hit.ornament else 0,
            hit.ornament is not None and hit.ornament.kind == "buzz",
        )
        for hit in hits
        if hit.limb in limbs and hit.layer != "click"
    )


def smallest_period(items: tuple[object, ...]) -> int:
    size = len(items)
    turns = (n for n in range(1, size + 1) if size % n == 0 and items[n:] + items[:n] == items)
    return next(turns)


# Stickings as text


@given(phrases(longest=20), st.integers(0, 5))
def test_a_sticking_written_down_is_read_back_the_same(phrase: Phrase, group: int) -> None:
    text = write_sticking(phrase, group)
    assert parse_sticking(text).steps == phrase.steps
    assert write_sticking(parse_sticking(text), group) == text


@pytest.mark.parametrize("text", ["R+>K", "(R)+>L", ">R+>K"])
def test_an_accent_on_the_second_of_two_strokes_is_written_and_read(text: str) -> None:
    first, second = text.split("+")
    (step,) = parse_sticking(first).steps
    (other,) = parse_sticking(second).steps
    phrase = Phrase("", ((*step, *other),))
    assert write_sticking(phrase) == text
    assert parse_sticking(text).steps == phrase.steps


@given(phrases())
def test_accents_on_a_line_of_their_own_are_the_same_as_typed_ones(phrase: Phrase) -> None:
    # One stroke of a hand a step, so that each has a column of its own.
    plain = tuple(step[:1] for step in phrase.steps)
    assume(any(plain))
    marks = letters = ""
    for step in plain:
        bare = tuple(replace(s, strength=Strength.TAP) for s in step)
        word = write_sticking(Phrase("", (bare,)))
        ghost = bool(step) and step[0].strength is Strength.GHOST
        accent = bool(step) and step[0].strength is Strength.ACCENT
        word = f"({word})" if ghost else word
        capital = next(i for i, letter in enumerate(word) if letter in "RLKH-")
        marks += " " * capital + (">" if accent else " ") + " " * (len(word) - capital)
        letters += word + " "
    text = f"{marks}\n{letters}" if ">" in marks else letters
    assert parse_sticking(text).steps == plain


# Moving a phrase


@given(phrases(), st.integers(-30, 30), st.integers(-30, 30))
def test_placements_of_a_phrase_compose(phrase: Phrase, k: int, m: int) -> None:
    assert phrase.placed(k).placed(m) == phrase.placed(k + m)


@given(phrases(), st.integers(0, 40))
def test_a_placed_phrase_has_step_i_at_i_plus_k(phrase: Phrase, k: int) -> None:
    moved = phrase.placed(k)
    for i, step in enumerate(phrase.steps):
        assert moved.steps[(i + k) % len(phrase)] == step


@given(phrases())
def test_a_full_turn_two_swaps_and_two_reversals_change_nothing(phrase: Phrase) -> None:
    assert phrase.placed(len(phrase)) == phrase
    assert phrase.swapped().swapped() == phrase
    assert phrase.reversed().reversed() == phrase


@given(phrases())
def test_swapping_changes_hands_and_nothing_else(phrase: Phrase) -> None:
    other = {RH: LH, LH: RH, RF: RF, LF: LF}
    for before, after in zip(phrase.steps, phrase.swapped().steps, strict=True):
        assert after == tuple(replace(s, limb=other[s.limb]) for s in before)


@given(phrases(), st.integers(0, 20))
def test_the_period_is_the_smallest_placement_that_changes_nothing(
    phrase: Phrase, late: int
) -> None:
    period = smallest_period(phrase.steps)
    assert phrase.period == phrase.placed(late).period == period


# Exercises


@given(drills())
def test_nothing_is_lost_and_nothing_added(content: Content) -> None:
    phrase = parse_sticking(content["sticking"])
    exercise = made(content)
    period = smallest_period(phrase.steps)
    turns = exercise.length / (period * exercise.step)
    assert turns.denominator == 1
    once = Counter(
        (s.limb, s.strength, s.grace, s.buzz) for step in phrase.steps[:period] for s in step
    )
    expected = Counter({key: count * int(turns) for key, count in once.items()})
    assert strokes(exercise.hits, phrase.limbs) == expected


@given(drills())
def test_every_stroke_is_where_the_sticking_puts_it(content: Content) -> None:
    phrase = parse_sticking(content["sticking"])
    exercise = made(content)
    expected: Counter[tuple[Fraction, Limb]] = Counter()
    for i in range(int(exercise.length / exercise.step)):
        for stroke in phrase.steps[i % len(phrase)]:
            expected[i * exercise.step, stroke.limb] += 1
    found = Counter(
        (hit.time, hit.limb)
        for hit in exercise.hits
        if hit.limb in phrase.limbs and hit.layer != "click"
    )
    assert found == expected


@given(drills())
def test_the_feet_repeat_on_their_own_length_whatever_the_hands_do(content: Content) -> None:
    assume("feet" in content)
    exercise = made(content)
    for line in content["feet"]:
        pattern, limb = line.split(" on ")
        size = len(pattern)
        steps_written = int(exercise.length / exercise.step)
        expected = {i * exercise.step for i in range(steps_written) if pattern[i % size] != "."}
        assert {hit.time for hit in exercise.hits if hit.limb == limb} == expected
        # The seam: the pattern begins again with the loop.
        marks = "".join(pattern[i % size] for i in range(steps_written))
        assert steps_written % smallest_period(tuple(pattern)) == 0, marks


@given(drills())
def test_the_loop_played_twice_is_the_loop_of_double_length(content: Content) -> None:
    once, twice = made(content), made({**content, "repeats": 2})
    assert twice.length == 2 * once.length
    assert twice.returns_after_bars == once.returns_after_bars
    both = sounds(once.hits) + sounds(once.hits, once.length)
    assert sounds(twice.hits) == both


@given(drills())
def test_it_comes_round_after_the_bars_it_says_and_no_sooner(content: Content) -> None:
    exercise = made({**content, "repeats": 2})
    bar, bars = exercise.meter.bar, exercise.returns_after_bars
    assert exercise.bars == 2 * bars
    content_of_loop = turned(exercise, Fraction(0))
    assert turned(exercise, bars * bar) == content_of_loop
    # A smaller period would make one of the proper divisors a period too.
    for smaller in range(1, bars):
        if bars % smaller == 0:
            assert turned(exercise, smaller * bar) != content_of_loop, smaller


@given(drills(turns=False), st.integers(0, 20))
def test_a_placement_turns_the_phrase_against_the_bar_line_and_leaves_the_feet(
    content: Content, k: int
) -> None:
    limbs = parse_sticking(content["sticking"]).limbs
    still, moved = made(content), made({**content, "placements": f"+{k}"})
    assert moved.length == still.length
    late = k * still.step
    for mine in (True, False):
        found = Counter({s: n for s, n in sounds(moved.hits).items() if (s[1] in limbs) == mine})
        before = turned(still, late if mine else Fraction(0))
        assert found == Counter({s: n for s, n in before.items() if (s[1] in limbs) == mine})


@given(drills(), st.integers(0, 12), st.integers(0, 12))
def test_placing_a_placed_sticking_adds_up(content: Content, k: int, m: int) -> None:
    phrase = parse_sticking(content["sticking"])
    size = len(phrase)
    already = Phrase("", phrase.steps[-k % size :] + phrase.steps[: -k % size])
    assert write_sticking(already) == write_sticking(phrase.placed(k))
    first = made({**content, "sticking": write_sticking(already), "placements": f"+{m}"})
    second = made({**content, "placements": f"+{k + m}"})
    assert first.hits == second.hits


@given(drills())
def test_a_full_turn_is_the_exercise_itself_and_is_dropped_beside_it(content: Content) -> None:
    size = len(parse_sticking(content["sticking"]))
    assert made({**content, "placements": f"+{size}"}).hits == made(content).hits
    dropped: list[object] = []
    both = {**content, "placements": [0, size], "stages": "full"}
    assert len(list(exercises(check_drill(both), dropped.append))) == 1
    assert len(dropped) == 1


@given(drills())
def test_every_placement_of_the_phrase_comes_once_or_is_reported_as_dropped(
    content: Content,
) -> None:
    phrase = parse_sticking(content["sticking"])
    dropped: list[object] = []
    drill = check_drill({**content, "placements": "phrase", "stages": "full"})
    found = list(exercises(drill, dropped.append))
    assert len(found) == smallest_period(phrase.steps)
    assert len(found) + len(dropped) == len(phrase)
    assert len({each.hits for each in found}) == len(found)


@given(drills(turns=False, hands_only=True), st.integers(0, 12))
def test_accents_moved_alone_leave_the_sticking(content: Content, late: int) -> None:
    still = made({**content, "accents": "none"})
    moved = made({**content, "accents": "own", "accent_placements": f"+{late}"})

    def hands(exercise: Exercise) -> Counter[tuple[object, ...]]:
        return Counter(
            (hit.time, hit.limb, hit.voice, hit.ornament)
            for hit in exercise.hits
            if hit.limb and hit.limb.is_hand
        )

    # The loop may be longer or shorter where accents have a period of their own.
    length = lcm(still.bars, moved.bars) * still.meter.bar
    filled = [
        {(t + i * each.length, *rest) for (t, *rest) in hands(each) for i in range(turns)}
        for each in (still, moved)
        for turns in (int(length / each.length),)
    ]
    assert filled[0] == filled[1]


@given(drills(turns=False, hands_only=True), st.integers(0, 12), st.integers(0, 12))
def test_the_sticking_moved_alone_leaves_the_accents(content: Content, k: int, late: int) -> None:
    steps_of = parse_sticking(content["sticking"]).steps
    size = len(steps_of)
    mask = [any(s.strength is Strength.ACCENT for s in step) for step in steps_of]
    moved = made({**content, "placements": f"+{k}", "accent_placements": f"+{late}"})
    expected = {
        i * moved.step
        for i in range(int(moved.length / moved.step))
        if mask[(i - late) % size] and steps_of[(i - k) % size]
    }
    found = {
        hit.time
        for hit in moved.hits
        if hit.strength is Strength.ACCENT and hit.limb and hit.limb.is_hand
    }
    assert found == expected


@given(drills(turns=False, hands_only=True), grids(least=2))
def test_typed_accents_fall_where_they_are_typed_on_whatever_is_struck(
    content: Content, pattern: str
) -> None:
    steps_of = parse_sticking(content["sticking"]).steps
    accented = made({**content, "accents": pattern})
    expected = {
        i * accented.step
        for i in range(int(accented.length / accented.step))
        if pattern[i % len(pattern)] != "." and steps_of[i % len(steps_of)]
    }
    found = {
        hit.time
        for hit in accented.hits
        if hit.strength is Strength.ACCENT and hit.limb and hit.limb.is_hand
    }
    assert found == expected


@given(drills(turns=False, hands_only=True), st.integers(1, 2), st.integers(1, 2), grids(least=2))
def test_a_form_plays_the_groove_in_its_bars_and_the_phrase_goes_on_where_it_left_off(
    content: Content, time_bars: int, phrase_bars: int, groove: str
) -> None:
    content.pop("feet", None)
    steps_of = parse_sticking(content["sticking"]).steps
    form = f"{time_bars} time {phrase_bars} exercise"
    exercise = made({**content, "form": form, "groove": f"{groove} on RH"})
    steps_in_bar = int(exercise.meter.bar / exercise.step)
    expected, done = set(), 0
    for i in range(exercise.bars * steps_in_bar):
        if i // steps_in_bar % (time_bars + phrase_bars) < time_bars:
            struck = [RH] if groove[i % len(groove)] != "." else []
        else:
            struck = [stroke.limb for stroke in steps_of[done % len(steps_of)]]
            done += 1
        expected |= {(i * exercise.step, limb) for limb in struck}
    assert done % smallest_period(steps_of) == 0
    assert {(hit.time, hit.limb) for hit in exercise.hits if hit.limb} == expected


def moved(content: dict[str, Any], moves: dict[str, Any]) -> dict[str, Any]:
    """The drill with its moves; gaps need a click to be left out of."""
    return {**content, **moves, **({"click": "throughout"} if "gap" in moves else {})}


MOVES = st.fixed_dictionaries(
    {},
    optional={
        "placements": st.sampled_from(("beat", "0,1,2")),
        "accents": st.sampled_from(("own", "beats,none", "own,x..")),
        "lead": st.sampled_from(("both", "swapped")),
        "direction": st.sampled_from(("both", "backward")),
        "feet_placements": st.sampled_from(("beat", "0,1")),
        "entry": st.just("late"),
        "repeats": st.integers(1, 2),
        "tempos": st.just("60,80"),
        "form": st.sampled_from(("1 call 1 response", "1 exercise")),
        "gap": st.just("1 on 1 off"),
    },
)


@settings(max_examples=50)
@given(drills(), MOVES)
def test_hits_are_in_order_and_inside_the_exercise(content: Content, moves: Content) -> None:
    lesson = list(exercises(check_drill(moved(content, moves))))
    assert lesson
    for exercise in lesson:
        times = [hit.time for hit in exercise.hits]
        assert times == sorted(times)
        assert times[0] >= -exercise.count_in
        assert times[-1] < exercise.length
        assert all(hit.layer == "click" for hit in exercise.hits if hit.time < 0)
        assert all(0 <= hit.time < exercise.length for hit in exercise.answers)
        struck = Counter((hit.time, hit.limb) for hit in exercise.hits if hit.limb)
        assert not struck or max(struck.values()) == 1
        assert exercise.loop_start < exercise.length
    assert [str(each.number) for each in lesson] == numbers_of(lesson)


def numbers_of(lesson: list[Exercise]) -> list[str]:
    """What they should be called: pieces from 1, told apart by what differs besides the tempo."""
    found: list[str] = []
    groups = groupby(lesson, key=lambda each: (each.stage, each.title))
    for piece, (_, some) in enumerate(groups, start=1):
        tempos = [*some]
        letters = "abcdefghijklmnopqrstuvwxyz" if len(tempos) > 1 else [""]
        found += [f"{piece}{letter}" for _, letter in zip(tempos, letters, strict=False)]
    return found


def assert_titles_differ(content: Content) -> None:
    lesson = list(exercises(check_drill(content)))
    titles = [(each.title, each.tempo.first) for each in lesson]
    assert len(titles) > 1
    assert len(set(titles)) == len(titles)


@settings(max_examples=50)
@given(drills(hands_only=True), MOVES)
def test_no_two_exercises_of_a_lesson_have_one_title_at_one_tempo(
    content: Content, moves: Content
) -> None:
    assert_titles_differ(moved(content, moves))


def test_one_sticking_on_two_grids_has_two_titles() -> None:
    assert_titles_differ({"sticking": "RLRR LRLL", "steps": "4,3"})


def test_feet_inside_a_placed_phrase_have_a_title_for_each_placement() -> None:
    assert_titles_differ({"sticking": "RLK-", "placements": "0,1", "stages": "feet"})


@settings(max_examples=50)
@given(drills(turns=False), st.integers(1, 12))
def test_a_late_entry_is_silent_at_first_and_then_the_loop(content: Content, k: int) -> None:
    wrapped = made(content)
    assume(k * wrapped.step <= wrapped.length)
    assert_late_entry(content, k)


def test_an_entry_later_than_one_loop_leaves_the_loop_whole() -> None:
    assert_late_entry({"sticking": "RLRR", "meter": "2/4", "steps": 2}, 5)


def assert_late_entry(content: Content, k: int) -> None:
    limbs = parse_sticking(content["sticking"]).limbs
    wrapped = made({**content, "placements": f"+{k}"})
    late = made({**content, "placements": f"+{k}", "entry": "late"})
    silent = k * late.step
    first_time = late.length - wrapped.length
    assert late.loop_start == first_time
    assert first_time % wrapped.length == 0
    first = Counter({s: n for s, n in sounds(late.hits).items() if s[0] < first_time})
    rounds = range(int(first_time / wrapped.length))
    whole = sum((sounds(wrapped.hits, i * wrapped.length) for i in rounds), Counter())
    assert first == Counter({s: n for s, n in whole.items() if s[1] not in limbs or s[0] >= silent})
    assert sounds(late.hits) - first == sounds(wrapped.hits, first_time)


# Time in ticks


def swung(time: Fraction, pair: Fraction, first: Fraction, bar: Fraction = Fraction(4)) -> Fraction:
    """Where a time is played: the first half of each pair stretched to the share `first`.

    Only what halving a pair leads to moves, as the swing says of itself: no triplets. Pairs are
    counted from the bar line, and half a pair at the end of a bar is straight.
    """
    place = time % bar / pair % 1
    if bin(place.denominator).count("1") > 1 or time % bar >= bar // pair * pair:
        return time
    stretched = place * 2 * first if place < Fraction(1, 2) else 1 - (1 - place) * 2 * (1 - first)
    return time - place * pair + stretched * pair


def note_ticks(data: bytes) -> list[int]:
    """The ticks of all notes of a format 0 file, in order."""
    at, found = 0, []
    for message in mido.MidiFile(file=io.BytesIO(data)).tracks[0]:
        at += message.time
        if message.type == "note_on":
            found.append(at)
    return found


SWINGS = {
    "1:1": Fraction(1, 2),
    "2:1": Fraction(2, 3),
    "3:2": Fraction(3, 5),
    "7:5": Fraction(7, 12),
}


@given(drills(), st.sampled_from(sorted(SWINGS)))
def test_a_legal_division_puts_every_time_on_a_tick(content: Content, swing: str) -> None:
    pair = Fraction(1)
    exercise = made({**content, "swing": swing, "swing_pair": "eighth"})
    division = smf.division(exercise.parts)
    assert 0 < division < 0x8000
    assume(division % exercise.parts == 0)
    for hit in exercise.hits:
        played = swung(hit.time, pair, SWINGS[swing], exercise.meter.bar)
        assert (played * division).denominator == 1
    assert all((section.start * division).denominator == 1 for section in exercise.sections)


@given(drills(), st.sampled_from(sorted(SWINGS)))
def test_swing_moves_no_bar_line_and_every_bar_swings_as_the_first(
    content: Content, swing: str
) -> None:
    """In odd meters too, in which half a pair of eighths is left behind the last whole one."""
    exercise = made({**content, "swing": swing, "swing_pair": "eighth"})
    bar, played = exercise.meter.bar, exercise.swing.played
    for number in range(exercise.bars + 1):
        assert played(number * bar) == number * bar
    for hit in exercise.hits:
        assert played(hit.time) - played(hit.time // bar * bar) == played(hit.time % bar)
        assert played(hit.time) < exercise.length


@pytest.mark.parametrize("meter", ["3/8", "5/8", "7/8", "13/16", "2+2+3/8"])
@pytest.mark.parametrize("swing", ["3:1", "2:1"])
def test_tracks_of_swung_odd_bars_end_with_the_loop(meter: str, swing: str) -> None:
    drill = check_drill(
        {"sticking": "RL", "meter": meter, "steps": 4, "swing": swing, "swing_pair": "eighth"}
    )
    for exercise in exercises(drill):
        file = mido.MidiFile(file=io.BytesIO(exercise_bytes(exercise, drill.kit)))
        length = float(exercise.length + exercise.count_in) * file.ticks_per_beat
        assert {sum(message.time for message in track) for track in file.tracks} == {length}


@given(st.integers(1, 0x7FFF))
def test_a_division_is_a_multiple_of_the_parts_wherever_one_is_legal(parts: int) -> None:
    division = smf.division(parts)
    assert division % parts == 0
    assert 24 <= division <= 0x7FFF  # MIDI clocks come 24 to a quarter note


@settings(max_examples=15)
@given(phrases(feet=False, longest=7), st.sampled_from(("17:12", "16:7", "29:28")))
def test_where_no_division_is_legal_every_note_is_rounded_on_its_own(
    phrase: Phrase, swing: str
) -> None:
    bare = Phrase("", tuple(tuple(Stroke(s.limb) for s in step[:1]) for step in phrase.steps))
    content = {
        "sticking": write_sticking(bare),
        "steps": [8, 5, 7, 9, 11],  # the first of them swings
        "swing": swing,
        "swing_pair": "eighth",
        "click": "off",
        "count_in": 0,
        "repeats": 3,
        "stages": "full",
    }
    drill = check_drill(content)
    long, short = (int(part) for part in swing.split(":"))
    share = Fraction(long, long + short)
    for exercise in exercises(drill):
        assert exercise.parts > 0x7FFF
        division = smf.division(exercise.parts)
        expected = [swung(hit.time, Fraction(1), share) for hit in exercise.hits]
        found = note_ticks(exercise_bytes(exercise, drill.kit, file_format=0))
        assert len(found) == len(expected)
        for tick, time in zip(found, expected, strict=True):
            assert abs(Fraction(tick, division) - time) <= Fraction(1, 2 * division)


@given(st.sampled_from(sorted(METERS)), st.integers(1, 40), st.integers(1, 200))
def test_ticks_are_the_nearest_and_never_half_a_tick_off(
    meter: str, below: int, above: int
) -> None:
    time = Meter.parse(meter).bar * Fraction(above, below)
    for division in (480, 960, 27720):
        tick = smf.ticks(time, division)
        assert abs(tick - time * division) <= Fraction(1, 2)
        assert smf.ticks(time + 4, division) == tick + 4 * division


def test_a_groove_that_no_bar_of_the_form_asks_for_changes_nothing() -> None:
    keys = {"sticking": "R L R L R", "meter": "5/4", "steps": 1}
    plain, with_groove = made(keys), made({**keys, "groove": "jazz-ride"})
    assert with_groove.hits == plain.hits
    assert with_groove.returns_after_bars == plain.returns_after_bars == 1


def test_a_swung_buzz_ends_before_the_stroke_behind_it() -> None:
    from midiforge import notes, read_kit

    exercise = made(
        {"sticking": "R Rz L R", "steps": 2, "swing": "3:1", "tempos": 60, "stages": "hands"}
    )
    found = [note for note in notes(exercise, read_kit("general-midi-1")) if note.part != "click"]
    seconds = sorted((float(note.time) + note.offset / 1000, note.offset) for note in found)
    [left] = [float(note.time) for note in found if note.part == "LH" and note.time < 2]
    bounces = [at for at, offset in seconds if offset and at < 2]
    assert bounces and max(bounces) < left


@given(
    steps=st.lists(st.tuples(st.integers(1, 12), st.integers(20, 400)), min_size=1, max_size=6),
    pulse=st.sampled_from([Fraction(1), Fraction(3, 2), Fraction(1, 2)]),
    start=st.integers(-8, 60),
    lasting=st.integers(0, 60),
)
def test_a_tempo_map_adds_up_piece_by_piece(
    steps: list[tuple[int, int]], pulse: Fraction, start: int, lasting: int
) -> None:
    # By quarters of a quarter note, each as long as the tempo that holds there has it.
    changes, time = [], Fraction(0)
    for length, tempo in steps:
        changes.append((time, Fraction(tempo)))
        time += Fraction(length, 4)
    tempos = TempoMap(pulse, tuple(changes))
    total = Fraction(0)
    for at in (Fraction(start + i, 4) for i in range(lasting)):
        holding = [tempo for begins, tempo in changes if begins <= at] or [changes[0][1]]
        total += Fraction(15) / (holding[-1] * pulse)
        assert tempos.quarter(at + Fraction(1, 4)) == Fraction(60) / (holding[-1] * pulse)
    assert tempos.seconds(Fraction(start, 4), Fraction(start + lasting, 4)) == total


@given(
    points=st.lists(st.tuples(st.integers(0, 8), st.integers(1, 9)), max_size=6),
    time=st.integers(-4, 40),
)
def test_a_level_lies_between_the_points_around_it(
    points: list[tuple[int, int]], time: int
) -> None:
    drawn = tuple((Fraction(at), Fraction(level)) for at, level in sorted(points))
    at = Fraction(time, 4)
    before = [level for place, level in drawn if place <= at]
    later = [(place, level) for place, level in drawn if place > at]
    level = Dynamics(drawn).level(at)
    if not drawn:
        assert level == 1
    elif not before:
        assert level == later[0][1]
    elif not later:
        assert level == before[-1]
    else:
        (place, last), start = later[0], max(p for p, _ in drawn if p <= at)
        assert (level - before[-1]) * (place - start) == (last - before[-1]) * (at - start)
