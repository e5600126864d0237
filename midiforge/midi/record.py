"""What midiforge wrote into a folder, and how one lesson takes another's place there.

A record of names and checksums stays in the folder: nothing but files that are in it, unchanged,
is ever overwritten or removed. New files replace old ones all together or not at all.
"""

import os
import re
import shutil
import tempfile
import time
from collections.abc import Iterable
from hashlib import blake2b
from pathlib import Path

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


class Record:
    """What midiforge wrote into a folder before.

    Raises MidiforgeError if something else has the record's name.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.path = folder / RECORD
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

    def replace_by(self, written: dict[str, str], aside: Path) -> list[str]:
        """Moves new files from `aside` into place, and old ones away; names those it left.

        written: name to checksum. Left are old files that somebody changed since.
        """
        for name in written:
            self.check(name)
        present = [name for name in self.sums if os.path.lexists(self.folder / name)]
        kept = [name for name in present if name not in written and not self.unchanged(name)]
        old = [(name, each) for name, sums in self.sums.items() for each in sums]
        new = list(written.items())
        away = aside / "before"
        away.mkdir()
        moves = _Moves()
        try:
            # Should we be killed among the moves, the next build must know both.
            _save([*old, *new], aside / "both")
            if os.path.lexists(self.path):
                moves.move(self.path, away / RECORD)
            moves.move(aside / "both", self.path)
            for name in present:
                if name not in kept:
                    moves.move(self.folder / name, away / name)
            for name in written:
                moves.move(aside / name, self.folder / name)
            _save(new, aside / "new")
            moves.move(self.path, aside / "both")
            moves.move(aside / "new", self.path)
        except BaseException:
            moves.take_back()
            raise
        return kept


class _Moves:
    """Moves of files that can be taken back."""

    def __init__(self) -> None:
        self._made: list[tuple[Path, Path]] = []

    def move(self, source: Path, target: Path) -> None:
        self._made.append((source, target))  # first: an interrupt may come right after the move
        source.replace(target)

    def take_back(self) -> None:
        for source, target in reversed(self._made):
            if os.path.lexists(target) and not os.path.lexists(source):
                target.replace(source)


def _save(lines: Iterable[tuple[str, str]], path: Path) -> None:
    text = "".join(f"{checksum}  {name}\n" for name, checksum in lines)
    path.write_text(f"{_HEADING}\n{text}", encoding="utf-8")


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
