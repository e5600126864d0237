"""How counts, grid steps and lists are read: as a drummer would guess, and one way everywhere.

Common practice: a bar of 4/4 in sixteenths is counted 1 e & a 2 e & a 3 e & a 4 e & a.
"""

import json
from pathlib import Path
from typing import Any

import pytest

import midiforge
from midiforge.command.run import run


def drill_of(**keys: Any) -> midiforge.Drill:
    return midiforge.check_drill({"sticking": "RLRR LRRR", "steps": 4, "stages": "full", **keys})


def begun(placements: Any, **keys: Any) -> list[str]:
    """On which counts a sixteenth-note phrase begins."""
    lesson = midiforge.exercises(drill_of(placements=placements, **keys))
    return [each.variant.moved("placement").count for each in lesson]


@pytest.mark.parametrize(
    "placements", ["1, 1e, 1&, 1a", ["1", "1e", "1&", "1a"], "beat", "+0, +1, +2, +3", "0, 1, 2, 3"]
)
def test_the_four_sixteenths_of_a_beat_can_be_written_in_several_ways(placements: Any) -> None:
    assert begun(placements) == ["1", "1e", "1&", "1a"]


@pytest.mark.parametrize(
    ("placements", "counts"),
    [
        ("1, 2", ["1", "2"]),
        ([1, 2], ["1", "2"]),
        (2, ["2"]),
        ("2", ["2"]),
        ("0, 3, 2&", ["1", "1a", "2&"]),  # a list of earlier days: 0 is no count
        ([0, 3, "2&"], ["1", "1a", "2&"]),
        ("+3", ["1a"]),
        ("1, +3", ["1", "1a"]),
        (0, ["1"]),
        ("1.2, 2.4", ["1e", "2a"]),
    ],
)
def test_a_number_is_a_count_and_a_plus_makes_grid_steps(
    placements: Any, counts: list[str]
) -> None:
    assert begun(placements) == counts


def test_feet_and_accents_are_placed_by_the_same_reading() -> None:
    lesson = midiforge.exercises(drill_of(feet="1", feet_placements="2, +1"))
    assert [each.variant.moved("feet placement").count for each in lesson] == ["2", "1e"]
    lesson = midiforge.exercises(drill_of(sticking=">RLRR LRRR", accent_placements="1&, +3"))
    assert [each.variant.moved("accent placement").count for each in lesson] == ["1&", "1a"]


@pytest.mark.parametrize(
    ("accents", "patterns"),
    [
        ("1, 3", ["1 3"]),
        ("1 3", ["1 3"]),
        ([1, 3], ["1 3"]),
        (["1", "3"], ["1", "3"]),  # each text of a list is a pattern
        ("1 3, 2 4", ["1 3", "2 4"]),
        ("1; 3", ["1", "3"]),
        ("1, 3; 2, 4", ["1 3", "2 4"]),
        ("own, beats", ["own", "beats"]),
        ("own, 1, 3&", ["own", "1 3&"]),
        ("1, 3, 2 4", ["1", "3", "2 4"]),
        ("1, 3 | 2, 4", ["1 3 | 2 4"]),
        ("1.2, 2.1", ["1.2 2.1"]),
        (">..>, x.", [">..>", "x."]),
        (2, ["2"]),
    ],
)
def test_a_comma_joins_counts_and_parts_patterns(accents: Any, patterns: list[str]) -> None:
    assert [*drill_of(accents=accents).moves["accents"].sources] == patterns


@pytest.mark.parametrize(
    ("feet", "lines"),
    [
        ("1a, 2&", [("1a 2&", "RF")]),
        ("1a 2&", [("1a 2&", "RF")]),
        ("1a; 2&", [("1a", "RF"), ("2&", "LF")]),
        ("1 3, 2 4", [("1 3", "RF"), ("2 4", "LF")]),
        ("tumbao, son-clave-3-2 on LF", [("tumbao", "RF"), ("son-clave-3-2", "LF")]),
        ("1, 3 on LF", [("1", "RF"), ("3", "LF")]),
    ],
)
def test_one_foot_pattern_stays_one(feet: str, lines: list[tuple[str, str]]) -> None:
    found = drill_of(feet=feet, partner="none").feet
    assert [(line.name, line.limb.value if line.limb else "") for line in found] == lines


def test_what_could_be_read_in_two_ways_is_said_in_one_line(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    flags = ["--sticking", "RLRR", "--placements", "1, 2", "--accents", "1, 3"]
    assert run(["build", *flags, "--out", str(tmp_path / "a"), "--json"]) == 0
    out, err = capsys.readouterr()
    notes = json.loads(out)["notes"]
    assert err.splitlines() == [f"midiforge: note: {note}" for note in notes]
    assert notes == [
        "placements: 1, 2 are counts; grid steps later are '+1', '+2'",
        "accents: '1 3' is one pattern; a semicolon parts patterns",
    ]
    plain = ["--sticking", "RLRR", "--placements", "1, 1e", "--accents", "1 3; 2"]
    assert run(["build", *plain, "--out", str(tmp_path / "b")]) == 0
    assert capsys.readouterr().err == ""


def test_a_file_and_flags_say_the_same(tmp_path: Path) -> None:
    path = tmp_path / "drill.toml"
    path.write_text('sticking = "RL"\naccents = "1, 3"\nplacements = "1, 1e"')
    drill = midiforge.read_drill(path)
    assert [*drill.moves["accents"].sources] == ["1 3"]
    assert drill.moves["placement"].places.wanted == ("1", "1e")
