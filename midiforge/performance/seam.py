"""The seam of a loop: what sounds in which round, and what is kept within it.

An exercise is what comes before its loop, heard once (count-in, late entry), and the loop, round
after round. Whatever sounds belongs to one of them for good: a stroke of the loop that unevenness
put before the loop would not come again, and one of a late entry that it put into the loop would.
"""

from enum import IntEnum
from fractions import Fraction
from functools import cached_property
from typing import NamedTuple

from midiforge.model.exercise import Exercise

_LAST_MS = 1.0  # before an end: where a stroke is put that would fall behind it
_NEAR = 4  # quarter notes; nobody is as uneven as that


class Round(IntEnum):
    """In which rounds something sounds."""

    BEFORE = 0  # before the loop, once
    EVERY = 1
    SEAM = 2  # at the loop's end, where that leads back to its start: in each round but the last


class Reach(NamedTuple):
    """What becomes of a note's offset at other tempos: it is the sum of two parts.

    late: ms, the same at any tempo.
    ms: below 0 before the note's time, where it is kept within `most`, which is below 0 too; above
        0 (a bounce) behind it, where it is not heard at all if it does not come within `most`.
    most: in quarter notes.
    """

    late: float
    ms: float
    most: float


class Note(NamedTuple):
    """One note to play.

    time: quarter notes from the first downbeat, swing included, exact.
    offset: how many ms before (below 0) or after that it sounds.
    number, velocity: as MIDI has them.
    part: who plays it: a limb's letters, "click", or the name of a time layer.
    sticking: what is written below the stroke, such as "R" or "llR"; "" for none.
    when: in which rounds it sounds.
    reach: what becomes of its offset at other tempos; None if it stays as it is.
    """

    time: Fraction
    offset: float
    number: int
    velocity: int
    part: str
    sticking: str
    when: Round = Round.EVERY
    reach: Reach | None = None


class Held(NamedTuple):
    """One pitch to hold.

    time, end: quarter notes from the first downbeat, swing included, exact.
    channel: 1 to 16. pitch, velocity: as MIDI has them. member: who plays it.
    when: in which rounds it sounds.
    """

    time: Fraction
    end: Fraction
    channel: int
    pitch: int
    velocity: int
    member: str
    when: Round = Round.EVERY


class Seam:
    """Where an exercise's loop begins and ends, in quarter notes from its first downbeat. Swing
    moves neither: bar lines stay where they are."""

    def __init__(self, exercise: Exercise) -> None:
        self.start, self.end = exercise.loop_start, exercise.length
        self._begin, self._tempo = -exercise.count_in, exercise.tempo

    # Once each and as floats: every uneven stroke comes by here.
    @cached_property
    def _quarter(self) -> float:
        return float(self._tempo.quarter(self.end)) if self._tempo.is_steady else 0.0

    @cached_property
    def _ends(self) -> list[tuple[float, float]]:
        return [(float(first), float(last)) for first, last in map(self.stretch, Round)]

    def stretch(self, when: Round) -> tuple[Fraction, Fraction]:
        """From when to when something may sound."""
        return (self.start, self.end) if when else (self._begin, self.start)

    def place(self, note: Note) -> float:
        """Where a note sounds, its offset included, in quarter notes from the first downbeat."""
        time, offset = note[:2]
        if not offset:
            return float(time)
        quarter = self._quarter or float(self._tempo.quarter(time, after=offset > 0))
        return float(time) + offset / 1000 / quarter

    def kept(self, note: Note) -> Note:
        """The note, or the same at the end of its stretch that it would sound outside of."""
        place = self.place(note)
        first, last = self._ends[note.when]
        if place < first:
            return note._replace(time=self.stretch(note.when)[0], offset=0.0, reach=None)
        if place >= last:
            return note._replace(time=self.stretch(note.when)[1], offset=-_LAST_MS, reach=None)
        if note.offset < 0 and not note.reach and place < first + _NEAR:
            return note._replace(reach=Reach(0.0, note.offset, first - float(note.time)))
        return note
