"""Reading a person's files, with errors that say what is wrong with them."""

import errno
import os
import re
import stat
import sys
import time
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from midiforge.errors import MidiforgeError

_LARGEST = 4 * 1024 * 1024
_OTHERS = {
    b"MThd": "a MIDI file",
    b"SQLite format 3": "a practice log",
    b"RIFF": "a sound or a SoundFont",
    b"%PDF": "a PDF",
}
_DAY = 24 * 60 * 60


# What a path may lead to besides a file; some of these keep whoever opens them waiting for ever.
_KINDS = {
    stat.S_IFDIR: "a folder",
    stat.S_IFIFO: "a pipe",
    stat.S_IFCHR: "a device",
    stat.S_IFBLK: "a device",
    stat.S_IFSOCK: "a socket",
}


def no_file(path: Path) -> str:
    """What is there if it is no file, such as "a folder"; "" for a file, and where nothing is.

    Raises OSError where the system does not say, ValueError for a name that no system takes.
    """
    try:
        kind = stat.S_IFMT(path.stat().st_mode)
    except (FileNotFoundError, NotADirectoryError):
        return ""
    return "" if kind == stat.S_IFREG else _KINDS.get(kind, "something else")


def read_file(path: Path, most: int, too_large: str = "the file is too large") -> bytes:
    """The content of a file of `most` bytes at most; MidiforgeError if it cannot be read, or is
    none."""
    check_name(path)
    try:
        what = no_file(path)
        if what:
            raise MidiforgeError(f"cannot be read: is {what}, not a file", str(path))
        with path.open("rb") as stream:
            content = stream.read(most + 1)
    except OSError as error:
        raise MidiforgeError(f"cannot be read: {reason(error)}", str(path)) from None
    if len(content) > most:
        raise MidiforgeError(too_large, str(path))
    return content


def real(path: Path) -> Path:
    """Where a path leads in the end, as `Path.resolve` says; one that leads to itself stays."""
    return Path(os.path.realpath(path))


def way(path: Path, folder: Path) -> str:
    """How a file in a folder names another: by the way there, or whole from another drive."""
    whole = real(path)
    with suppress(ValueError):
        return Path(os.path.relpath(whole, real(folder))).as_posix()
    return whole.as_posix()


def read_toml(path: Path) -> dict[str, Any]:
    """The content of a TOML file; MidiforgeError naming file, line and column if it has none."""
    return parsed_toml(read_toml_text(path), path)


def read_toml_text(path: Path) -> str:
    """The text of a file that is to be TOML; MidiforgeError naming the file if it is none."""
    place = str(path)
    content = read_file(path, _LARGEST, "the file is too large for TOML written by hand")
    try:
        for beginning, what in _OTHERS.items():
            if content.startswith(beginning):
                raise MidiforgeError(f"is {what}, not a TOML text file", place)
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise MidiforgeError(
            f"the file is not text (byte {error.start + 1} is not UTF-8)",
            place,
            hint="a TOML text file was expected",
        ) from None


def parsed_toml(text: str, path: Path) -> dict[str, Any]:
    """The content of a text that came from a file; MidiforgeError as for `read_toml`."""
    place = str(path)
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


@contextmanager
def writing(path: Path) -> Iterator[None]:
    """What the system refuses meanwhile is a MidiforgeError that names the path."""
    try:
        yield
    except OSError as error:
        raise MidiforgeError(f"cannot be written: {reason(error)}", str(path)) from None


ASIDE = ".midiforge-"  # what a file or folder that is still being written is called


def aside_name(ending: str = "") -> str:
    """A name that no other process has; `abandoned` knows when its process is gone."""
    return f"{ASIDE}{os.getpid()}-{time.time_ns():x}{ending}"


def abandoned(path: Path) -> bool:
    """Whether something that was written aside was left by a process that is gone."""
    match = re.match(r"([0-9]{1,10})-", path.name.removeprefix(ASIDE))
    if not match or path.is_symlink():
        return False
    if os.name != "posix":  # where asking after a process may end it
        return time.time() - path.stat().st_mtime > _DAY
    try:
        os.kill(int(match[1]), 0)
    except ProcessLookupError:
        return True
    except (OSError, OverflowError):
        return False
    return False


@contextmanager
def aside(path: Path) -> Iterator[Path]:
    """An empty file beside `path`, with its ending, that takes its place once it is written, and
    has its permissions; a new one has those that the user's umask leaves.

    If anything is raised meanwhile it is removed; what the system refuses is a MidiforgeError.
    What is moved is on the disk, so that a power cut leaves the old file or the new one.
    """
    check_name(path)
    beside = path.parent / aside_name(path.suffix)
    try:
        with writing(path):
            for left in path.parent.glob(f"{ASIDE}[0-9]*"):
                if abandoned(left) and left.is_file():
                    left.unlink(missing_ok=True)
            beside.touch(exist_ok=False)
            yield beside
            keep_mode(path, beside)
            to_disk(beside)
            beside.replace(path)
            to_disk(path.parent)
    finally:
        with suppress(OSError):
            beside.unlink(missing_ok=True)


def keep_mode(old: Path, new: Path) -> None:
    """Gives a new file the permissions of the one it replaces, if there is one."""
    with suppress(FileNotFoundError):
        new.chmod(old.stat().st_mode & 0o777)


def to_disk(path: Path) -> None:
    """What was written of a file, or moved in a folder, survives a power cut from now on; where a
    system has no such thing for folders, nothing is done."""
    try:
        opened = os.open(path, os.O_RDONLY)
    except PermissionError:  # Windows opens no folders
        return
    try:
        os.fsync(opened)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.EBADF, errno.ENOTSUP):
            raise
    finally:
        os.close(opened)


def lock(opened: int) -> bool:
    """Holds an open file or folder for this process, until it is closed or the process ends;
    False if another process does."""
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(opened, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(opened, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return False
    return True


def write_aside(path: Path, content: str | bytes) -> None:
    """Writes a file as a whole or not at all; MidiforgeError if it cannot be written."""
    with aside(path) as beside:
        beside.write_bytes(content.encode() if isinstance(content, str) else content)
