"""Each stroke stands under its own count: in `show` and on the live screen, which agree on it.

Counts are read back from the text: what is said from one number to the next divides a beat into
equal parts (common practice).
"""

import random
import re
from collections.abc import Callable, Iterable, Iterator
from fractions import Fraction
from itertools import accumulate, pairwise
from pathlib import Path

import pytest

import midiforge
from midiforge.live.screen.columns import Columns
from midiforge.live.screen.columns import Setting as LiveSetting
from midiforge.model.exercise import Exercise, by_piece, fastest
from midiforge.model.hit import FEET, HANDS, Hit, OrnamentKind, Strength
from midiforge.screen.setting import Setting
from midiforge.stave import Stave

EXAMPLES = sorted((Path(__file__).parent.parent / "examples").glob("0*.toml"))
STEPS = {"4/4": (1, 2, 3, 4, 5, 6, 7, 8), "12/8": (3, 6, 2), "2+2+3/8": (2, 4), "3/4": (2, 3, 4)}
FEET_PATTERNS = ("samba", "tumbao", "hihat-eighths", "x..>. on LF")
IN_QUARTERS = (*FEET_PATTERNS, "shuffle on RF")  # triplets, which no dotted beat is counted in
STROKES = ("R", "L", "-", ">R", ">L", "(R)", "(L)", "lR", "rrL", ">lR", "Rz", "(Lz)", "B", ">B")
ESCAPE = re.compile(r"\x1b\[[0-9;]*m")
NARROW, WIDE = 40, 100_000
MOST_BARS = 8

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
        for hit in (*exercise.hits, *exercise.answers)
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


def read_live(exercise: Exercise, room: int) -> Iterator[Placed]:
    """What stands on the live screen, bar by bar."""
    stave = Stave(exercise, beside=False)
    for number in range(min(exercise.bars, MOST_BARS)):
        columns = Columns(stave, number)
        shown = LiveSetting(columns, room)
        lines = [
            [ESCAPE.sub("", row) for row in shown.rows(line, -1, counts_only=False)]
            for line in range(len(shown.lines))
        ]
        rows = ["".join(row.ljust(room + 9) for row in each) for each in zip(*lines, strict=True)]
        *counts, right, left, feet = rows
        times = times_of(exercise, counts)
        placed = {
            (who, times[at], text)
            for who, row in (("right hand", right), ("left hand", left))
            for at, text in words(row)
        }
        yield placed | {
            ("right foot" if "K" in stroke else "left foot", times[at], stroke)
            for at, text in words(feet)
            for stroke in re.findall(r">[KH]|\([KH]\)|[KH]", text)
        }
        if exercise.swing.is_straight:
            assert columns.at == sorted({float(time) for time in times.values()})


def read_show(exercise: Exercise) -> Iterator[tuple[list[int], Placed]]:
    """What `show` prints: the numbers of like bars, and what stands in them."""
    setting = Setting(exercise, most_bars=MOST_BARS)
    lines = ["".join(piece for piece, _ in line) for line in setting.lines(WIDE)]
    label = max(len(row.label) for row in setting.bars[0].rows) + 2
    rows = {line[:label].strip(): " " * label + line[label:] for line in lines[1:]}
    count = rows["count"]
    ends = [-1, *(at for at, text in words(count) if text == "|"), len(count) + label]
    for bar, (start, end) in zip(setting.bars, pairwise(ends), strict=True):
        cut = {name: row[start + 1 : end] for name, row in rows.items()}
        counts = (row for name, row in cut.items() if re.match("count|in [a-z]+$", name))
        times = times_of(exercise, counts)
        above = {at for at, _ in words(cut.get("accent", ""))}
        placed = set()
        for limb in (*HANDS, *FEET):
            for at, text in words(cut.get(limb.title, "")):
                if text != ".":
                    place = at + text.index(limb.letter)
                    over = ">" if limb.is_hand and place in above and ">" not in text else ""
                    placed.add((limb.title, times[place], over + text))
        yield bar.numbers, placed


@pytest.mark.parametrize("room", [NARROW, WIDE])
@pytest.mark.parametrize("seed", range(40))
def test_on_the_live_screen_each_stroke_stands_under_its_own_count(seed: int, room: int) -> None:
    exercise = exercise_of(seed)
    for number, placed in enumerate(read_live(exercise, room)):
        assert placed == struck(exercise, number)


@pytest.mark.parametrize("seed", range(40))
def test_in_show_each_stroke_stands_under_its_own_count(seed: int) -> None:
    exercise = exercise_of(seed)
    for numbers, placed in read_show(exercise):
        for number in numbers:
            assert placed == struck(exercise, number - 1)


ODD = [
    {"sticking": "RLR LRL", "steps": 3, "feet": "hihat-eighths", "swing": "3:1"},
    {"sticking": "RLRR LRLL", "steps": 4, "layers": "son-clave-3-2 as cowbell", "feet": "samba"},
    {"sticking": "R+K L+H B >B", "steps": 2},
    {"sticking": "Rz L (Lz) >lRz", "steps": 2, "feet": "samba"},
    {"sticking": "rrL lllR", "steps": 8, "meter": "7/8", "feet": "x..g>. on LF"},
    {"sticking": "RL", "steps": 12, "meter": "5/4"},
    {"sticking": "RLRRLRL", "steps": 7, "feet": "shuffle on RF"},
    {"sticking": ">R(L)", "form": "2 call 2 response", "placements": "1", "entry": "late"},
]


def odd_cases() -> Iterator[Exercise]:
    for keys in ODD:
        yield next(midiforge.exercises(midiforge.check_drill({"stages": "full", **keys})))


def exercises_of(path: Path) -> list[Exercise]:
    """About a dozen of a drill's exercises, each at one tempo."""
    of_all = by_piece(midiforge.exercises(midiforge.read_drill(path)))
    at_one_tempo = [fastest(exercises) for exercises in of_all]
    return at_one_tempo[:: -(-len(at_one_tempo) // 12)]


@pytest.mark.parametrize(
    "exercises",
    [*(lambda path=path: exercises_of(path) for path in EXAMPLES), odd_cases],
    ids=[*(path.stem for path in EXAMPLES), "odd cases"],
)
def test_show_and_the_live_screen_have_the_same_strokes_at_the_same_counts(
    exercises: Callable[[], Iterable[Exercise]],
) -> None:
    for exercise in exercises():
        live = [*read_live(exercise, WIDE)]
        assert any(live)
        for numbers, placed in read_show(exercise):
            for number in numbers:
                if number <= MOST_BARS:
                    assert placed == live[number - 1] == struck(exercise, number - 1)
