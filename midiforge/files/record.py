"""What midiforge wrote into a folder, and how one lesson takes another's place there.

A record of names and checksums stays in the folder: nothing but files that are in it, unchanged,
is ever overwritten or removed. New files replace old ones all together or not at all.
"""

import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from midiforge.errors import MidiforgeError
from midiforge.files.disk import check_name, writing
from midiforge.files.swap import checksum_of, held, new_aside, swap
from midiforge.frozen import frozen

RECORD = ".midiforge-wrote"

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
        with writing(folder):
            if folder.exists() and not folder.is_dir():
                raise MidiforgeError("is a file, not a folder", str(folder))
            for above in reversed((folder, *folder.parents)):
                if not above.exists():
                    with suppress(FileExistsError):  # somebody else was faster
                        above.mkdir()
                        made.insert(0, above)
            with held(folder):
                before = Record(folder, name)
                for file in always:
                    before.check(file)
                with new_aside(folder) as aside:
                    yield before, aside
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

    def replace_by(self, aside: Path, sums: Mapping[str, str]) -> Replaced:
        """Moves files from `aside` into place, old ones away, and takes note of the new.

        sums: the checksums of the new files by their names, moved in this order.
        """
        for name in sums:
            self.check(name)
        present = [name for name in self.sums if os.path.lexists(self.folder / name)]
        gone = [name for name in present if name not in sums]
        kept = [name for name in gone if not self.unchanged(name)]
        away = {name: checksum_of(self.folder / name) for name in gone if name not in kept}
        write_record(aside / self.name, sums)
        swap(self.folder, aside, (*sums, self.name), away)
        return Replaced(tuple(kept), len(away))


def write_record(path: Path, sums: Mapping[str, str]) -> None:
    """Writes a record of files: their checksums by their names."""
    lines = (f"{checksum}  {name}\n" for name, checksum in sums.items())
    path.write_text("".join((f"{_HEADING}\n", *lines)), encoding="utf-8")
