"""Cells of CSV files are what they look like in a spreadsheet, too.

Which beginnings are taken for formulas: OWASP, CSV Injection. CSV: RFC 4180.
"""

import csv
from pathlib import Path

import pytest

import midiforge
from midiforge.command.run import run
from midiforge.errors import MidiforgeError, nearest
from midiforge.files.table import cell


@pytest.mark.parametrize("text", ["=1+2", "+R", "-RL", "@now", "\tx", "\rx", "- R L", "-1-2"])
def test_text_that_would_be_a_formula_comes_after_an_apostrophe(text: str) -> None:
    assert str(cell(text)).startswith("'")


@pytest.mark.parametrize("value", ["-3.25", "+2", "1e-5", "-1E+3", "RL", "", "1e", 5, -2.5, None])
def test_numbers_and_plain_text_stay(value: object) -> None:
    assert cell(value) == value


def test_no_cell_steers_a_terminal() -> None:
    assert "\x1b" not in str(cell("a\x1b[31mb"))


def test_an_index_of_a_sticking_that_begins_with_a_rest_is_no_formula(tmp_path: Path) -> None:
    drill = midiforge.check_drill({"sticking": "-RLR", "title": "=cmd"})
    midiforge.build_lesson(drill, tmp_path / "lesson")
    midiforge.write_loops(drill, tmp_path / "loops", midiforge.Shape(minutes=0.01))
    for name in ("lesson/index.csv", "lesson/cues.csv", "loops/loops.csv"):
        with (tmp_path / name).open(newline="", encoding="utf-8") as stream:
            for row in csv.reader(stream):
                assert not [each for each in row if each[:1] in "=+-@\t\r" and each], name
    assert "'-RLR" in (tmp_path / "lesson" / "index.csv").read_text(encoding="utf-8")


# Files in the wrong place, words that are not near


def said(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert run(list(arguments)) == 2
    return capsys.readouterr().err


def test_a_kit_given_as_a_drill_is_called_one(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    kit, drill = tmp_path / "mine.toml", tmp_path / "drill.toml"
    kit.write_text('starts_from = "general-midi-1"\n[notes]\nsnare = 40\n')
    drill.write_text('sticking = "RLRL"\n')
    assert "is a kit, not a drill" in said(capsys, "show", str(kit))
    assert "is a drill, not a kit" in said(capsys, "show", str(drill), "--kit", str(drill))


@pytest.mark.parametrize(
    ("content", "what"),
    [(b"MThd\0\0\0\6", "MIDI file"), (b"SQLite format 3\0", "log"), (b"RIFF....", "SoundFont")],
)
def test_another_file_given_as_a_drill_is_called_what_it_is(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, content: bytes, what: str
) -> None:
    (tmp_path / "x.toml").write_bytes(content)
    assert what in said(capsys, "show", str(tmp_path / "x.toml"))


def test_only_what_is_near_is_suggested() -> None:
    assert "did you mean" not in nearest("foo", midiforge.ostinatos())
    assert "'songo'" in nearest("sogno", midiforge.ostinatos())
    with pytest.raises(MidiforgeError) as error:
        midiforge.check_drill({"sticking": "RL", "layers": "foo"})
    assert "songo" not in str(error.value) or "known" in str(error.value)
