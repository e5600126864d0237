"""What `midiforge list` prints: columns to read, everything else in JSON, errors of our own."""

import io
import json
import re
from typing import Any

import pytest

from midiforge.command import listing
from midiforge.command.run import run
from midiforge.phrase.sticking import parse_sticking

Captured = pytest.CaptureFixture[str]


def rows(capsys: Captured, what: str) -> list[dict[str, Any]]:
    assert run(["list", what, "--json"]) == 0
    found: list[dict[str, Any]] = json.loads(capsys.readouterr().out)
    return found


def columns(capsys: Captured, what: str) -> list[str]:
    assert run(["list", what]) == 0
    return capsys.readouterr().out.splitlines()[0].split("\t")


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def on_terminal(monkeypatch: pytest.MonkeyPatch, what: str, width: int) -> list[str]:
    terminal = Terminal()
    monkeypatch.setattr("sys.stdout", terminal)
    monkeypatch.setenv("COLUMNS", str(width))
    assert run(["list", what]) == 0
    return re.sub("\x1b\\[[0-9;]*m", "", terminal.getvalue()).splitlines()


@pytest.mark.parametrize(
    ("name", "sticking"),
    [
        # PAS International Drum Rudiments: both leads where the sheet goes hand to hand,
        # else beat by beat
        ("single-stroke-roll", "RLRL RLRL"),
        ("single-paradiddle", ">RLRR | >LRLL"),
        ("triple-paradiddle", ">RLRL RLRR | >LRLR LRLL"),
        ("flam", "lR | rL"),
        ("flam-tap", ">lRR | >rLL"),
        ("drag-paradiddle-1", ">R-llRLRR | >L-rrLRLL"),
        ("swiss-army-triplet", ">lRRL"),
        ("nine-stroke-roll", "RRLLRRLL >R------- | LLRRLLRR >L-------"),
    ],
)
def test_a_rudiment_shows_its_leads(capsys: Captured, name: str, sticking: str) -> None:
    listed = {row["name"]: row["sticking"] for row in rows(capsys, "rudiments")}
    assert listed[name] == sticking


def test_a_listed_sticking_reads_back_as_the_rudiment(capsys: Captured) -> None:
    from midiforge.library.shelf import rudiments

    for row in rows(capsys, "rudiments"):
        assert parse_sticking(row["sticking"]).steps == rudiments()[row["name"]].phrase.steps


def test_tables_hold_what_is_short_and_json_the_rest(capsys: Captured) -> None:
    assert columns(capsys, "ostinatos") == [
        *("name", "family", "limb", "meter", "voice", "pattern", "partner", "other names")
    ]
    assert {"source", "note"} <= rows(capsys, "ostinatos")[0].keys()
    assert columns(capsys, "kits") == ["name", "title", "channel", "voices"]
    assert all(row["source"] for row in rows(capsys, "kits"))
    assert columns(capsys, "voices") == [
        *("name", "title", "MIDI note", "played instead", "other names")
    ]


def test_caveats_and_other_names_reach_json(capsys: Captured) -> None:
    baiao = next(row for row in rows(capsys, "ostinatos") if row["name"] == "baiao")
    assert "left to the snare drum" in baiao["note"]
    drum = next(row for row in rows(capsys, "voices") if row["name"] == "bass-drum")
    assert "kick" in drum["other names"]


@pytest.mark.parametrize("width", [80, 100, 130])
def test_names_and_patterns_are_whole_on_a_terminal(
    monkeypatch: pytest.MonkeyPatch, width: int
) -> None:
    from midiforge.library.shelf import ostinatos

    head, *lines, last = on_terminal(monkeypatch, "ostinatos", width)
    assert all(len(line) <= width for line in lines)
    lines = [line for line in lines if not line.startswith(" ")]
    assert len(lines) == len(ostinatos())
    for line, each in zip(lines, ostinatos().values(), strict=True):
        assert line.startswith(each.name)
        assert each.text in line
        assert len(line) <= width
        assert each.partner in line or "partner" not in head
    assert "--json" in last
    assert "source" in last
    assert ("family" in head) is (width == 130)
    assert ("wider" in last) is (width < 130)


SHELVES = ["rudiments", "ostinatos", "voices", "kits", "styles", "percussion", "instruments"]


@pytest.mark.parametrize("what", SHELVES)
def test_at_80_columns_every_list_fits_and_breaks_at_blanks_only(
    monkeypatch: pytest.MonkeyPatch, capsys: Captured, what: str
) -> None:
    wanted = rows(capsys, what)
    shown = on_terminal(monkeypatch, what, 80)
    assert max(map(len, shown)) <= 80
    words = set(" ".join(shown).split())
    for row in wanted:
        names = [row["name"], *row.get("other names", ())]
        assert {f"{name}," for name in names[1:-1]} | {names[-1]} <= words, names
    told = " ".join(shown)
    assert "\N{HORIZONTAL ELLIPSIS}" not in told


def test_styles_tell_at_80_columns_who_plays_and_what_they_go_with(
    monkeypatch: pytest.MonkeyPatch, capsys: Captured
) -> None:
    styles = rows(capsys, "styles")
    told = " ".join(" ".join(on_terminal(monkeypatch, "styles", 80)).split())
    for row in styles:
        assert f"percussion: {row['percussion']}" in told
        assert f"goes with: {row['goes with']}" in told


def test_a_name_that_a_drill_may_use_is_listed(capsys: Captured) -> None:
    """examples/02-lantern-waltz.toml: feet = "jazz-waltz"."""
    named = {each for row in rows(capsys, "ostinatos") for each in row["other names"]}
    assert "jazz-waltz" in named


@pytest.mark.parametrize("what", ["rudiments", "ostinatos", "kits"])
def test_the_last_line_on_a_terminal_says_what_json_has(
    monkeypatch: pytest.MonkeyPatch, what: str
) -> None:
    shown = on_terminal(monkeypatch, what, 80)
    assert "--json" in shown[-1]
    assert max(map(len, shown)) <= 80


KNOWN = "known: instruments, kits, ostinatos, percussion, rudiments, styles, voices"


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (["ostinato"], "there is no list of 'ostinato' (did you mean 'ostinatos'?)"),
        (
            ["robots"],
            f"there is no list of 'robots' ({KNOWN})",
        ),
        (
            [],
            f"nothing to list is named ({KNOWN})",
        ),
    ],
)
def test_an_unknown_shelf_is_our_own_line(capsys: Captured, asked: list[str], said: str) -> None:
    assert run(["list", *asked]) == 2
    assert capsys.readouterr().err == f"midiforge: {said}\n"


def test_the_shell_is_offered_the_shelves() -> None:
    before, beside = ["rudiments", "ostinatos", "voices", "kits"], ["styles", "percussion"]
    assert listing._shelves("") == [*before, *beside, "instruments"]
    assert listing._shelves("v") == ["voices"]
