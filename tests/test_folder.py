"""A lesson's folder: all of it or nothing, and nothing overwritten that midiforge did not make.

No published source: the rules are the project's own. What a full disk, an interrupt and a folder
gone in the middle do is brought about for real where that works for every user, and put in by
hand where the super-user would not be stopped.
"""

import csv
import errno
import os
import resource
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import mido
import pytest

import midiforge
from midiforge.command.run import run
from midiforge.errors import MidiforgeError
from midiforge.files.record import RECORD
from midiforge.folders.lesson import CUE_COLUMNS, CUES, INDEX, INDEX_COLUMNS, LESSON

ONE = {"sticking": "RLRR LRLL", "placements": "beat"}
OTHER = {"sticking": "single paradiddle", "feet": "samba", "tempos": [70, 90]}
COMMAND = (sys.executable, "-m", "midiforge")
LONG = (*COMMAND, "build", "--every-strokes", "10", "--placements", "beat", "--out")

Snapshot = dict[str, bytes | str]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "lesson"


def build(keys: dict[str, Any], folder: Path, **more: Any) -> Any:
    return midiforge.build_lesson(midiforge.check_drill(keys), folder, **more)


def snapshot(folder: Path) -> Snapshot | None:
    """Everything in a folder by name, hidden files too; None if it is not there."""
    if not folder.is_dir():
        return None
    found: Snapshot = {}
    for path in sorted(folder.rglob("*")):
        name = str(path.relative_to(folder))
        if path.is_symlink():
            found[name] = f"to {path.readlink()}"
        else:
            found[name] = path.read_bytes() if path.is_file() else "other"
    return found


def files_of(index: Path) -> list[str]:
    with index.open(newline="", encoding="utf-8") as stream:
        return [row["file"] for row in csv.DictReader(stream)]


# What is there


def test_a_lesson_is_its_exercises_the_index_the_cues_and_the_whole(folder: Path) -> None:
    report = build(ONE, folder)
    exercises = files_of(folder / INDEX)
    assert len(exercises) == report.built.files == 8
    assert {path.name for path in folder.iterdir()} == {*exercises, INDEX, LESSON, CUES, RECORD}
    for name in (*exercises, LESSON):
        assert mido.MidiFile(folder / name).length > 0


def test_the_index_has_the_columns_that_others_read(folder: Path) -> None:
    build(ONE, folder)
    # As the project's own specification lists them.
    assert ",".join(INDEX_COLUMNS).startswith(
        "file,number,stage,sticking,placement,accents,lead,tempo,bars,count_in_bars,"
        "returns_after_bars,seconds,"
    )
    with (folder / INDEX).open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert tuple(rows[0]) == INDEX_COLUMNS
    assert [int(row["number"]) for row in rows] == list(range(1, 9))
    assert {row["placement"] for row in rows} == {"1", "1e", "1&", "1a"}
    assert {row["tempo"] for row in rows} == {"80"}
    for row in rows:
        seconds = mido.MidiFile(folder / row["file"]).length
        # The last note may end before the loop does, and the reader may not count the silence.
        assert float(row["seconds"]) == pytest.approx(seconds, abs=0.002)


def test_the_index_has_a_column_for_everything_that_a_drill_moves(folder: Path) -> None:
    keys = {"sticking": "R>LRR LRLL", "accents": ["own", "1 2&"], "lead": "both",
            "direction": "both", "steps": [4, 3], "placements": "0, 3", "feet": "samba",
            "accent_placements": "0, 2", "feet_placements": [0, 5], "stages": "full"}  # fmt: skip
    build(keys, folder)
    with (folder / INDEX).open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    named = {"file", "number", "title", "bars", "returns_after_bars", "seconds"}
    moved = [tuple(row[name] for name in INDEX_COLUMNS if name not in named) for row in rows]
    assert len(set(moved)) == len(rows) > 50
    columns = {name: {row[name] for row in rows} for name in INDEX_COLUMNS}
    assert columns["direction"] == {"forward", "backward"}
    assert columns["steps"] == {"4", "3"}
    assert {"1", "1&", "1a"} == columns["accent_placement"]
    assert {"1", "1a", "2"} == columns["placement"]
    assert {"2e", "2a", "2&"} & columns["feet_placement"]


def test_the_index_tells_exercises_apart_that_differ_in_their_feet(folder: Path) -> None:
    keys = {"sticking": "RLRR LRLL", "feet": "baiao", "feet_placements": "0, 2, 5"}
    build({**keys, "stages": ["hands", "full"]}, folder)
    with (folder / INDEX).open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert len({(row["feet"], row["feet_placement"]) for row in rows}) == len(rows) == 4
    assert [row["feet_placement"] for row in rows if row["stage"] == "full"] == ["1", "1&", "2e"]
    assert not any(row["feet"] for row in rows if row["stage"] == "hands")


def test_file_names_sort_in_teaching_order(folder: Path) -> None:
    build({"every": {"strokes": 6}, "stages": "hands"}, folder)
    names = files_of(folder / INDEX)
    assert len(names) == 64
    assert names == sorted(names)


def test_the_cues_are_where_the_sections_of_the_lesson_begin(folder: Path) -> None:
    report = build({"sticking": "RLRR LRLL", "tempos": [60, 120], "stages": "hands"}, folder)
    with (folder / CUES).open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert tuple(rows[0]) == CUE_COLUMNS
    # A bar of count-in and one of the phrase in 4/4: 4 s each at 60, 2 s each at 120.
    assert [float(row["seconds"]) for row in rows] == [0, 4, 8, 10]
    assert [row["start"] for row in rows] == [f"0:00:{s}.000" for s in ("00", "04", "08", "10")]
    assert float(report.built.seconds) == 12


@pytest.mark.parametrize(
    "title",
    ["a\nb", "<b>bold</b>", '"quoted", and = more', "../../up", "CON", "x" * 100_000, "für Élise"],
    ids=lambda title: title[:20],
)
def test_a_title_never_reaches_a_file_name(folder: Path, title: str) -> None:
    build({**ONE, "title": title}, folder)
    assert {path.parent for path in folder.rglob("*")} == {folder}
    assert len(list(folder.iterdir())) == 12
    assert all(path.name.isascii() and path.name.isprintable() for path in folder.iterdir())


def test_a_very_long_name_of_a_stage_is_refused(folder: Path) -> None:
    with pytest.raises(MidiforgeError, match="too long"):
        build({**ONE, "stage": {"a" * 300: {"limbs": "RH"}}}, folder)


def test_files_can_be_read_by_others_as_the_system_says(folder: Path) -> None:
    build(ONE, folder)
    plain = folder / "plain"
    plain.write_bytes(b"")
    assert {path.stat().st_mode for path in folder.iterdir()} == {plain.stat().st_mode}


# Building again


def test_the_same_drill_twice_gives_the_same_bytes(folder: Path) -> None:
    build(ONE, folder)
    before = snapshot(folder)
    build(ONE, folder)
    assert snapshot(folder) == before


def test_another_drill_takes_the_place_of_the_last_one_s_files(folder: Path) -> None:
    build(ONE, folder)
    build(OTHER, folder)
    new = snapshot(folder)
    shutil.rmtree(folder)
    build(OTHER, folder)
    assert snapshot(folder) == new


def test_a_file_that_somebody_removed_is_made_again(folder: Path) -> None:
    build(ONE, folder)
    before = snapshot(folder)
    (folder / INDEX).unlink()
    (folder / files_of_all(folder)[0]).unlink()
    build(ONE, folder)
    assert snapshot(folder) == before


def files_of_all(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.glob("*.mid") if path.name != LESSON)


def test_a_lesson_whose_record_is_lost_is_not_overwritten(folder: Path) -> None:
    build(ONE, folder)
    (folder / RECORD).unlink()
    before = snapshot(folder)
    with pytest.raises(MidiforgeError, match="not from midiforge"):
        build(ONE, folder)
    assert snapshot(folder) == before


@pytest.mark.parametrize("name", [INDEX, LESSON, CUES, "exercise"])
def test_a_file_changed_since_is_not_overwritten(folder: Path, name: str) -> None:
    build(ONE, folder)
    path = folder / (files_of(folder / INDEX)[0] if name == "exercise" else name)
    path.write_bytes(path.read_bytes() + b"mine")
    before = snapshot(folder)
    with pytest.raises(MidiforgeError, match="changed since") as caught:
        build(ONE, folder)
    assert caught.value.where == (str(path),)
    assert caught.value.hint
    assert snapshot(folder) == before


def test_an_old_file_changed_since_is_left_and_told_of(folder: Path) -> None:
    build(ONE, folder)
    name = files_of(folder / INDEX)[0]
    (folder / name).write_bytes(b"mine")
    report = build(OTHER, folder)
    assert report.built.kept == (name,)
    assert (folder / name).read_bytes() == b"mine"


@pytest.mark.parametrize("name", [INDEX, LESSON, CUES, "exercise"])
@pytest.mark.parametrize("kind", ["file", "folder", "link", "dangling link", "pipe"])
def test_what_somebody_else_put_there_is_not_overwritten(
    folder: Path, name: str, kind: str
) -> None:
    if name == "exercise":
        build(ONE, folder)
        name = files_of(folder / INDEX)[0]
        shutil.rmtree(folder)
    folder.mkdir()
    path, target = folder / name, folder.parent / "target"
    target.write_text("mine")
    if kind == "file":
        path.write_text("mine")
    elif kind == "folder":
        path.mkdir()
    elif kind == "pipe":
        os.mkfifo(path)
    else:
        path.symlink_to(target if kind == "link" else "nowhere")
    before = snapshot(folder)
    with pytest.raises(MidiforgeError, match="not from midiforge") as caught:
        build(ONE, folder)
    assert caught.value.where == (str(path),)
    assert snapshot(folder) == before
    assert target.read_text() == "mine"


def test_other_files_in_the_folder_are_left_alone(folder: Path) -> None:
    mine = {"notes.txt": "mine", "99-full.mid": "mine", ".hidden": "mine", "sub/index.csv": "mine"}
    (folder / "sub").mkdir(parents=True)
    for name, text in mine.items():
        (folder / name).write_text(text)
    for keys in (ONE, OTHER, ONE):
        build(keys, folder)
    assert {name: (folder / name).read_text() for name in mine} == mine


@pytest.mark.parametrize(
    "record",
    ["", "notes of mine\n", "x  ../secret\nx  /etc\nx  ..\nx  .\n", "\0\xff", "x  sub/y\n"],
)
def test_a_damaged_record_leads_nowhere(folder: Path, record: str) -> None:
    folder.mkdir()
    (folder.parent / "secret").write_text("mine")
    build(ONE, folder)
    heading = (folder / RECORD).read_text().splitlines()[0]
    (folder / RECORD).write_text(f"{heading}\n{record}", encoding="latin-1")
    with pytest.raises(MidiforgeError, match="not from midiforge"):
        build(ONE, folder)
    assert (folder.parent / "secret").read_text() == "mine"


def test_a_file_of_the_record_s_name_that_is_no_record_is_not_overwritten(folder: Path) -> None:
    folder.mkdir()
    (folder / RECORD).write_text("notes of mine\n")
    with pytest.raises(MidiforgeError):
        build(ONE, folder)
    assert (folder / RECORD).read_text() == "notes of mine\n"


def test_a_link_in_place_of_our_file_is_not_overwritten(folder: Path) -> None:
    build(ONE, folder)
    (folder / INDEX).rename(folder.parent / "moved.csv")
    (folder / INDEX).symlink_to("../moved.csv")
    with pytest.raises(MidiforgeError):
        build(ONE, folder)
    assert (folder / INDEX).is_symlink()


# Folders that cannot be written


def test_a_file_is_no_folder(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("mine")
    for path in (tmp_path / "file", tmp_path / "file" / "under"):
        with pytest.raises(MidiforgeError, match="file") as caught:
            build(ONE, path)
        assert caught.value.where == (str(path),)
    assert (tmp_path / "file").read_text() == "mine"


def test_a_link_that_leads_nowhere_is_no_folder(tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to("nowhere")
    with pytest.raises(MidiforgeError, match="cannot be written"):
        build(ONE, tmp_path / "link")
    assert not (tmp_path / "nowhere").exists()


def test_a_link_to_a_folder_is_a_folder(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to("real")
    build(ONE, tmp_path / "link")
    assert (tmp_path / "real" / INDEX).is_file()


def test_a_name_that_the_system_refuses_is_said(tmp_path: Path) -> None:
    with pytest.raises(MidiforgeError, match="cannot be written"):
        build(ONE, tmp_path / ("x" * 300))


@pytest.mark.parametrize("had", [False, True], ids=["new", "again"])
def test_a_folder_that_may_not_be_written_is_said(
    folder: Path, monkeypatch: pytest.MonkeyPatch, had: bool
) -> None:
    if had:
        build(ONE, folder)
    before = snapshot(folder)

    # The super-user may write anywhere, so the system's refusal is put in here.
    def no(path: object, *_: object, **__: object) -> None:
        raise PermissionError(errno.EACCES, "Permission denied", str(path))

    monkeypatch.setattr(os, "mkdir", no)
    with pytest.raises(MidiforgeError, match="cannot be written: permission denied"):
        build(OTHER, folder)
    monkeypatch.undo()
    assert snapshot(folder) == before


# What goes wrong in the middle


class Breaking:
    """Told of each exercise written; does something after a few."""

    def __init__(self, what: Callable[[], None], after: int = 3) -> None:
        self.what, self.after = what, after

    def __call__(self, done: int) -> None:
        if done == self.after:
            self.what()


def full() -> None:
    raise OSError(errno.ENOSPC, "No space left on device")


def interrupted() -> None:
    raise KeyboardInterrupt


def broken() -> None:
    raise ZeroDivisionError


@pytest.mark.parametrize("had", [False, True], ids=["new", "again"])
@pytest.mark.parametrize(
    ("what", "comes"),
    [(full, MidiforgeError), (interrupted, KeyboardInterrupt), (broken, ZeroDivisionError)],
    ids=["full disk", "interrupt", "anything"],
)
def test_a_build_that_ends_early_leaves_the_folder_as_it_was(
    folder: Path, what: Callable[[], None], comes: type[BaseException], had: bool
) -> None:
    if had:
        build(ONE, folder)
    before = snapshot(folder)
    with pytest.raises(comes):
        build(OTHER, folder, progress=Breaking(what))
    assert snapshot(folder) == before


def test_a_build_that_ends_early_leaves_no_folder_on_the_way(tmp_path: Path) -> None:
    with pytest.raises(MidiforgeError):
        build(ONE, tmp_path / "a" / "b" / "c", progress=Breaking(full))
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["mine.txt", LESSON])
def test_what_somebody_puts_there_meanwhile_is_not_removed(folder: Path, name: str) -> None:
    def put() -> None:
        (folder / name).write_text("mine")

    with pytest.raises((MidiforgeError, KeyboardInterrupt)):
        build(ONE, folder, progress=lambda n: put() if n == 2 else interrupted() if n > 4 else None)
    assert (folder / name).read_text() == "mine"


def test_what_somebody_puts_there_meanwhile_is_not_overwritten(folder: Path) -> None:
    build(OTHER, folder)
    (folder / LESSON).unlink()
    put = Breaking(lambda: (folder / LESSON).write_text("mine") and None)
    with pytest.raises(MidiforgeError, match=r"changed since|not from midiforge"):
        build(ONE, folder, progress=put)
    assert (folder / LESSON).read_text() == "mine"


@pytest.mark.parametrize("had", [False, True], ids=["new", "again"])
def test_a_folder_removed_in_the_middle_is_said(folder: Path, had: bool) -> None:
    if had:
        build(ONE, folder)
    with pytest.raises(MidiforgeError, match="cannot be written"):
        build(OTHER, folder, progress=Breaking(lambda: shutil.rmtree(folder)))
    assert not folder.exists()


def break_a_move(monkeypatch: pytest.MonkeyPatch, number: int, what: Callable[[], None]) -> None:
    """Makes the `number`th move of a file into place, or out of it, go wrong, and no other."""
    moves = 0

    def breaking(move: Callable[..., None]) -> Callable[..., None]:
        def moved(*arguments: Any, **more: Any) -> None:
            nonlocal moves
            moves += 1
            if moves == number:
                what()
            move(*arguments, **more)

        return moved

    for name in ("replace", "rename", "unlink"):
        monkeypatch.setattr(os, name, breaking(getattr(os, name)))


@pytest.mark.parametrize("number", range(1, 12))
def test_a_move_that_fails_in_a_new_folder_leaves_none(
    folder: Path, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    break_a_move(monkeypatch, number, full)
    with pytest.raises(MidiforgeError):
        build(OTHER, folder)
    monkeypatch.undo()
    assert not folder.exists()


MOVES = range(1, 16, 2)


@pytest.mark.parametrize("number", MOVES)
def test_a_move_that_fails_leaves_the_last_lesson(
    folder: Path, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    build(ONE, folder)
    before = snapshot(folder)
    break_a_move(monkeypatch, number, full)
    with pytest.raises(MidiforgeError):
        build(OTHER, folder)
    monkeypatch.undo()
    assert snapshot(folder) == before


@pytest.mark.parametrize("number", MOVES)
def test_an_interrupt_between_moves_leaves_one_lesson_or_the_other(
    folder: Path, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    build(OTHER, folder)
    new = snapshot(folder)
    shutil.rmtree(folder)
    build(ONE, folder)
    before = snapshot(folder)
    break_a_move(monkeypatch, number, lambda: signal.raise_signal(signal.SIGINT))
    with pytest.raises(KeyboardInterrupt):
        build(OTHER, folder)
    monkeypatch.undo()
    assert snapshot(folder) in (before, new)


@pytest.mark.parametrize("number", range(1, 12, 2))
def test_after_a_move_that_failed_the_next_build_is_whole(
    folder: Path, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    build(OTHER, folder)
    new = snapshot(folder)
    shutil.rmtree(folder)
    build(ONE, folder)
    break_a_move(monkeypatch, number, full)
    with pytest.raises(MidiforgeError):
        build(OTHER, folder)
    monkeypatch.undo()
    build(OTHER, folder)
    assert snapshot(folder) == new


def test_what_a_killed_build_left_is_cleared_away_by_the_next(folder: Path) -> None:
    build(ONE, folder)
    before = snapshot(folder)
    child = subprocess.Popen((*LONG, str(folder)), stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    wait_for_files(folder)
    child.kill()
    child.communicate()
    assert snapshot(folder) != before
    build(ONE, folder)
    assert snapshot(folder) == before


def wait_for_files(folder: Path, files: int = 20) -> None:
    """Until a build under way has written some."""
    until = time.monotonic() + 20
    while sum(1 for _ in folder.glob(".midiforge-*/*")) < files:
        assert time.monotonic() < until, "the build does not begin"
        time.sleep(0.01)


SIGNALS = [signal.SIGINT, signal.SIGTERM, signal.SIGHUP]


@pytest.mark.parametrize("had", [False, True], ids=["new", "again"])
@pytest.mark.parametrize("number", SIGNALS)
def test_a_signal_in_the_middle_leaves_the_folder_as_it_was(
    folder: Path, number: signal.Signals, had: bool
) -> None:
    if had:
        build(ONE, folder)
    before = snapshot(folder)
    child = subprocess.Popen(
        (*LONG, str(folder)), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    wait_for_files(folder)
    child.send_signal(number)
    out, err = child.communicate(timeout=20)
    assert snapshot(folder) == before
    assert child.returncode == 130 if number == signal.SIGINT else child.returncode != 0
    assert out == ""
    assert "Traceback" not in err


@pytest.mark.parametrize("limit", [0, 100, 400, 800])
@pytest.mark.parametrize("had", [False, True], ids=["new", "again"])
def test_a_disk_that_takes_no_more_leaves_the_folder_as_it_was(
    folder: Path, limit: int, had: bool
) -> None:
    """The system itself stops the writing, by a limit to the size of files."""
    if had:
        build(ONE, folder)
    before = snapshot(folder)
    done = subprocess.run(
        (*COMMAND, "build", "--sticking", "RLRR LRLL", "--out", str(folder)),
        capture_output=True,
        text=True,
        timeout=30,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit)),
    )
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.startswith(f"midiforge: {folder}")
    assert "cannot be written" in done.stderr
    assert done.stderr.count("\n") == 1
    assert snapshot(folder) == before


@pytest.mark.skipif(sys.platform != "linux", reason="names of bytes that are no text")
def test_a_folder_may_be_called_what_is_no_text(tmp_path: Path) -> None:
    folder = tmp_path / os.fsdecode(b"lesson-\xff")
    assert run(["build", "--sticking", "RLRR", "--out", str(folder), "-q"]) == 0
    assert run(["build", "--sticking", "RLRL", "--out", str(folder), "-q"]) == 0
    assert (folder / "index.csv").exists()


@pytest.mark.parametrize(
    ("arguments", "name"),
    [
        (("sheet", "--sticking", "RLRR", "--out"), "loop.html"),
        (("sheet", "--sticking", "RLRR", "--out"), "loop.svg"),
        (("show", "--sticking", "RLRR", "--picture"), "loop.svg"),
        (("build", "--sticking", "RLRR", "--out"), "loop"),
    ],
)
def test_a_link_that_leads_to_itself_is_refused_in_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], name: str
) -> None:
    link = tmp_path / name
    link.symlink_to(link)
    assert run([*arguments, str(link)]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1
    assert link.is_symlink()
