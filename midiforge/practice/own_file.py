"""Files that are written again and again under one name, but never over another's work.

The last line of each says what it is, with a checksum of all before it: a file that lacks it, or
was changed since, is left alone.
"""

from hashlib import sha256
from pathlib import Path

from midiforge.disk import reason, write_aside
from midiforge.errors import MidiforgeError

TOML_REMARK, XML_REMARK = "# {}\n", "<!-- {} -->\n"

_MARK = "midiforge practice, sha256 "


def write_own(path: Path, content: str, remark: str) -> None:
    """Writes a file whole, over nothing but an unchanged one of its kind.

    content: ends with a line's end. remark: how a line that says nothing is written in it.
    Raises MidiforgeError, the file left as it was.
    """
    path = path.resolve() if path.is_symlink() else path
    try:
        if path.exists() and not (path.is_file() and _unchanged(path.read_bytes(), remark)):
            raise MidiforgeError(
                "is there, and not written by midiforge, or changed since",
                str(path),
                hint="choose another name, or remove it",
            )
    except OSError as error:
        raise MidiforgeError(f"cannot be written: {reason(error)}", str(path)) from None
    body = content.encode()
    write_aside(path, body + _last_line(body, remark))


def _last_line(body: bytes, remark: str) -> bytes:
    return remark.format(f"{_MARK}{sha256(body).hexdigest()}").encode()


def _unchanged(content: bytes, remark: str) -> bool:
    body = content[: content.rfind(b"\n", 0, -1) + 1]
    return bool(body) and content[len(body) :] == _last_line(body, remark)
