"""Files and folders when the machine fails: at each single thing that is asked of the system, the
process is killed, or the system refuses.

Done at the functions of `os` that change something, one after the other, all of them: a process
that is killed does nothing more after that, not even what its `finally` says. The same was done
once with strace's fault injection over the real command; how is in the contributors' guide.
"""

import builtins
import errno
import io
import os
import stat
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

import midiforge
from midiforge.command.run import run
from midiforge.errors import MidiforgeError
from midiforge.files.disk import write_aside

CHANGES = (
    "replace",
    "rename",
    "unlink",
    "mkdir",
    "rmdir",
    "fsync",
    "chmod",
    "sync",
    "open",
    "link",
)
FIRST = midiforge.check_drill({"sticking": "RLRR LRLL", "tempos": "70"})
SECOND = midiforge.check_drill({"sticking": "RRL", "tempos": "70, 80", "placements": "1, 1e"})


class Killed(BaseException):
    """The process is no more."""


class Machine:
    """Counts what is asked to be changed; at one of them it fails."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, at: int, kills: bool) -> None:
        self.count, self.at, self.kills = 0, at, kills
        for name in CHANGES:
            if hasattr(os, name):
                monkeypatch.setattr(os, name, self.watched(getattr(os, name)))
        opened = self.watched(io.open)
        monkeypatch.setattr(io, "open", opened)
        monkeypatch.setattr(builtins, "open", opened)

    def watched(self, function: Callable[..., object]) -> Callable[..., object]:
        def called(*arguments: object, **keys: object) -> object:
            mode = str(keys.get("mode", arguments[1] if len(arguments) > 1 else "r"))
            if function is not real_open or any(letter in mode for letter in "wxa+"):
                self.count += 1
                dead = self.kills and self.count > self.at
                if self.count == self.at or dead:
                    raise Killed if self.kills else OSError(errno.ENOSPC, "no space left")
            return function(*arguments, **keys)

        real_open = io.open
        return called


@contextmanager
def failing(at: int, kills: bool) -> Iterator[Machine]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("midiforge.files.disk.os.getpid", lambda: 2**22 + at)  # nobody's: it is dead
        yield Machine(patch, at, kills)


def files(folder: Path) -> dict[str, bytes]:
    """All that a person sees there; hidden files are ours."""
    return {
        path.name: path.read_bytes()
        for path in folder.glob("*")
        if path.is_file() and not path.name.startswith(".midiforge")
    }


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    return tmp_path


def points(work: Callable[[], object]) -> int:
    """How many things are asked of the system."""
    with failing(-1, False) as machine:
        work()
    return machine.count


@pytest.mark.parametrize("kills", [True, False], ids=["killed", "refused"])
def test_at_every_point_a_lesson_is_the_old_one_or_the_new_one(home: Path, kills: bool) -> None:
    def lessons(folder: Path) -> Path:
        midiforge.build_lesson(FIRST, folder)
        (folder / "mine.txt").write_text("mine")
        return folder

    new = lessons(home / "new")
    asked = points(lambda: midiforge.build_lesson(SECOND, new))
    old = files(lessons(home / "old"))
    seen = set()
    for at in range(1, asked + 1):
        folder = lessons(home / f"at-{at}")
        with failing(at, kills), suppress(Killed, MidiforgeError):
            midiforge.build_lesson(SECOND, folder)
        assert run(["list", "kits"]) == 0  # the next command, whatever it is
        now = files(folder)
        assert now in (old, files(new)), at
        seen.add(now == old)
        midiforge.build_lesson(SECOND, folder)  # nobody is locked out
        assert files(folder) == files(new), at
        assert not [each for each in folder.glob(".midiforge*") if each.is_dir()]
    assert asked > 30 and seen == {True, False}


@pytest.mark.parametrize("kills", [True, False], ids=["killed", "refused"])
def test_at_every_point_a_set_of_loops_is_the_old_one_or_the_new_one(
    home: Path, kills: bool
) -> None:
    shape = midiforge.Shape(kinds=("without-hands",), minutes=0.01)

    def loops(drill: midiforge.Drill, folder: Path) -> None:
        midiforge.write_loops(drill, folder, shape)

    loops(SECOND, home / "new")
    loops(FIRST, home / "old")
    loops(FIRST, home / "counted")
    asked = points(lambda: loops(SECOND, home / "counted"))
    both = files(home / "old"), files(home / "new")
    for at in range(1, asked + 1, 3):
        folder = home / f"at-{at}"
        loops(FIRST, folder)
        with failing(at, kills), suppress(Killed, MidiforgeError):
            loops(SECOND, folder)
        run(["list", "kits"])
        assert files(folder) in both, at
        loops(SECOND, folder)
        assert files(folder) == both[1], at


@pytest.mark.parametrize("kills", [True, False], ids=["killed", "refused"])
def test_at_every_point_a_file_is_the_old_one_or_the_new_one(home: Path, kills: bool) -> None:
    path = home / "sheet.musicxml"
    path.write_text("old")
    asked = points(lambda: write_aside(home / "counted", "new"))
    for at in range(1, asked + 1):
        with failing(at, kills), suppress(Killed, MidiforgeError):
            write_aside(path, "new")
        assert path.read_text() in ("old", "new")
        write_aside(path, "new")
        assert path.read_text() == "new"
        assert not list(home.glob(".midiforge*")), at
        path.write_text("old")
    assert asked >= 4


def test_of_two_builds_at_once_one_is_told_of_the_other(home: Path) -> None:
    from midiforge.files.swap import held

    folder = home / "lesson"
    midiforge.build_lesson(FIRST, folder)
    before = files(folder)
    code = (
        "import midiforge, sys; d = midiforge.check_drill({'sticking': 'RRL'})\n"
        "try: midiforge.build_lesson(d, sys.argv[1])\n"
        "except midiforge.MidiforgeError as error: print(error)"
    )
    with held(folder):
        done = subprocess.run(
            [sys.executable, "-c", code, str(folder)], capture_output=True, text=True, check=True
        )
    assert "another midiforge is writing" in done.stdout
    assert files(folder) == before


def test_what_a_person_put_there_meanwhile_is_not_touched(home: Path) -> None:
    for at in range(1, points(lambda: midiforge.build_lesson(SECOND, home / "counted"))):
        folder = home / f"at-{at}"
        midiforge.build_lesson(FIRST, folder)
        with failing(at, True), suppress(Killed):
            midiforge.build_lesson(SECOND, folder)
        name = next((name for name in files(folder) if name.endswith(".mid")), "index.csv")
        (folder / name).write_bytes(b"mine")
        with suppress(MidiforgeError):
            midiforge.build_lesson(SECOND, folder)
        assert (folder / name).read_bytes() == b"mine", at


@pytest.mark.skipif(os.name != "posix", reason="permissions as POSIX has them")
@pytest.mark.parametrize("umask", [0o022, 0o077, 0o002])
def test_new_files_have_what_the_umask_leaves_and_replaced_ones_keep_theirs(
    home: Path, umask: int
) -> None:
    before = os.umask(umask)
    try:
        midiforge.build_lesson(FIRST, home / "lesson")
        midiforge.write_sheet(FIRST, home / "sheet.musicxml")
        written = [home / "sheet.musicxml", *(home / "lesson").glob("*")]
        assert {stat.S_IMODE(each.stat().st_mode) for each in written} == {0o666 & ~umask}
        for path in (home / "sheet.musicxml", home / "lesson" / "index.csv"):
            path.chmod(0o640)
        midiforge.build_lesson(SECOND, home / "lesson")
        midiforge.write_sheet(SECOND, home / "sheet.musicxml")
        for path in (home / "sheet.musicxml", home / "lesson" / "index.csv"):
            assert stat.S_IMODE(path.stat().st_mode) == 0o640
    finally:
        os.umask(before)
