"""`midiforge sheet`: what it writes, and what it refuses in one line."""

import builtins
import os
from pathlib import Path
from typing import Any

import pytest

from midiforge.command.run import run
from midiforge.pages.sheet import FORMATS

DRILL = ("--sticking", "RLRR LRLL", "--feet", "tumbao", "--tempos", "60,80")
BEGINNINGS = {
    ".pdf": b"%PDF-1.",
    ".html": b"<!DOCTYPE html>",
    ".svg": b"<svg ",
    ".musicxml": b"<?xml",
}

pytest.importorskip("verovio", reason="the engraving library (extra pages) is not installed")
pytest.importorskip("typst", reason="the typesetting library (extra pages) is not installed")


@pytest.fixture(autouse=True)
def in_an_empty_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def refused(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    code = run(["sheet", *arguments])
    out, err = capsys.readouterr()
    assert (code, out) == (2, "")
    assert err.startswith("midiforge: ") and err.count("\n") == 1, err
    return err


@pytest.mark.parametrize("ending", BEGINNINGS)
def test_the_ending_names_the_format(ending: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["sheet", *DRILL, "--out", f"lesson{ending}"]) == 0
    assert Path(f"lesson{ending}").read_bytes().startswith(BEGINNINGS[ending])
    assert "6 exercises in lesson" in capsys.readouterr().out
    assert [path.name for path in Path().iterdir()] == [f"lesson{ending}"]


def test_pages_written_before_are_replaced_and_other_files_are_not(
    capsys: pytest.CaptureFixture[str],
) -> None:
    for ending in BEGINNINGS:
        out = f"lesson{ending}"
        assert run(["sheet", *DRILL, "--out", out, "--only", "1", "-q"]) == 0
        before = Path(out).read_bytes()
        assert run(["sheet", *DRILL, "--out", out, "-q"]) == 0
        assert Path(out).read_bytes() != before
    Path("lesson.svg").write_text(Path("lesson.svg").read_text("utf-8").replace("RLRR", "mine"))
    assert "or changed since" in refused(capsys, *DRILL, "--out", "lesson.svg")
    Path("notes.pdf").write_text("my notes on midiforge sheet, sha256 00\n")
    assert "not written by midiforge" in refused(capsys, *DRILL, "--out", "notes.pdf")
    Path("mine.pdf").write_bytes(b"%PDF-1.7 a letter")
    assert "not written by midiforge" in refused(capsys, *DRILL, "--out", "mine.pdf")
    assert Path("mine.pdf").read_bytes() == b"%PDF-1.7 a letter"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((), "no file is named"),
        (("--out", ""), "such as --out lesson.pdf"),
        (("--out", "lesson"), "no ending that names a format"),
        (("--out", "lesson.pfd"), "did you mean '.pdf'"),
        (("--out", "lesson.docx"), ", ".join(FORMATS)),
        (("--out", "lesson.pdf", "--paper", "A5"), "no paper is called 'A5'"),
        (("--out", "lesson.pdf", "--paper", "leter"), "did you mean 'letter'"),
        (("--out", "lesson.pdf", "--only", "99"), "there is no exercise 99"),
        (("--out", "lesson.pdf", "--only", "x"), "'x' is not a number"),
        (("--out", "nowhere/lesson.pdf"), "nowhere: is not a folder"),
        (("--out", "."), "no ending"),
        (("--out", "lesson.xml"), "did you mean '.musicxml'"),
        (("--out", "lesson.mid"), "midiforge build writes those"),
        (("--out", "lesson.pdf", "--only", ","), "names no exercise"),
        (("--out", "lesson.pdf", "--only", "3-2"), "runs backward (2-3)"),
    ],
)
def test_what_cannot_be_is_one_clear_line(
    arguments: tuple[str, ...], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert said in refused(capsys, *DRILL, *arguments)
    assert list(Path().iterdir()) == []


@pytest.mark.parametrize("ending", BEGINNINGS)
@pytest.mark.parametrize(
    ("keys", "said"),
    [
        (("--meter", "5/8", "--steps", "11"), "11 steps in the time of an eighth note are finer"),
        (("--meter", "4/8", "--steps", "12"), "finer than thirty-second notes"),
        (("--meter", "3/32", "--steps", "2"), "finer than thirty-second notes"),
        (("--meter", "4/64", "--steps", "1"), "beats of 1/64 are finer"),
    ],
)
def test_a_grid_finer_than_a_staff_shows_is_refused(
    ending: str, keys: tuple[str, ...], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    line = refused(capsys, "--sticking", "RLL", *keys, "--out", f"lesson{ending}")
    assert said in line and "exercise 1, RLL from 1" in line and "bar 1" in line
    assert list(Path().iterdir()) == []


@pytest.mark.parametrize(
    ("ending", "package"), [(".pdf", "typst"), (".pdf", "verovio"), (".html", "verovio")]
)
def test_a_missing_extra_is_named_with_how_to_install_it(
    ending: str, package: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    real = builtins.__import__

    def without(name: str, *rest: Any, **named: Any) -> Any:
        if name == package:
            raise ImportError(name)
        return real(name, *rest, **named)

    monkeypatch.setattr(builtins, "__import__", without)
    line = refused(capsys, *DRILL, "--out", f"lesson{ending}")
    assert package in line and 'pip install "midiforge[pages]"' in line
    assert list(Path().iterdir()) == []


def test_musicxml_needs_no_extra(monkeypatch: pytest.MonkeyPatch) -> None:
    real = builtins.__import__

    def without(name: str, *rest: Any, **named: Any) -> Any:
        if name in ("verovio", "typst"):
            raise ImportError(name)
        return real(name, *rest, **named)

    monkeypatch.setattr(builtins, "__import__", without)
    assert run(["sheet", *DRILL, "--out", "lesson.musicxml", "-q"]) == 0


@pytest.mark.skipif(os.name != "posix", reason="needs a full device, as Linux has one")
def test_a_folder_that_takes_nothing_more_is_one_line(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: Any, **__: Any) -> Any:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    line = refused(capsys, *DRILL, "--out", "lesson.pdf")
    assert "lesson.pdf: cannot be written: no space left on device" in line
    assert list(Path().iterdir()) == []


def test_what_was_left_out_and_what_to_mind_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["sheet", "--sticking", "RLRL", "--placements", "beat", "--out", "a.svg"]) == 0
    assert "left out: RLRL from 1&: the same as RLRL from 1" in capsys.readouterr().out
