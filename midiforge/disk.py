"""Reading a person's files, with errors that say what is wrong with them."""

import os
import sys
import tomllib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from midiforge.errors import MidiforgeError

_LARGEST = 4 * 1024 * 1024


def read_toml(path: Path) -> dict[str, Any]:
    """The content of a TOML file; MidiforgeError naming file, line and column if it has none."""
    place = str(path)
    try:
        with path.open("rb") as stream:
            content = stream.read(_LARGEST + 1)
        if len(content) > _LARGEST:
            raise MidiforgeError("the file is too large for TOML written by hand", place)
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise MidiforgeError(
            f"the file is not text (byte {error.start + 1} is not UTF-8)",
            place,
            hint="a TOML text file was expected",
        ) from None
    except (OSError, ValueError) as error:
        why = reason(error) if isinstance(error, OSError) else str(error)
        raise MidiforgeError(f"cannot be read: {why}", place) from None
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise MidiforgeError(f"not TOML: {error}", place) from None
    except ValueError as error:  # such as a number of thousands of digits
        raise MidiforgeError(f"cannot be understood: {error}", place) from None
    except RecursionError:
        raise MidiforgeError("not TOML: nested too deeply", place) from None


def data_folder() -> Path:
    """Where midiforge keeps what it remembers, as each system has it (XDG Base Directory 0.8
    elsewhere); MidiforgeError if there is no home folder."""
    try:
        home = Path.home()
    except RuntimeError:
        raise MidiforgeError("there is no home folder") from None
    if sys.platform == "darwin":
        folder = home / "Library" / "Application Support"
    elif os.name == "nt":
        folder = Path(os.environ.get("APPDATA") or home / "AppData" / "Roaming")
    else:
        wanted = Path(os.environ.get("XDG_DATA_HOME", ""))
        folder = wanted if wanted.is_absolute() else home / ".local" / "share"
    return folder / "midiforge"


def is_file(path: Path) -> bool:
    """Whether a file is there; a name that no system takes is no file's."""
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


def check_name(path: Path) -> None:
    """Raises MidiforgeError for a name that no system takes, whatever is there."""
    try:
        name = os.fsencode(path)
    except UnicodeEncodeError:  # half of a letter
        name = b"\0"
    if b"\0" in name:
        raise MidiforgeError("is no name of a file", str(path))


def reason(error: OSError) -> str:
    """What the system says of a failed file operation, in lower case."""
    return (error.strerror or type(error).__name__).lower()


def check_replaceable(path: Path, ours: Callable[[str], bool]) -> None:
    """Raises MidiforgeError if a file is there whose text is not `ours` to replace."""
    if not path.exists() and not path.is_symlink():
        return
    try:
        if path.is_file() and ours(path.read_text(encoding="utf-8")):
            return
    except (OSError, ValueError):
        pass
    raise MidiforgeError(
        "is there already, and midiforge did not write it, or it was changed since",
        str(path),
        hint="name another file",
    )


@contextmanager
def aside(path: Path) -> Iterator[Path]:
    """An empty file beside `path`, with its ending, that takes its place once it is written.

    If anything is raised meanwhile it is removed; what the system refuses is a MidiforgeError.
    """
    import tempfile

    check_name(path)
    beside: Path | None = None
    try:
        with tempfile.NamedTemporaryFile(
            dir=path.parent, prefix=".midiforge-", suffix=path.suffix, delete=False
        ) as stream:
            beside = Path(stream.name)
        yield beside
        beside.chmod(0o644)
        beside.replace(path)
    except OSError as error:
        raise MidiforgeError(f"cannot be written: {reason(error)}", str(path)) from None
    finally:
        if beside is not None:
            beside.unlink(missing_ok=True)


def write_aside(path: Path, content: str | bytes) -> None:
    """Writes a file as a whole or not at all; MidiforgeError if it cannot be written."""
    with aside(path) as beside:
        beside.write_bytes(content.encode() if isinstance(content, str) else content)
