"""What midiforge wrote into a folder, and how one lesson takes another's place there.

A record of names and checksums stays in the folder: nothing but files that are in it, unchanged,
is ever overwritten or removed. New files replace old ones all together or not at all.
"""

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from hashlib import blake2b
from pathlib import Path

from midiforge.errors import MidiforgeError
from midiforge.files.disk import check_name, real, reason
from midiforge.files.own_file import not_ours
from midiforge.files.swap import checksum_of, held, new_aside, swap
from midiforge.frozen import frozen

RECORD = ".midiforge-wrote"
UNSEALED = ".midiforge-unsealed"

_HEADING = "# What midiforge wrote here, with checksums; it replaces nothing else."


@contextmanager
def rewriting(folder: Path, name: str, *always: str) -> Iterator[tuple["Record", Path]]:
    """The record of what was written into a folder before, and a hidden folder in it to write in.

    name: of the record. always: files that will be written in any case, checked before the work.
    In the end the hidden folder goes, and folders that were made for it and stayed empty. Whatever
    the system refuses is a MidiforgeError that names the folder, and so is somebody else writing
    there at the same time.
    """
    check_name(folder)
    made: list[Path] = []
    try:
        if folder.exists() and not folder.is_dir():
            raise MidiforgeError("is a file, not a folder", str(folder))
        for each in reversed((folder, *folder.parents)):
            if not each.exists():
                with suppress(FileExistsError):  # somebody else was faster
                    each.mkdir()
                    made.insert(0, each)
        with held(folder):
            before = Record(folder, name)
            for file in always:
                before.check(file)
            with new_aside(folder) as aside:
                yield before, aside
    except OSError as error:
        raise MidiforgeError(f"cannot be written: {reason(error)}", str(folder)) from None
    finally:
        for empty in made:
            with suppress(OSError):
                empty.rmdir()


@frozen
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
        new = [*names(aside / self.name), self.name]
        away = {each: checksum_of(self.folder / each) for each in gone if each not in kept}
        swap(self.folder, aside, new, away)
        return Replaced(tuple(kept), len(gone) - len(kept))


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


class Unsealed:
    """How files are told as ours that have no room for a seal (`midiforge.files.own_file`): a
    record of their folder has their checksums, for as long as they stay there."""

    def check(self, path: Path) -> None:
        """Raises MidiforgeError if something is there that is not ours, or was changed since."""
        check_name(path)
        path = _real(path)
        try:
            if path.exists() and not Record(path.parent, UNSEALED).unchanged(path.name):
                raise not_ours(path)
        except OSError as error:
            raise MidiforgeError(f"cannot be written: {reason(error)}", str(path)) from None

    def write(self, path: Path, content: str | bytes) -> None:
        """Writes a file whole, over nothing but an unchanged one of ours, and its record with it.

        Raises MidiforgeError, both left as they were.
        """
        self.check(path)
        path = _real(path)
        body = content.encode() if isinstance(content, str) else content
        try:
            with held(path.parent), new_aside(path.parent) as aside:
                before = Record(path.parent, UNSEALED)
                with Writing(aside, UNSEALED) as record:
                    record.note(path.name, checksum(body))
                    for name in before.sums:
                        if name != path.name and before.unchanged(name):
                            record.note(name, checksum_of(path.parent / name))
                (aside / path.name).write_bytes(body)
                swap(path.parent, aside, (path.name, UNSEALED), {})
        except OSError as error:
            raise MidiforgeError(f"cannot be written: {reason(error)}", str(path)) from None


def _real(path: Path) -> Path:
    return real(path) if path.is_symlink() else path


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
