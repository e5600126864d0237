"""The whole lesson in running order, in one Standard MIDI File."""

from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import dataclass
from fractions import Fraction
from shutil import copyfileobj
from tempfile import SpooledTemporaryFile
from typing import IO

from midiforge.kits.kit import Kit
from midiforge.midi import smf
from midiforge.midi.exercise_file import Part, exercise_parts, openings
from midiforge.model.exercise import Exercise

_IN_MEMORY = 1 << 19  # bytes of a track kept in memory before it goes to disk


@dataclass(slots=True)
class _Track:
    """A track as far as it has come; `pending` ticks have gone by since its last event."""

    events: IO[bytes]
    pending: int
    size: int = 0


class LessonFile:
    """Joins exercises one to another; a context, for it keeps tracks on disk.

    file_format: as for `exercise_bytes`. seconds: how long it is by now.
    division: ticks to a quarter note, as the first exercise needs them, and so all of its lesson.
    """

    def __init__(self, title: str, kit: Kit, file_format: int = 1) -> None:
        self.title = title
        self.kit = kit
        self.single = file_format == 0
        self.seconds = Fraction(0)
        self.division = 0
        self._at = 0
        self._tracks: dict[str, _Track] = {}
        self._open = ExitStack()

    def __enter__(self) -> "LessonFile":
        return self

    def __exit__(self, *_: object) -> None:
        self._open.close()

    def add(self, exercise: Exercise) -> Mapping[str, Part]:
        """Puts an exercise behind what there is; gives the parts that it is alone."""
        self.division = self.division or smf.division(exercise.parts)
        parts = alone = exercise_parts(exercise, self.kit, self.division, self.single)
        if exercise.leads_back:  # nothing goes round in the lesson
            parts = exercise_parts(exercise, self.kit, self.division, self.single, closes=False)
        length = smf.ticks(exercise.count_in, self.division)
        length += smf.ticks(exercise.length, self.division)
        for name in parts:
            if name not in self._tracks:
                spool = SpooledTemporaryFile(max_size=_IN_MEMORY)  # noqa: SIM115  # see __exit__
                self._tracks[name] = _Track(self._open.enter_context(spool), self._at)
        for name, track in self._tracks.items():
            part = parts.get(name)
            if part is None or not part.events:
                track.pending += length
                continue
            delta = smf.wait(track.pending + part.first)
            track.events.write(delta)
            track.events.write(part.events)
            track.size += len(delta) + len(part.events)
            track.pending = part.rest
        self._at += length
        self.seconds += exercise.seconds
        return alone

    def write(self, stream: IO[bytes]) -> None:
        """Writes the file."""
        stream.write(smf.header(0 if self.single else 1, len(self._tracks), self.division))
        begins = openings(self._tracks, self.title, self.kit)
        for track, begin in zip(self._tracks.values(), begins, strict=True):
            end = smf.wait(track.pending) + smf.END_OF_TRACK
            stream.write(smf.track_header(len(begin) + track.size + len(end)))
            stream.write(begin)
            track.events.seek(0)
            copyfileobj(track.events, stream)
            stream.write(end)
