"""Counts of enumerated stickings against published integer sequences.

Source: the On-Line Encyclopedia of Integer Sequences (OEIS). The values of A000031, A000013,
A006355, A135491, A135492, A007040, A316660 and A000984 were compared with the published entries;
A003239 is from memory.
"""

from typing import Any

import pytest

from midiforge import check_drill
from midiforge.calls import exercises
from midiforge.phrase.every import Every
from midiforge.phrase.sticking import parse_sticking

# Each row: the sequence, the limits, and {strokes: published count}.
Row = tuple[str, dict[str, Any], dict[int, int]]

SEQUENCES: list[Row] = [
    (
        # All words: powers of two.
        "A000079",
        {},
        {n: 2**n for n in range(1, 13)},
    ),
    (
        # One hand given to the first stroke: half of them.
        "A000079 shifted",
        {"starts": "L"},
        {n: 2 ** (n - 1) for n in range(1, 13)},
    ),
    (
        # Pairs of a word and its complement: half of them.
        "A000079 shifted, by swap",
        {"up_to_swap": True},
        {n: 2 ** (n - 1) for n in range(1, 13)},
    ),
    (
        # Necklaces of n beads of two colours, turning over not allowed.
        "A000031",
        {"up_to_rotation": True},
        dict(enumerate((2, 3, 4, 6, 8, 14, 20, 36, 60, 108, 188, 352, 632), start=1)),
    ),
    (
        # The same with the colours interchangeable.
        "A000013",
        {"up_to_rotation": True, "up_to_swap": True},
        dict(enumerate((1, 2, 2, 4, 4, 8, 10, 20, 30, 56, 94, 180, 316), start=1)),
    ),
    (
        # Central binomial coefficients: as many of the one hand as of the other.
        "A000984",
        {"balanced": True},
        {2: 2, 4: 6, 6: 20, 8: 70, 10: 252, 12: 924},
    ),
    (
        # Necklaces of k white and k black beads (from memory).
        "A003239",
        {"balanced": True, "up_to_rotation": True},
        {2: 1, 4: 2, 6: 4, 8: 10, 10: 26, 12: 80},
    ),
    (
        # Twice the Fibonacci numbers: words without a run longer than two; the entry counts
        # words without singletons, of which there are as many of two letters more.
        "A006355 shifted",
        {"longest_run": 2, "looped": False},
        dict(enumerate((2, 4, 6, 10, 16, 26, 42, 68, 110, 178, 288, 466), start=1)),
    ),
    (
        # Twice the tribonacci numbers: no run of four.
        "A135491",
        {"longest_run": 3, "looped": False},
        dict(enumerate((2, 4, 8, 14, 26, 48, 88, 162, 298, 548, 1008, 1854), start=1)),
    ),
    (
        # No run of five.
        "A135492",
        {"longest_run": 4, "looped": False},
        dict(enumerate((2, 4, 8, 16, 30, 58, 112, 216, 416, 802, 1546, 2980), start=1)),
    ),
    (
        # Cyclic words without a run longer than two. The entry gives 2 for a single letter by
        # convention; played round and round one hand never stops, so it begins at two here.
        "A007040",
        {"longest_run": 2},
        dict(enumerate((2, 6, 6, 10, 20, 28, 46, 78, 122, 198, 324, 520), start=2)),
    ),
    (
        # Necklaces without a run longer than two.
        "A316660",
        {"longest_run": 2, "up_to_rotation": True},
        dict(enumerate((0, 1, 2, 2, 2, 5, 4, 7, 10, 14, 18, 31, 40), start=1)),
    ),
]


@pytest.mark.parametrize(
    ("limits", "counts"), [row[1:] for row in SEQUENCES], ids=[row[0] for row in SEQUENCES]
)
def test_as_many_stickings_as_the_published_sequence(
    limits: dict[str, Any], counts: dict[int, int]
) -> None:
    found = {n: len(list(Every(n, **limits).words())) for n in counts}
    assert found == counts


@pytest.mark.parametrize("limits", [row[1] for row in SEQUENCES], ids=[r[0] for r in SEQUENCES])
def test_no_sticking_comes_twice_and_all_are_of_two_letters(limits: dict[str, Any]) -> None:
    words = list(Every(8, **limits).words())
    assert len(set(words)) == len(words)
    assert all(len(word) == 8 and set(word) <= {"R", "L"} for word in words)


@pytest.mark.parametrize("swap", [False, True], ids=["rotation", "rotation and swap"])
def test_every_word_is_alike_to_exactly_one_kept(swap: bool) -> None:
    kept = set(Every(7, up_to_rotation=True, up_to_swap=swap).words())
    for word in Every(7).words():
        alike = {word[i:] + word[:i] for i in range(7)}
        if swap:
            alike |= {each.translate(str.maketrans("RL", "LR")) for each in alike}
        assert len(alike & kept) == 1, word


def test_a_limit_on_runs_counts_across_the_seam_only_when_looped() -> None:
    # RLLR: its own longest run is 2, but round the seam R and R make 2, and LLRR the same;
    # RRLR has a run of 3 across the seam.
    assert "RRLR" in set(Every(4, longest_run=2, looped=False).words())
    assert "RRLR" not in set(Every(4, longest_run=2, looped=True).words())
    assert "RLLR" in set(Every(4, longest_run=2, looped=True).words())


def test_single_strokes_are_all_that_a_longest_run_of_one_leaves() -> None:
    assert set(Every(6, longest_run=1).words()) == {"RLRLRL", "LRLRLR"}
    # An odd number of single strokes meets itself at the seam.
    assert not list(Every(5, longest_run=1).words())
    assert set(Every(5, longest_run=1, looped=False).words()) == {"RLRLR", "LRLRL"}


def test_stickings_are_the_words_as_phrases_in_alphabetical_order() -> None:
    every = Every(5, longest_run=3)
    words = list(every.words())
    assert words == sorted(words, key=lambda word: word.translate(str.maketrans("RL", "01")))
    phrases = list(every.stickings())
    assert [phrase.steps for phrase in phrases] == [parse_sticking(word).steps for word in words]


def test_a_lesson_teaches_every_necklace_of_six_strokes_once() -> None:
    drill = check_drill({"every": {"strokes": 6, "up_to": "rotation"}, "stages": "hands"})
    lesson = list(exercises(drill))
    assert len(lesson) == len({each.hits for each in lesson}) == 14  # A000031(6)
