"""Files that are written again and again under one name, but never over another's work.

The last line of each (of some, the first) says what it is, with a checksum of all the rest: a file
that lacks it, or was changed since, is left alone. Of what has no room for such a line a record of
the folder has the checksum: `midiforge.files.record.Unsealed`.
"""

from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from midiforge.errors import MidiforgeError
from midiforge.files.disk import check_name, real, reason, write_aside


@dataclass(frozen=True, slots=True)
class Seal:
    """How a kind of file is told as ours.

    kind: one word for what wrote it. remark: how a line that says nothing is written in it.
    """

    kind: str
    remark: str

    def sealed(self, body: bytes) -> bytes:
        """The content with its last line; it ends with a line's end."""
        return (
            body
            + self.remark.format(
                f"midiforge {self.kind}, sha256 {sha256(body).hexdigest()}"
            ).encode()
        )

    def check(self, path: Path) -> None:
        """Raises MidiforgeError if something is there that is not ours, or was changed since."""
        check_name(path)
        try:
            if path.exists() and not (path.is_file() and self._is_on(path.read_bytes())):
                raise not_ours(path)
        except OSError as error:
            raise MidiforgeError(f"cannot be written: {reason(error)}", str(path)) from None

    def write(self, path: Path, content: str | bytes) -> None:
        """Writes a file whole, over nothing but an unchanged one of its kind.

        content: ends with a line's end.
        Raises MidiforgeError, the file left as it was.
        """
        self.check(path)
        body = content.encode() if isinstance(content, str) else content
        write_aside(real(path) if path.is_symlink() else path, self.sealed(body))

    def _is_on(self, content: bytes) -> bool:
        body = content[: content.rfind(b"\n", 0, -1) + 1]
        return bool(body) and content == self.sealed(body)


@dataclass(frozen=True, slots=True)
class Heading(Seal):
    """A seal that comes first instead, for files that are read from the top.

    remark: the whole of it, a line or several; `{}` is the checksum, cut to what a person may
        still read.
    """

    def sealed(self, body: bytes) -> bytes:
        """The content below its seal."""
        return self.remark.format(sha256(body).hexdigest()[:16]).encode() + body

    def _is_on(self, content: bytes) -> bool:
        lines = self.remark.count("\n")
        return content == self.sealed(content.split(b"\n", lines)[-1])


PLAN, COURSE = Seal("practice", "# {}\n"), Seal("practice", "<!-- {} -->\n")
DRAWING = Seal("show", "<!-- {} -->\n")


def not_ours(path: Path) -> MidiforgeError:
    """Something is in the way that stays as it is."""
    what = "is there, and not written by midiforge, or changed since"
    return MidiforgeError(what, str(path), hint="choose another name, or remove it")
