"""Files that are written again and again under one name, but never over another's work.

A line of each says what it is, with a checksum of all the rest: a file that lacks it, or was
changed since, is left alone. Of what has no room for such a line a record of its folder has
the checksum: `midiforge.files.record.Unsealed`.
"""

from hashlib import sha256
from pathlib import Path

from midiforge.errors import MidiforgeError
from midiforge.files.disk import check_name, real, reason, write_aside
from midiforge.frozen import frozen


@frozen
class Seal:
    """How a kind of file is told as ours.

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

    def check(self, path: Path) -> None:
        """Raises MidiforgeError if something is there that is not ours, or was changed since."""
        check_name(path)
        try:
            if path.exists() and not (path.is_file() and self.is_on(path.read_bytes())):
                raise not_ours(path)
        except OSError as error:
            raise MidiforgeError(f"cannot be written: {reason(error)}", str(path)) from None

    def is_on(self, content: bytes) -> bool:
        """Whether the content is as midiforge wrote it."""
        size = len(self.sealed(b""))
        return content == self.sealed(content[size:] if self.on_top else content[:-size])

    def write(self, path: Path, content: str | bytes) -> None:
        """Writes a file whole, over nothing but an unchanged one of its kind.

        content: ends with a line's end.
        Raises MidiforgeError, the file left as it was.
        """
        self.check(path)
        body = content.encode() if isinstance(content, str) else content
        write_aside(real(path) if path.is_symlink() else path, self.sealed(body))


PLAN = Seal("# midiforge practice, sha256 {}\n")
COURSE, DRAWING = (Seal(f"<!-- midiforge {by}, sha256 {{}} -->\n") for by in ("practice", "show"))
KIT = Seal(
    "# Written by midiforge kit learn; changed by hand, it will not be replaced. "
    "Checksum: {:.16}\n\n",
    on_top=True,
)


def not_ours(path: Path) -> MidiforgeError:
    """Something is in the way that stays as it is."""
    what = "is there, and not written by midiforge, or changed since"
    return MidiforgeError(what, str(path), hint="choose another name, or remove it")
