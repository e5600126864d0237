"""The rudiment file against the sheet of the Percussive Arts Society (PAS)."""

import re
import tomllib
from fractions import Fraction
from pathlib import Path
from typing import Any, NamedTuple

import pytest

FILE = Path(__file__).parents[1] / "midiforge" / "library" / "rudiments.toml"

TITLES = """
Single Stroke Roll / Single Stroke Four / Single Stroke Seven /
Multiple Bounce Roll / Triple Stroke Roll /
Double Stroke Open Roll / Five Stroke Roll / Six Stroke Roll / Seven Stroke Roll /
Nine Stroke Roll / Ten Stroke Roll / Eleven Stroke Roll / Thirteen Stroke Roll /
Fifteen Stroke Roll / Seventeen Stroke Roll /
Single Paradiddle / Double Paradiddle / Triple Paradiddle / Single Paradiddle-Diddle /
Flam / Flam Accent / Flam Tap / Flamacue / Flam Paradiddle / Single Flammed Mill /
Flam Paradiddle-Diddle / Pataflafla / Swiss Army Triplet / Inverted Flam Tap / Flam Drag /
Drag / Single Drag Tap / Double Drag Tap / Lesson 25 / Single Dragadiddle /
Drag Paradiddle #1 / Drag Paradiddle #2 / Single Ratamacue / Double Ratamacue / Triple Ratamacue
"""

# Headings of the sheet and the numbers under each.
FAMILIES = {
    "single-stroke-roll": range(1, 4),
    "multiple-bounce-roll": range(4, 6),
    "double-stroke-roll": range(6, 16),
    "diddle": range(16, 20),
    "flam": range(20, 31),
    "drag": range(31, 41),
}

# The strokes as a player writes them down: no rests, no accents; small letters are grace notes.
STROKES = {
    1: "RLRL RLRL",
    2: "RLRL",
    3: "RLRLRLR LRLRLRL",
    4: "RLRL RLRL",
    5: "RRR LLL",
    6: "RRLL RRLL",
    7: "RRLLR LLRRL",
    8: "R LLRR L",
    9: "RRLLRR L",
    10: "RRLLRRLL R LLRRLLRR L",
    11: "RRLLRRLL R L",
    12: "RRLLRRLLRR L",
    13: "RRLLRRLLRRLL R LLRRLLRRLLRR L",
    14: "RRLLRRLLRRLLRR L",
    15: "RRLLRRLLRRLLRRLL R LLRRLLRRLLRRLLRR L",
    16: "RLRR LRLL",
    17: "RLRLRR LRLRLL",
    18: "RLRLRLRR LRLRLRLL",
    19: "RLRRLL",
    20: "lR rL",
    21: "lRLR rLRL",
    22: "lRR rLL",
    23: "lRLRL lR rLRLR rL",
    24: "lRLRR rLRLL",
    25: "lRRLR rLLRL",
    26: "lRLRRLL rLRLLRR",
    27: "lR L R rL",
    28: "lRRL",
    29: "lRL rLR",
    30: "lR LL R rL RR L",
    31: "llR rrL",
    32: "llRL rrLR",
    33: "llR llR L rrL rrL R",
    34: "llRLR",
    35: "RRLRR LLRLL",
    36: "R llRLRR L rrLRLL",
    37: "R llR llRLRR L rrL rrLRLL",
    38: "llRLRL rrLRLR",
    39: "llR llRLRL rrL rrLRLR",
    40: "llR llR llRLRL rrL rrL rrLRLR",
}

# Which strokes are accented, counted from one; the rudiments left out have no accent.
ACCENTS = {
    7: [5, 10],
    8: [1, 6],
    9: [7],
    10: [9, 18],
    11: [9, 10],
    12: [11],
    13: [13, 26],
    14: [15],
    15: [17, 34],
    16: [1, 5],
    17: [1, 7],
    18: [1, 9],
    19: [1],
    21: [1, 4],
    22: [1, 3],
    23: [2, 7],
    24: [1, 5],
    25: [1, 5],
    26: [1, 7],
    27: [1, 4],
    28: [1],
    29: [1, 3],
    30: [1, 5],
    32: [2, 4],
    33: [3, 6],
    34: [3],
    35: [1, 6],
    36: [1, 6],
    37: [1, 7],
    38: [4, 8],
    39: [5, 10],
    40: [6, 12],
}

# Those the sheet notates hand to hand; for the others it prints the second lead apart.
HAND_TO_HAND = {3, 5, 7, 10, 13, 15, 16, 17, 18, *range(20, 27), *range(29, 34), *range(35, 41)}

NUMERALS = {
    "Five": 5, "Six": 6, "Seven": 7, "Nine": 9, "Ten": 10, "Eleven": 11,
    "Thirteen": 13, "Fifteen": 15, "Seventeen": 17,
}  # fmt: skip


class Step(NamedTuple):
    """One grid step; hand "" is a rest."""

    hand: str
    grace: str = ""
    accent: bool = False
    buzz: bool = False


def read(text: str) -> list[Step]:
    """The tests' own reader of the sticking notation, for R, L, grace notes, z, - and accents."""
    steps: list[Step] = []
    marks: set[int] = set()
    for line in text.strip("\n").splitlines():
        if re.fullmatch(r"[> .|]*", line):
            assert not marks, f"two accent lines in a row: {line!r}"
            marks = {column for column, letter in enumerate(line) if letter == ">"}
            assert marks, f"an accent line without accents: {line!r}"
            continue
        for part in re.finditer(r"([lr]*)([RL])(z?)|-|[ |]|(.)", line):
            assert part[4] is None, f"unknown letter {part[4]!r} in {line!r}"
            if part[2]:
                column = part.start(2)
                steps.append(Step(part[2], part[1], column in marks, part[3] == "z"))
                marks.discard(column)
            elif part[0] == "-":
                steps.append(Step(""))
        assert not marks, f"an accent over no stroke, above {line!r}"
    assert not marks
    return steps


ENTRIES: list[dict[str, Any]] = tomllib.loads(FILE.read_text(encoding="utf-8"))["rudiment"]
BY_NUMBER = {entry["number"]: entry for entry in ENTRIES}
NUMBERS = range(1, 41)


def strokes(number: int) -> list[Step]:
    return [step for step in read(BY_NUMBER[number]["sticking"]) if step.hand]


def lengths(number: int) -> list[Fraction]:
    """From each stroke to the next, the last to the end, in quarter notes."""
    entry = BY_NUMBER[number]
    found: list[Fraction] = []
    for step in read(entry["sticking"]):
        if step.hand:
            found.append(Fraction(0))
        found[-1] += Fraction(1, entry["steps"])
    return found


def test_the_forty_titles_are_in_the_order_of_the_sheet() -> None:
    """PAS International Drum Rudiments (1984), the list of titles."""
    titles = [title.strip() for title in TITLES.replace("\n", " ").split("/")]
    assert len(titles) == 40
    assert [entry["title"] for entry in ENTRIES] == titles


def test_the_numbers_run_from_one_to_forty() -> None:
    """PAS International Drum Rudiments (1984), the numbers on the sheet."""
    assert [entry["number"] for entry in ENTRIES] == list(NUMBERS)


def test_the_names_are_the_titles_in_lower_case_with_hyphens() -> None:
    """House convention."""
    for entry in ENTRIES:
        assert entry["name"] == re.sub(r"[^a-z0-9]+", "-", entry["title"].lower())
    assert len({entry["name"] for entry in ENTRIES}) == 40


def test_the_families_are_the_headings_of_the_sheet() -> None:
    """PAS International Drum Rudiments (1984), the headings."""
    for family, numbers in FAMILIES.items():
        assert [BY_NUMBER[number]["family"] for number in numbers] == [family] * len(numbers)
    assert sum(len(numbers) for numbers in FAMILIES.values()) == 40


@pytest.mark.parametrize("number", NUMBERS)
def test_the_strokes_and_grace_notes_are_those_of_the_sheet(number: int) -> None:
    """PAS International Drum Rudiments (1984), the sticking under the notes, written down here
    from memory; public descriptions in words agree for 11, 16, 24, 27, 34, 35, 37 and 38."""
    written = "".join(stroke.grace + stroke.hand for stroke in strokes(number))
    assert written == STROKES[number].replace(" ", "")


@pytest.mark.parametrize("number", NUMBERS)
def test_the_accents_are_those_of_the_sheet(number: int) -> None:
    """PAS International Drum Rudiments (1984), the accents, from memory; public descriptions in
    words agree for 2, 3, 11, 27, 32, 34 and 38."""
    accented = [place for place, stroke in enumerate(strokes(number), 1) if stroke.accent]
    assert accented == ACCENTS.get(number, [])


@pytest.mark.parametrize("number", NUMBERS)
def test_a_rudiment_fills_whole_quarter_notes(number: int) -> None:
    """House convention: what fills whole beats loops without shifting."""
    entry = BY_NUMBER[number]
    assert entry["steps"] in {1, 2, 3, 4, 6, 8}
    assert len(read(entry["sticking"])) % entry["steps"] == 0
    assert read(entry["sticking"])[0].hand, "a rudiment begins with a stroke"


@pytest.mark.parametrize("number", sorted(HAND_TO_HAND))
def test_the_second_half_is_the_first_with_the_hands_exchanged(number: int) -> None:
    """PAS International Drum Rudiments (1984): the rudiments notated hand to hand."""
    steps = read(BY_NUMBER[number]["sticking"])
    half = len(steps) // 2
    other = str.maketrans("RLrl", "LRlr")
    swapped = [
        step._replace(hand=step.hand.translate(other), grace=step.grace.translate(other))
        for step in steps[:half]
    ]
    assert steps[half:] == swapped


@pytest.mark.parametrize("number", sorted(set(NUMBERS) - HAND_TO_HAND))
def test_the_others_are_written_with_the_right_hand_leading(number: int) -> None:
    """House convention; PAS prints the second lead of these apart."""
    assert strokes(number)[0].hand == "R"


@pytest.mark.parametrize("number", range(7, 16))
def test_a_numbered_roll_has_as_many_strokes_as_its_title_says(number: int) -> None:
    """PAS International Drum Rudiments (1984): the titles themselves."""
    leads = 2 if number in HAND_TO_HAND else 1
    assert len(strokes(number)) == leads * NUMERALS[BY_NUMBER[number]["title"].split()[0]]


def test_a_flam_has_one_grace_note_and_a_drag_two_of_the_other_hand() -> None:
    """Common practice, as on the sheet of the PAS."""
    for family, graces in (("flam", {"L": {"", "r"}, "R": {"", "l"}}),
                           ("drag", {"L": {"", "rr"}, "R": {"", "ll"}})):  # fmt: skip
        for number in FAMILIES[family]:
            for stroke in strokes(number):
                assert stroke.grace in graces[stroke.hand], BY_NUMBER[number]["title"]
    plain = {stroke.grace for number in range(1, 20) for stroke in strokes(number)}
    assert plain == {""}


def test_only_the_multiple_bounce_roll_is_buzzed_and_all_of_it() -> None:
    """PAS International Drum Rudiments (1984), number 4: a z through every stem."""
    for number in NUMBERS:
        assert {stroke.buzz for stroke in strokes(number)} == {number == 4}


@pytest.mark.parametrize(
    ("number", "values"),
    [
        (1, [Fraction(1, 4)] * 8),  # sixteenths
        (2, [Fraction(1, 6)] * 3 + [Fraction(1, 2)]),  # a triplet, then a strong beat
        (3, ([Fraction(1, 6)] * 6 + [Fraction(1)]) * 2),  # a sextuplet, then a strong beat
        # two single strokes at half the speed of the doubles
        (8, [Fraction(1, 4), *[Fraction(1, 8)] * 4, Fraction(1, 4)]),
        # four doubles in thirty-seconds, a sixteenth, and the rest of a bar of 2/4
        (11, [Fraction(1, 8)] * 8 + [Fraction(1, 4), Fraction(3, 4)]),
        (32, [Fraction(1, 2)] * 4),  # eighths
        (34, [Fraction(1, 4), Fraction(1, 4), Fraction(1, 2)]),  # two sixteenths, an eighth
        # two thirty-seconds, three sixteenths
        (35, ([Fraction(1, 8)] * 2 + [Fraction(1, 4)] * 3) * 2),
        (36, ([Fraction(1, 2)] + [Fraction(1, 4)] * 4) * 2),  # 3/8: an eighth, four sixteenths
        (38, ([Fraction(1, 6)] * 3 + [Fraction(1, 2)]) * 2),  # sixteenth triplet, an eighth
    ],
)
def test_the_note_values_are_those_described_in_public(number: int, values: list[Fraction]) -> None:
    """The encyclopaedia article "Drum rudiment" (2, 3) and public lesson pages that describe
    the PAS sheet in words (the others)."""
    assert lengths(number) == values
