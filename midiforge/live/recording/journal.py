"""What is recorded goes to disk as it comes: no crash, kill or power cut takes a take along.

A journal is a text file in the user's data folder: a line of JSON that says what it is of, then a
line for each exercise (x), each bar that began (b) and each message (m); k says up to when all is
in takes already. A line that is torn is left out, and what follows it. Whoever writes it holds a
lock on it, which ends with the process, however it ends; one that nobody holds is an orphan, and
the next command makes its takes of it.
"""

import json
import os
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from fractions import Fraction
from pathlib import Path
from typing import IO, Any

from midiforge.errors import MidiforgeError
from midiforge.live.recording.recorder import BarPlayed, RecordedExercise, Recorder
from midiforge.live.recording.waiting import ENDING, folder
from midiforge.model.meter import Meter
from midiforge.model.number import Number

_TO_DISK = 2.0  # seconds between what a power cut may take along


class Journal:
    """A journal that is being written; from any thread. Where the disk takes nothing more, it
    falls silent: the recording itself goes on in memory."""

    def __init__(self, head: dict[str, Any]) -> None:
        self._path = folder() / f"{time.strftime('%Y-%m-%d-%H%M%S')}-{os.getpid()}{ENDING}"
        self._path.parent.mkdir(parents=True, exist_ok=True)
        self._file: IO[bytes] | None = self._path.open("xb", buffering=0)
        _lock(self._file)
        self._known: dict[int, RecordedExercise] = {}  # held, so that no other has its id
        self._done = threading.Event()
        self._line(json.dumps(head))
        threading.Thread(target=self._sync, daemon=True).start()

    def message(self, at: int, content: bytes) -> None:
        """A message came."""
        self._line(f"m {at} {content.hex()}")

    def bar(self, bar: BarPlayed, straight: bool) -> None:
        """A bar began; straight: it follows the one before in the same take."""
        exercise = bar.exercise
        if id(exercise) not in self._known:
            self._known[id(exercise)] = exercise
            self._line(f"x {id(exercise)} {json.dumps(told(exercise))}")
        words = (bar.number, bar.at, bar.length, bar.quarter, int(bar.joined), int(straight))
        self._line(f"b {id(exercise)} {' '.join(map(str, words))}")

    def kept(self, at: int) -> None:
        """All that came up to a moment is in takes that are written."""
        self._line(f"k {at}")

    def _line(self, text: str) -> None:
        if self._file is not None:
            try:
                self._file.write(f"{text}\n".encode())
            except (OSError, ValueError):
                self._file = None

    def _sync(self) -> None:
        while not self._done.wait(_TO_DISK):
            with suppress(OSError, ValueError, AttributeError):
                os.fsync(self._file.fileno())  # type: ignore[union-attr]

    def remove(self) -> None:
        """The takes are written."""
        with suppress(OSError):
            self._path.unlink(missing_ok=True)
        self.leave()

    def leave(self) -> None:
        """They are not: it is left to the next command."""
        self._done.set()
        file, self._file = self._file, None
        if file is not None:
            file.close()


def told(exercise: RecordedExercise) -> dict[str, Any]:
    """What a take says of its exercise."""
    return {
        "number": [exercise.number.piece, exercise.number.place, exercise.number.tempos],
        "title": exercise.title,
        "tempo": str(exercise.tempo),
        "meter": str(exercise.meter),
        "pulse": str(exercise.meter.pulse),
        "step": str(exercise.step),
    }


def begin(head: dict[str, Any]) -> Journal | None:
    """A journal, or None where none can be written."""
    try:
        return Journal(head)
    except (OSError, MidiforgeError):
        return None


# Orphans


@contextmanager
def orphans() -> Iterator[list[tuple[Path, IO[bytes]]]]:
    """The journals that nobody writes any more, locked while the context lasts."""
    opened: list[tuple[Path, IO[bytes]]] = []
    with suppress(OSError, MidiforgeError):
        for path in sorted(folder().glob(f"*{ENDING}")):
            with suppress(OSError):
                file: IO[bytes] = path.open("r+b")
                try:
                    _lock(file)
                    opened.append((path, file))
                except OSError:
                    file.close()
    try:
        yield opened
    finally:
        for _, file in opened:
            file.close()


def read(file: IO[bytes]) -> tuple[dict[str, Any], Recorder]:
    """What a journal is of, and what was recorded; ValueError if it is none."""
    lines = file.read().split(b"\n")[:-1]
    if not lines:
        raise ValueError("empty")
    head = json.loads(lines[0])
    alone = _Told(head["alone"]) if head["alone"] else None
    recorder = Recorder(head["begin"], (), alone, head.get("started"))
    exercises: dict[str, RecordedExercise] = {}
    kept = head["begin"]
    with suppress(ValueError, KeyError, IndexError):  # up to where it is torn
        for line in lines[1:]:
            kind, _, rest = line.decode().partition(" ")
            if kind == "m":
                at, content = rest.split(" ")
                recorder.heard(bytes.fromhex(content), int(at))
            elif kind == "x":
                name, _, said = rest.partition(" ")
                exercises[name] = _Told(json.loads(said))
            elif kind == "b":
                name, number, at, length, quarter, joined, straight = rest.split(" ")
                when, long, lasting = int(at), Fraction(length), Fraction(quarter)
                bar = BarPlayed(exercises[name], int(number), when, long, lasting, joined == "1")
                recorder.bars.append((bar, straight == "1"))
            elif kind == "k":
                kept = int(rest)
    return head, recorder.since(kept)


class _Told:
    """An exercise as a journal tells of it."""

    def __init__(self, said: dict[str, Any]) -> None:
        self.number, self.title = Number(*map(int, said["number"])), str(said["title"])
        self.tempo, self.step = str(said["tempo"]), Fraction(said["step"])
        self.meter = Meter.parse(said["meter"], Fraction(said["pulse"]))


def _lock(file: IO[bytes]) -> None:
    """Holds a file for this process; OSError if another one holds it."""
    if os.name == "nt":
        import msvcrt

        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
    else:
        import fcntl

        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
