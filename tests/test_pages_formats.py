"""Every format of pages that is declared: what is written can be read, and is nobody else's.

Whoever declares another in `midiforge/pages/sheet.py` says here how a program reads it. XML 1.0,
RFC 4180 (CSV), ISO 32000 (PDF: where its cross-references begin stands at its end), HTML Living
Standard (which end tags may be left out).
"""

import csv
import io
import re
import shutil
import subprocess
from collections.abc import Callable
from contextlib import suppress
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import pytest
from test_faults import Killed, failing, files, points

import midiforge
from midiforge.command.run import run
from midiforge.errors import MidiforgeError
from midiforge.files.own_file import Unsealed
from midiforge.pages.sheet import FORMATS, formats_said

pytest.importorskip("verovio", reason="the engraving library (extra pages) is not installed")
pytest.importorskip("typst", reason="the typesetting library (extra pages) is not installed")

DRILL = midiforge.check_drill(
    {
        "title": '=1+1 <&> "左右" --',
        "text": "-- % <!-- mine --> ]]>",
        "sticking": "-R (L) >R lR",
        "feet": "samba",
        "layers": "1 3 as cowbell",
        "tempos": "60,80",
    }
)


# How programs read them


def xml(content: bytes) -> None:
    ElementTree.fromstring(content)


def pdf(content: bytes) -> None:
    start = re.search(rb"startxref\s+(\d+)\s+%%EOF\s", content[-1024:])
    assert start and content[int(start[1]) :].startswith(b"xref")
    if shutil.which("pdftotext"):
        read = subprocess.run(
            ["pdftotext", "-", "-"], input=content, capture_output=True, check=True
        )
        assert b"Practice order" in read.stdout and not read.stderr


def table(content: bytes) -> None:
    rows = [*csv.reader(io.StringIO(content.decode(), newline=""), strict=True)]
    assert len(rows) > 2 and {len(row) for row in rows} == {len(set(rows[0]))}
    assert not [cell for row in rows for cell in row if cell[:1] in ("=", "+", "@", "-")]


class Tags(HTMLParser):
    """Tags that are closed in the order in which they were opened, where they must be."""

    ALONE = frozenset(("meta", "link", "br", "input", "img", "hr", "col"))
    MAY_STAY_OPEN = frozenset(("p", "li", "dt", "dd", "td", "th", "tr"))

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen = 0
        self.feed(text)
        self.close()
        assert not self.open and self.seen > 100

    def handle_starttag(self, tag: str, _attrs: object) -> None:
        self.seen += 1
        if tag not in self.ALONE:
            self.open.append(tag)

    def handle_startendtag(self, _tag: str, _attrs: object) -> None:
        self.seen += 1

    def handle_endtag(self, tag: str) -> None:
        while self.open and self.open[-1] != tag and self.open[-1] in self.MAY_STAY_OPEN:
            self.open.pop()
        assert self.open and self.open.pop() == tag, f"</{tag}> closes nothing"


def html(content: bytes) -> None:
    assert content.startswith(b"<!DOCTYPE html>")
    Tags(content.decode())


READERS: dict[str, Callable[[bytes], object]] = {
    ".csv": table,
    ".html": html,
    ".musicxml": xml,
    ".pdf": pdf,
    ".svg": xml,
}


def written(path: Path, only: str = "") -> bytes:
    midiforge.write_sheet(DRILL, path, only)
    return path.read_bytes()


def seen(folder: Path) -> list[str]:
    """What a person sees in a folder, and what was left there half done."""
    return sorted(
        path.name
        for path in folder.iterdir()
        if not path.name.startswith(".") or path.name.startswith(".midiforge-2")
    )


# The declarations


def test_each_ending_is_one_format_s_and_in_small_letters() -> None:
    endings = [ending for each in FORMATS.values() for ending in (each.ending, *each.meant_by)]
    assert len(endings) == len({*endings}) > 4
    assert all(re.fullmatch(r"\.[a-z0-9]+", ending) for ending in endings)


def test_help_and_errors_name_the_formats_that_are_declared(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert run(["sheet", "--help"]) == 0
    help_text = " ".join(capsys.readouterr().out.split())
    assert formats_said() in help_text
    assert run(["sheet", "--sticking", "RL", "--out", str(tmp_path / "a.docx")]) == 2
    assert f"(one of {', '.join(FORMATS)})" in capsys.readouterr().err
    for ending, each in FORMATS.items():
        assert f"{ending} ({each.gives})" in help_text
        for other in each.meant_by:
            assert run(["sheet", "--sticking", "RL", "--out", str(tmp_path / f"a{other}")]) == 2
            assert f"did you mean {each.ending!r}?" in capsys.readouterr().err


# Whose files they are


@pytest.fixture(params=FORMATS)
def path(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A file that may be written, of each format."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    (tmp_path / "here").mkdir()
    return tmp_path / "here" / f"lesson{request.param}"


def test_what_is_written_can_be_read(path: Path) -> None:
    assert path.suffix in READERS, "say above how a program reads it"
    READERS[path.suffix](written(path))
    READERS[path.suffix](written(path, "2"))
    assert seen(path.parent) == [path.name]


def test_an_unchanged_file_is_replaced(path: Path) -> None:
    first, second = written(path, "1"), written(path)
    assert first != second
    assert written(path, "1") == first


def test_the_same_is_written_through_a_link(path: Path) -> None:
    real = path.with_stem("real")
    path.symlink_to(real)
    assert written(path, "1") != written(path)
    assert path.is_symlink() and real.read_bytes() == written(path)


@pytest.mark.parametrize(
    "edit",
    [
        lambda content: content + b"\n",
        lambda content: content[:-1],
        lambda content: content[: len(content) // 2] + b" " + content[len(content) // 2 :],
        lambda content: content.replace(b"a", b"b", 1),
        lambda content: content[: content.rfind(b"\n", 0, -1) + 1],
        lambda _: b"",
        lambda _: b"mine",
    ],
)
def test_an_edited_file_is_left_alone(path: Path, edit: Callable[[bytes], bytes]) -> None:
    mine = edit(written(path, "1"))
    path.write_bytes(mine)
    with pytest.raises(MidiforgeError, match="not written by midiforge, or changed since"):
        written(path, "1")
    assert path.read_bytes() == mine
    path.unlink()
    assert written(path, "1") != mine


def test_a_file_of_somebody_else_s_is_left_alone(path: Path) -> None:
    path.write_text("mine")
    with pytest.raises(MidiforgeError, match="not written by midiforge"):
        written(path)
    assert path.read_text() == "mine" and seen(path.parent) == [path.name]


@pytest.mark.parametrize("kills", [True, False], ids=["killed", "refused"])
def test_at_every_point_a_file_is_the_old_one_or_the_new_one(path: Path, kills: bool) -> None:
    seal, old, new = FORMATS[path.suffix].seal, b"the old one\n", b"a new one\n"
    seal.write(path, old)
    before = path.read_bytes()
    asked = points(lambda: seal.write(path, new))
    after, outcomes = path.read_bytes(), set()
    for at in range(1, asked + 1):
        path.unlink()
        seal.write(path, old)
        with failing(at, kills), suppress(Killed, MidiforgeError):
            seal.write(path, new)
        assert run(["list", "kits"]) == 0  # the next command, whatever it is
        now = path.read_bytes()
        assert now in (before, after), at
        outcomes.add(now == before)
        seal.write(path, new)  # it is still ours
        assert path.read_bytes() == after
    assert True in outcomes and asked > 3


def test_a_folder_s_other_tables_stay_ours_and_go_with_their_files(tmp_path: Path) -> None:
    seal = Unsealed()
    for name in ("a.csv", "b.csv", "c.csv"):
        seal.write(tmp_path / name, f"{name}\n")
    (tmp_path / "b.csv").write_text("mine")
    (tmp_path / "c.csv").unlink()
    seal.write(tmp_path / "a.csv", "again\n")
    seal.write(tmp_path / "c.csv", "again\n")
    with pytest.raises(MidiforgeError, match=r"b\.csv: is there, and not written by midiforge"):
        seal.write(tmp_path / "b.csv", "again\n")
    assert files(tmp_path) == {"a.csv": b"again\n", "b.csv": b"mine", "c.csv": b"again\n"}


def test_a_table_in_a_lesson_s_folder_stays_when_the_lesson_is_built_anew(tmp_path: Path) -> None:
    midiforge.build_lesson(DRILL, tmp_path)
    rows = written(tmp_path / "hits.csv")
    midiforge.build_lesson(DRILL, tmp_path)
    assert (tmp_path / "hits.csv").read_bytes() == rows
    assert written(tmp_path / "hits.csv", "1") != rows
