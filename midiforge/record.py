"""What midiforge wrote into a folder, and how one lesson takes another's place there.

A record of names and checksums stays in the folder: nothing but files that are in it, unchanged,
is ever overwritten or removed. New files replace old ones all together or not at all.
"""

import os
import re
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from hashlib import blake2b
from pathlib import Path

from midiforge.disk import check_name, reason
from midiforge.errors import MidiforgeError

RECORD = ".midiforge-wrote"

_HEADING = "# What midiforge wrote here, with checksums; it replaces nothing else."
_ASIDE = ".midiforge-aside-"
_DAY = 24 * 60 * 60


def new_aside(folder: Path) -> Path:
    """A new hidden folder to write in; those that builds left when they were killed are removed."""
    for each in folder.glob(f"{_ASIDE}*"):
        if _abandoned(each):
            shutil.rmtree(each, ignore_errors=True)
    return Path(tempfile.mkdtemp(prefix=f"{_ASIDE}{os.getpid()}-", dir=folder))


@contextmanager
def rewriting(folder: Path, name: str, *always: str) -> Iterator[tuple["Record", Path]]:
    """The record of what was written into a folder before, and a hidden folder in it to write in.

    name: of the record. always: files that will be written in any case, checked before the work.
    In the end the hidden folder goes, and folders that were made for it and stayed empty. Whatever
    the system refuses is a MidiforgeError that names the folder.
    """
    check_name(folder)
    made: list[Path] = []
    aside: Path | None = None
    try:
        if folder.exists() and not folder.is_dir():
            raise MidiforgeError("is a file, not a folder", str(folder))
        made = [each for each in (folder, *folder.parents) if not each.exists()]
        folder.mkdir(parents=True, exist_ok=True)
        before = Record(folder, name)
        for each in always:
            before.check(each)
        aside = new_aside(folder)
        yield before, aside
    except OSError as error:
        raise MidiforgeError(f"cannot be written: {reason(error)}", str(folder)) from None
    finally:
        if aside is not None:
            shutil.rmtree(aside, ignore_errors=True)
        for empty in made:
            with suppress(OSError):
                empty.rmdir()


def _abandoned(aside: Path) -> bool:
    """Whether the build that made the folder is gone."""
    match = re.match(r"[0-9]{1,10}-", aside.name.removeprefix(_ASIDE))
    if not match or not aside.is_dir() or aside.is_symlink():
        return False
    if os.name != "posix":  # where asking after a process may end it
        return time.time() - aside.stat().st_mtime > _DAY
    try:
        os.kill(int(match[0][:-1]), 0)
    except ProcessLookupError:
        return True
    except (OSError, OverflowError):
        return False
    return False


@dataclass(frozen=True, slots=True)
class Replaced:
    """What became of the files of an earlier time.

    kept: the names of those that somebody changed since; they are left alone.
    removed: how many are gone, and no file of their name came in their place.
    """

    kept: tuple[str, ...] = ()
    removed: int = 0


class Record:
    """What midiforge wrote into a folder before.

    name: of the record; what is written for another purpose keeps one of its own.
    Raises MidiforgeError if something else has the record's name.
    """

    def __init__(self, folder: Path, name: str = RECORD) -> None:
        self.folder = folder
        self.name = name
        self.path = folder / name
        self.sums: dict[str, set[str]] = {}
        if not os.path.lexists(self.path):
            return
        lines: list[str] = []
        if self.path.is_file() and not self.path.is_symlink():
            lines = self.path.read_text(encoding="utf-8", errors="replace").splitlines()
        if lines[:1] != [_HEADING]:
            raise MidiforgeError("is not midiforge's record", str(self.path), hint="move it away")
        for line in lines[1:]:
            checksum, _, name = line.partition("  ")
            if name and Path(name).name == name:
                self.sums.setdefault(name, set()).add(checksum)

    def unchanged(self, name: str) -> bool:
        """Whether the file there is one that midiforge wrote, as it wrote it."""
        path = self.folder / name
        if name not in self.sums or path.is_symlink() or not path.is_file():
            return False
        return checksum_of(path) in self.sums[name]

    def check(self, name: str) -> None:
        """Raises MidiforgeError if a file of that name is there that midiforge did not write."""
        path = self.folder / name
        if os.path.lexists(path) and not self.unchanged(name):
            what = "was changed since" if name in self.sums else "is there, and not from midiforge"
            raise MidiforgeError(
                f"{what}; it would be overwritten",
                str(path),
                hint="move it away, or build into another folder",
            )

    def replace_by(self, aside: Path) -> Replaced:
        """Moves the files that the record in `aside` names into place, and old ones away."""
        for name in names(aside / self.name):
            self.check(name)
        present = [name for name in self.sums if os.path.lexists(self.folder / name)]
        gone = [name for name in present if not (aside / name).exists()]
        kept = [name for name in gone if not self.unchanged(name)]
        away = aside / "before"
        away.mkdir()
        both = aside / "both"
        shutil.copyfile(aside / self.name, both)
        with both.open("a", encoding="utf-8") as stream:
            for name, sums in self.sums.items():
                stream.writelines(_line(name, each) for each in sums)
        try:
            # Should we be killed among the moves, the next build must know old files and new.
            if os.path.lexists(self.path):
                self.path.replace(away / self.name)
            both.replace(self.path)
            for name in present:
                if name not in kept:
                    (self.folder / name).replace(away / name)
            for name in names(aside / self.name):
                (aside / name).replace(self.folder / name)
            shutil.copyfile(aside / self.name, both)
            both.replace(self.path)
        except BaseException:
            self._take_back(aside, away)
            raise
        return Replaced(tuple(kept), len(gone) - len(kept))

    def _take_back(self, aside: Path, away: Path) -> None:
        """Undoes moves, however many were made."""
        for name in names(aside / self.name):
            if os.path.lexists(self.folder / name) and not os.path.lexists(aside / name):
                (self.folder / name).replace(aside / name)
        if not (away / self.name).exists() and not self.sums:
            self.path.unlink(missing_ok=True)
        for each in away.iterdir():
            each.replace(self.folder / each.name)


class Writing:
    """The record of files that are being written, made as they are; use it as a context."""

    def __init__(self, aside: Path, name: str = RECORD) -> None:
        self._stream = (aside / name).open("w", encoding="utf-8")
        self._stream.write(f"{_HEADING}\n")

    def note(self, name: str, checksum: str) -> None:
        """Takes note of a file that was written."""
        self._stream.write(_line(name, checksum))

    def __enter__(self) -> "Writing":
        return self

    def __exit__(self, *_: object) -> None:
        self._stream.close()


def _line(name: str, checksum: str) -> str:
    return f"{checksum}  {name}\n"


def names(record: Path) -> Iterator[str]:
    """The names in a record, one by one."""
    with record.open(encoding="utf-8") as stream:
        next(stream, None)
        for line in stream:
            yield line.rstrip("\n").partition("  ")[2]


def checksum(content: bytes) -> str:
    """What tells a file's content from any other."""
    return blake2b(content, digest_size=16).hexdigest()


def checksum_of(path: Path) -> str:
    """The checksum of a file."""
    total = blake2b(digest_size=16)
    with path.open("rb") as stream:
        while block := stream.read(1 << 20):
            total.update(block)
    return total.hexdigest()
