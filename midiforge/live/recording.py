"""A recording while exercises are played: from the name of its file to the takes that are kept."""

import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from midiforge.kit import Kit
from midiforge.live.recorder import Recorded, Recorder
from midiforge.live.signals import ENDING, ignored
from midiforge.live.take_file import check_free, take_path, write_take
from midiforge.model.exercise import Exercise
from midiforge.model.number import Number


@dataclass(frozen=True, slots=True)
class KeptTake:
    """A take that was written.

    number: its exercise's; none if it is of none. seconds: how long it is.
    aside: whether its own folder took no file.
    """

    path: Path
    number: Number
    strokes: int
    seconds: float
    aside: bool


@dataclass(frozen=True, slots=True)
class Kept:
    """What came of a recording.

    silent: the numbers of exercises in which nothing was struck.
    full: whether more came than a take can hold.
    """

    takes: tuple[KeptTake, ...]
    silent: tuple[Number, ...]
    full: bool


class Recording:
    """Raises MidiforgeError at once if no take can be written to `path`, or something is there.

    alone: whether nothing is played, so that all is one take.
    running: whether the input is open.
    digits: of the numbers in names of files.
    """

    def __init__(
        self, path: Path, exercises: Sequence[Exercise], kit: Kit, alone: bool = False
    ) -> None:
        self.running = False
        numbers = [each.number for each in exercises]
        self.digits = max(2, len(str(max(each.piece for each in numbers))))
        self._several = len(numbers) > 1 and not alone
        self._path = check_free(path, numbers if self._several else (), self.digits)
        only = exercises[0] if len(numbers) == 1 else None
        self.recorder = Recorder(time.monotonic_ns(), kit.controls, only)

    def keep(self) -> Kept:
        """Writes what was recorded; signals that end a program wait for it, it is soon done."""
        empty, kept = dict[Number, None](), list[KeptTake]()
        with ignored(*ENDING):
            for take in self.recorder.takes(time.monotonic_ns()):
                if take.strokes:
                    kept.append(self._write(take))
                else:
                    empty[_number(take)] = None
        written = {each.number for each in kept}
        silent = tuple(each for each in empty if each and each not in written)
        return Kept(tuple(kept), silent, self.recorder.full)

    def _write(self, take: Recorded) -> KeptTake:
        path, number = self._path, _number(take)
        if number and self._several:
            path = take_path(path, number, self.digits)
        path = write_take(path, take)
        seconds = (take.end - take.begin) / 1e9
        return KeptTake(path, number, take.strokes, seconds, path.parent != self._path.parent)


def _number(take: Recorded) -> Number:
    return take.exercise.number if take.exercise else Number()
