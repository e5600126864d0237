"""Files that are written again and again under one name, but never over another's work.

A line of each says what it is, with a checksum of all the rest: a file that lacks it, or was
changed since, is left alone. Of what has no room for such a line a record of its folder has
the checksum.
"""

from abc import ABC, abstractmethod
from hashlib import sha256
from pathlib import Path

from midiforge.errors import MidiforgeError
from midiforge.files.disk import check_name, real, write_aside, writing
from midiforge.files.record import Record, write_record
from midiforge.files.swap import checksum, checksum_of, held, new_aside, swap
from midiforge.frozen import frozen

UNSEALED = ".midiforge-unsealed"


class Ours(ABC):
    """How a kind of file is told as ours."""

    def check(self, path: Path) -> None:
        """Raises MidiforgeError if something is there that is not ours, or was changed since."""
        check_name(path)
        with writing(path):
            if path.exists() and not (path.is_file() and self._is_ours(_behind(path))):
                what = "is there, and not written by midiforge, or changed since"
                raise MidiforgeError(what, str(path), hint="choose another name, or remove it")

    def write(self, path: Path, content: str | bytes) -> None:
        """Writes a file whole, over nothing but an unchanged one of its kind.

        content: ends with a line's end.
        Raises MidiforgeError, the file left as it was.
        """
        self.check(path)
        self._put(_behind(path), content.encode() if isinstance(content, str) else content)

    @abstractmethod
    def _is_ours(self, path: Path) -> bool: ...

    @abstractmethod
    def _put(self, path: Path, body: bytes) -> None: ...


def _behind(path: Path) -> Path:
    return real(path) if path.is_symlink() else path


@frozen
class Seal(Ours):
    """A remark in the file has its checksum.

    remark: what stands in it and says nothing to whoever reads such files, `{}` for the checksum;
        `{:.16}` for as much of it as a person may still read.
    on_top: whether it comes first, for files that are read from the top; else last.
    """

    remark: str
    on_top: bool = False

    def sealed(self, body: bytes) -> bytes:
        """The content with its seal; it ends with a line's end."""
        remark = self.remark.format(sha256(body).hexdigest()).encode()
        return remark + body if self.on_top else body + remark

    def is_on(self, content: bytes) -> bool:
        """Whether the content is as midiforge wrote it."""
        size = len(self.sealed(b""))
        return content == self.sealed(content[size:] if self.on_top else content[:-size])

    def _is_ours(self, path: Path) -> bool:
        return self.is_on(path.read_bytes())

    def _put(self, path: Path, body: bytes) -> None:
        write_aside(path, self.sealed(body))


class Unsealed(Ours):
    """A record of the folder has the checksums of files that have no room for a seal, for as long
    as they stay there."""

    def _is_ours(self, path: Path) -> bool:
        return Record(path.parent, UNSEALED).unchanged(path.name)

    def _put(self, path: Path, body: bytes) -> None:
        folder, name = path.parent, path.name
        with writing(path), held(folder), new_aside(folder) as aside:
            before = Record(folder, UNSEALED)
            others = (other for other in before.sums if other != name)
            there = [other for other in others if before.unchanged(other)]
            sums = {other: checksum_of(folder / other) for other in there}
            (aside / name).write_bytes(body)
            write_record(aside / UNSEALED, {name: checksum(body), **sums})
            swap(folder, aside, (name, UNSEALED), {})


PLAN = Seal("# midiforge practice, sha256 {}\n")
COURSE, DRAWING = (Seal(f"<!-- midiforge {by}, sha256 {{}} -->\n") for by in ("practice", "show"))
KIT = Seal(
    "# Written by midiforge kit learn; changed by hand, it will not be replaced. "
    "Checksum: {:.16}\n\n",
    on_top=True,
)
