"""Each stroke stands under its own count: in `show` and on the live screen, on random drills.

Counts are read back from the text: what is said from one number to the next divides a beat into
equal parts (common practice).
"""

import random
import re
from collections.abc import Iterable
from fractions import Fraction
from itertools import accumulate, pairwise

import pytest

import midiforge
from midiforge.live.screen.stave import Columns
from midiforge.live.screen.stave import Stave as LiveStave
from midiforge.model.exercise import Exercise
from midiforge.model.hit import FEET, HANDS, Hit, OrnamentKind, Strength
from midiforge.screen.stave import Stave

STEPS = {"4/4": (1, 2, 3, 4, 5, 6, 7, 8), "12/8": (3, 6, 2), "2+2+3/8": (2, 4), "3/4": (2, 3, 4)}
FEET_PATTERNS = ("samba", "tumbao", "hihat-eighths", "x..>. on LF")
IN_QUARTERS = (*FEET_PATTERNS, "shuffle on RF")  # triplets, which no dotted beat is counted in
STROKES = ("R", "L", "-", ">R", ">L", "(R)", "(L)", "lR", "rrL", ">lR", "Rz", "(Lz)", "B", ">B")
ESCAPE = re.compile(r"\x1b\[[0-9;]*m")
NARROW, WIDE = 40, 1000

Placed = set[tuple[str, Fraction, str]]  # who, when in the bar, how it is spelled


def exercise_of(seed: int) -> Exercise:
    chance = random.Random(seed)
    meter = chance.choice([*STEPS])
    keys = {
        "sticking": " ".join(chance.choices(STROKES, k=chance.randint(2, 9))) + " R",
        "meter": meter,
        "steps": chance.choice(STEPS[meter]),
        "feet": chance.choice(IN_QUARTERS if meter.endswith("/4") else FEET_PATTERNS),
        "stages": "full",
    }
    return next(midiforge.exercises(midiforge.check_drill(keys)))


def spelling(hit: Hit) -> str:
    assert hit.limb
    letter = {"RH": "R", "LH": "L", "RF": "K", "LF": "H"}[hit.limb]
    grace = ("l" if letter == "R" else "r") * (hit.ornament.grace_notes if hit.ornament else 0)
    buzz = "z" if hit.ornament and hit.ornament.kind is OrnamentKind.BUZZ else ""
    text = grace + letter + buzz
    return {Strength.ACCENT: f">{text}", Strength.GHOST: f"({text})"}.get(hit.strength, text)


def struck(exercise: Exercise, number: int) -> Placed:
    bar = exercise.meter.bar
    return {
        (hit.limb.title, hit.time - number * bar, spelling(hit))
        for hit in exercise.hits
        if hit.limb and number * bar <= hit.time < (number + 1) * bar
    }


def words(line: str) -> list[tuple[int, str]]:
    return [(found.start(), found[0]) for found in re.finditer(r"\S+", line)]


def times_of(exercise: Exercise, counts: Iterable[str]) -> dict[int, Fraction]:
    """When each count is, by where it stands; all rows of counts agree on that."""
    known: dict[int, Fraction] = {}
    starts = [*accumulate(exercise.meter.beat_lengths, initial=Fraction(0))]
    for row in counts:
        said = words(row)
        numbers = [i for i, (_, text) in enumerate(said) if text.isdigit()]
        beats = zip(pairwise([*numbers, len(said)]), pairwise(starts), strict=True)
        for (first, end), (start, stop) in beats:
            for i in range(first, end):
                time = start + (i - first) * (stop - start) / (end - first)
                assert known.setdefault(said[i][0], time) == time
    return known


@pytest.mark.parametrize("room", [NARROW, WIDE])
@pytest.mark.parametrize("seed", range(40))
def test_on_the_live_screen_each_stroke_stands_under_its_own_count(seed: int, room: int) -> None:
    exercise = exercise_of(seed)
    columns = Columns(exercise)
    for number in range(min(exercise.bars, 3)):
        shown = LiveStave(*columns.bar(number), room)
        lines = [
            [ESCAPE.sub("", row) for row in shown.rows(line, -1, counts_only=False)]
            for line in range(len(shown.lines))
        ]
        rows = ["".join(row.ljust(room + 9) for row in each) for each in zip(*lines, strict=True)]
        *counts, right, left, feet = rows
        times = times_of(exercise, counts)
        found = {
            (who, times[at], text)
            for who, row in (("right hand", right), ("left hand", left))
            for at, text in words(row)
        }
        found |= {
            ("right foot" if "K" in stroke else "left foot", times[at], stroke)
            for at, text in words(feet)
            for stroke in re.findall(r">[KH]|\([KH]\)|[KH]", text)
        }
        assert found == struck(exercise, number)
        played = [float(time) for time in sorted(times.values())]
        assert [each.at for each in columns.bar(number)[0]] == sorted(set(played))


@pytest.mark.parametrize("seed", range(40))
def test_in_show_each_stroke_stands_under_its_own_count(seed: int) -> None:
    exercise = exercise_of(seed)
    rows = {}
    for line in Stave(exercise, most_bars=1).lines(WIDE):
        text = "".join(piece for piece, _ in line)
        rows[text[:12].strip()] = " " * 12 + text[12:]
    times = times_of(exercise, (row for name, row in rows.items() if re.match("count|in ", name)))
    above = {at for at, _ in words(rows.get("accent", ""))}
    found = set()
    for limb in (*HANDS, *FEET):
        for at, text in words(rows.get(limb.title, "")):
            if text != ".":
                place = at + text.index(limb.letter)
                over = ">" if limb.is_hand and place in above and ">" not in text else ""
                found.add((limb.title, times[place], over + text))
    assert found == struck(exercise, 0)
