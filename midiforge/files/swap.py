"""How the files of a folder are changed for others all together, whatever happens meanwhile.

The new files are written aside and are on the disk before anything else is done. Then a line in
the folder says that they are to take their places (the swap is decided), they are moved one by
one, and the line goes. A process that is killed before the line leaves the folder as it was; after
it, whoever comes next moves what is left to be moved. If the system refuses a move, all are moved
back. Where folders wait is noted in the user's data folder, for any command that comes next.
"""

import os
import shutil
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from functools import partial
from hashlib import blake2b, file_digest, sha256
from pathlib import Path

from midiforge.errors import MidiforgeError
from midiforge.files.disk import ASIDE, abandoned, aside_name, data_folder, keep_mode, lock, to_disk

_DECIDED = ".midiforge-swap"
_PLAN, _BEFORE = "swap.json", "before"
_LOOK = 0.01  # seconds from one look to the next whether a folder is free
_FEW = 64  # files that are brought to the disk one by one; more of them with all that waits for it


@contextmanager
def held(folder: Path, patience: float = 0.0) -> Iterator[None]:
    """Nobody else changes the folder, while the context lasts; what was left to be moved in it is
    moved first. Raises MidiforgeError if another process, or thread, changes it for longer than
    `patience`, in seconds."""
    opened = os.open(folder if os.name == "posix" else folder / f"{ASIDE}lock", _FLAGS, 0o666)
    until = time.monotonic() + patience
    try:
        while not (is_ours := lock(opened)) and time.monotonic() < until:
            time.sleep(_LOOK)
        if not is_ours:
            what = "another midiforge is writing into this folder"
            raise MidiforgeError(what, str(folder), hint="wait for it, or name another folder")
        _finish(folder)
        yield
    finally:
        os.close(opened)


_FLAGS = os.O_RDONLY if os.name == "posix" else os.O_RDWR | os.O_CREAT


@contextmanager
def new_aside(folder: Path) -> Iterator[Path]:
    """A hidden folder to write in, gone at the end; those left by processes that are gone go."""
    _sweep(folder)
    beside = folder / aside_name()
    beside.mkdir()
    try:
        yield beside
    finally:
        if not (folder / _DECIDED).exists():
            shutil.rmtree(beside, ignore_errors=True)


def tidy(folder: Path) -> None:
    """Finishes what was decided in a folder, and removes what processes that are gone left in it,
    half-written. Raises OSError, and MidiforgeError if another process changes it."""
    with held(folder):
        _sweep(folder)
        for left in folder.glob(f"{ASIDE}[0-9]*"):
            if left.is_file() and abandoned(left):
                left.unlink(missing_ok=True)


def _sweep(folder: Path) -> None:
    for left in folder.glob(f"{ASIDE}*"):
        if abandoned(left) and left.is_dir():
            shutil.rmtree(left, ignore_errors=True)


def swap(folder: Path, aside: Path, new: Sequence[str], gone: Mapping[str, str]) -> None:
    """Moves files from `aside` into the folder, over those of the same names, and others away.

    new: names, moved in this order. gone: names of those that go, and their checksums.
    The folder is `held`. Raises OSError, all as it was, if the system refuses.
    """
    import json  # not for every command, all of which look for what is left to be moved

    for name in new:
        keep_mode(folder / name, aside / name)
    (aside / _BEFORE).mkdir()
    there = [name for name in new if os.path.lexists(folder / name)]
    over = {name: checksum_of(folder / name) for name in there}
    plan = {"new": list(new), "over": over, "gone": dict(gone)}
    (aside / _PLAN).write_text(json.dumps(plan), encoding="utf-8")
    if len(new) > _FEW and hasattr(os, "sync"):
        os.sync()
    else:
        for name in (*new, _PLAN):
            to_disk(aside / name)
    to_disk(aside)
    note = _noted(folder)
    decided = aside / _DECIDED
    decided.write_text(aside.name, encoding="utf-8")
    to_disk(decided)
    decided.replace(folder / _DECIDED)
    to_disk(folder)
    _move(folder, aside)
    with suppress(OSError):
        note.unlink(missing_ok=True)


def _finish(folder: Path) -> None:
    """Moves what is left to be moved."""
    try:
        name = (folder / _DECIDED).read_text(encoding="utf-8")
    except FileNotFoundError:
        return
    aside = folder / name
    if Path(name).name == name and name.startswith(ASIDE) and (aside / _PLAN).is_file():
        _move(folder, aside)
        shutil.rmtree(aside, ignore_errors=True)
    else:
        (folder / _DECIDED).unlink()


def _move(folder: Path, aside: Path) -> None:
    import json

    plan, before = json.loads((aside / _PLAN).read_text(encoding="utf-8")), aside / _BEFORE
    try:
        for name, known in (plan["gone"] | plan["over"]).items():
            waits = name in plan["gone"] or os.path.lexists(aside / name)
            if waits and _is(folder / name, known):
                (folder / name).replace(before / name)
        for name in plan["new"]:  # those that are not there were moved before
            if os.path.lexists(aside / name) and not os.path.lexists(folder / name):
                (aside / name).replace(folder / name)
    except BaseException:
        for name in reversed(plan["new"]):
            if not os.path.lexists(aside / name) and os.path.lexists(folder / name):
                (folder / name).replace(aside / name)
        for left in before.iterdir():
            left.replace(folder / left.name)
        (folder / _DECIDED).unlink()
        raise
    to_disk(folder)
    (folder / _DECIDED).unlink()
    to_disk(folder)


def _is(path: Path, known: str) -> bool:
    with suppress(OSError):
        return not path.is_symlink() and path.is_file() and checksum_of(path) == known
    return False


def checksum(content: bytes) -> str:
    """What tells a file's content from any other."""
    return _DIGEST(content).hexdigest()


def checksum_of(path: Path) -> str:
    """The checksum of a file."""
    with path.open("rb") as stream:
        return file_digest(stream, _DIGEST).hexdigest()


_DIGEST = partial(blake2b, digest_size=16)


# Folders that wait, known to any command


def _waiting() -> Path:
    return data_folder() / "swaps"


def _noted(folder: Path) -> Path:
    """The note that a folder may wait; without a place for it there is none."""
    whole = os.fsencode(folder.absolute())
    note = Path(os.devnull)
    with suppress(OSError, MidiforgeError):
        note = _waiting() / sha256(whole).hexdigest()[:16]
        note.parent.mkdir(parents=True, exist_ok=True)
        note.write_bytes(whole)
    return note


def finish_all() -> list[Path]:
    """Moves what is left to be moved in any folder; gives which ones."""
    finished = []
    with suppress(OSError, MidiforgeError):
        for note in list(_waiting().iterdir()):
            with suppress(OSError, ValueError, MidiforgeError):
                folder = Path(os.fsdecode(note.read_bytes()))
                waits = (folder / _DECIDED).exists()
                if folder.is_dir():
                    with held(folder):
                        pass
                note.unlink()
                if waits:
                    finished.append(folder)
    return finished
