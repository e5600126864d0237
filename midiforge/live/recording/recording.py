"""A recording while exercises are played: from the name of its file to the takes that are kept."""

import time
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

from midiforge.errors import MidiforgeError
from midiforge.frozen import frozen
from midiforge.kits.kit import Kit
from midiforge.live.playing.signals import ENDING, ignored
from midiforge.live.recording import journal
from midiforge.live.recording.recorder import Recorded, Recorder
from midiforge.live.recording.take_file import check_free, take_bytes, take_path, write_take
from midiforge.model.exercise import Exercise
from midiforge.model.number import Number


@frozen
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


@frozen
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
        numbers = [exercise.number for exercise in exercises]
        self.digits = max(2, len(str(max(number.piece for number in numbers))))
        several = len(numbers) > 1 and not alone
        path = check_free(path, numbers if several else (), self.digits)
        self._files = _Files(path, several, self.digits)
        only = exercises[0] if len(numbers) == 1 else None
        self.recorder = Recorder(time.monotonic_ns(), kit.controls, only, time.time())
        self.heard, self.began = self.recorder.heard, self.recorder.began
        self._journal: journal.Journal | None = None
        self._kept: Kept | None = None

    def begin(self, _: object = None) -> None:
        """The input is open: from now on all that is recorded is on disk, too."""
        self.running = True
        head = {
            "path": str(self._files.path.absolute()),
            "several": self._files.several,
            "digits": self.digits,
            "begin": self.recorder.begin,
            "started": self.recorder.started,
            "alone": journal.told(self.recorder.alone) if self.recorder.alone else None,
        }
        self._journal = self.recorder.journal = journal.begin(head)

    def keep(self) -> Kept:
        """Writes what was recorded, once; signals that end a program wait for it, it is soon done.

        Raises MidiforgeError if it can be written nowhere; its journal is then left for the next
        command.
        """
        if self._kept is None:
            with ignored(*ENDING):
                self._kept = _keep(self.recorder, self._files, time.monotonic_ns())
                if self._journal:
                    self._journal.remove()
        return self._kept


@frozen
class _Files:
    """Where takes go. several: whether each exercise has a file of its own."""

    path: Path
    several: bool
    digits: int


def _keep(recorder: Recorder, files: _Files, end: int) -> Kept:
    empty, kept = dict[Number, None](), list[KeptTake]()
    for take in recorder.takes(end):
        if take.strokes:
            kept.append(_write(take, files))
        else:
            empty[_number(take)] = None
    written = {take.number for take in kept}
    silent = tuple(number for number in empty if number and number not in written)
    return Kept(tuple(kept), silent, recorder.full)


def _write(take: Recorded, files: _Files) -> KeptTake:
    path, number = files.path, _number(take)
    if number and files.several:
        path = take_path(path, number, files.digits)
    path = write_take(path, take_bytes(take))
    seconds = (take.end - take.begin) / 1e9
    return KeptTake(path, number, take.strokes, seconds, path.parent != files.path.parent)


def rescued() -> list[Kept]:
    """Makes the takes of recordings that were cut short, and removes their journals."""
    saved = []
    with journal.orphans() as orphans:
        for path, file in orphans:
            try:
                head, recorder = journal.read(file)
                files = _Files(Path(head["path"]), bool(head["several"]), int(head["digits"]))
                saved.append(_keep(recorder, files, recorder.end + _CLOSING))
            except MidiforgeError:
                continue  # the next command tries again
            except (ValueError, KeyError, TypeError, OSError):
                with suppress(OSError):  # nothing can be made of it; it is not taken up again
                    path.rename(path.with_suffix(".unread"))
                continue
            with suppress(OSError):
                path.unlink()
    return [kept for kept in saved if kept.takes]


_CLOSING = 250_000_000  # nanoseconds after the last stroke


def _number(take: Recorded) -> Number:
    return take.exercise.number if take.exercise else Number()
