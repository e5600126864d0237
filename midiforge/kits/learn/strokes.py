"""Strokes as a kit sends them: what is one stroke, what those of one voice say, and how they follow
each other: single ones, a roll, one pad struck on and on.

Notes that begin together are one stroke; stray double triggers and pads that trembled fall out.
Times are nanoseconds of any clock that never goes back.
"""

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from enum import Enum
from typing import NamedTuple

from midiforge.frozen import frozen

STROKES = 3  # of one pad take a voice
TOGETHER = 40_000_000  # notes that begin within it are one stroke
_BOUNCE = 120_000_000  # the same pad, weaker than half, within it: it triggered twice
_FAINTEST = 8  # velocity; below it a pad only trembled

ROLL = 8  # strokes in quick succession ask for the one before
_QUICK = 180_000_000  # strokes closer than this are a roll, not three single ones
_ROLL_OVER = 400_000_000  # so much silence ends a roll
_TAIL = 1_000_000_000  # strokes that go on after a pad was taken mean nothing
_IN_A_ROW = 2_000_000_000  # a longer wait begins a new row of strokes of the bass drum


class StruckNote(NamedTuple):
    """A note that began."""

    number: int
    velocity: int
    channel: int
    time: int


@frozen
class Stroke:
    """Notes that began together.

    notes: note number to velocity, the strongest first; without those weaker than half of it,
        which are other pads that trembled.
    pedals: controller number to its value then.
    """

    time: int
    notes: Mapping[int, int]
    channel: int
    pedals: Mapping[int, int]

    @property
    def note(self) -> int:
        """The strongest."""
        return next(iter(self.notes))


class Strokes:
    """Puts notes together into strokes.

    pedals: controller number to its value now.
    """

    def __init__(self) -> None:
        self.pedals: dict[int, int] = {}
        self._open: list[StruckNote] = []
        self._last: Stroke | None = None

    def add(self, note: StruckNote) -> Iterator[Stroke]:
        """Takes a struck note; gives the stroke before it if that is complete now."""
        yield from self.until(note.time)
        if note.velocity >= _FAINTEST:
            self._open.append(note)

    def until(self, now: int) -> Iterator[Stroke]:
        """The stroke that is complete by `now`, if one is."""
        if not self._open or now - self._open[0].time < TOGETHER:
            return
        notes: dict[int, int] = {}
        for struck in self._open:
            notes[struck.number] = max(struck.velocity, notes.get(struck.number, 0))
        strongest = max(notes.values())
        first = self._open[0]
        self._open = []
        loud = sorted(
            (item for item in notes.items() if 2 * item[1] >= strongest), key=lambda item: -item[1]
        )
        stroke = Stroke(first.time, dict(loud), first.channel, dict(self.pedals))
        if not self._bounced(stroke):
            self._last = stroke
            yield stroke

    def _bounced(self, stroke: Stroke) -> bool:
        before = self._last
        return (
            before is not None
            and stroke.time - before.time < _BOUNCE
            and 2 * stroke.notes[stroke.note] < before.notes.get(stroke.note, 0)
        )


@frozen
class Learnt:
    """What was heard of one voice.

    note: the one to send; also: further notes of the same pad.
    together: those of `also` that only ever came along with another; should another voice be
        struck with one, it was that one trembling.
    """

    note: int
    also: tuple[int, ...]
    together: frozenset[int]
    channels: tuple[int, ...]
    pedals: tuple[Mapping[int, int], ...]

    @property
    def notes(self) -> tuple[int, ...]:
        return (self.note, *self.also)

    def without(self, note: int) -> "Learnt":
        """The same without a further note, which is another voice's."""
        also = tuple(other for other in self.also if other != note)
        return replace(self, also=also, together=self.together - {note})


def learnt(strokes: Sequence[Stroke]) -> Learnt | None:
    """What the strokes of one voice say; None as long as no note came in three of them.

    A note that came once is a slip; one that came twice or more is a further note of the pad.
    """
    times = Counter(note for stroke in strokes for note in stroke.notes)
    if not times or max(times.values()) < STROKES:
        return None
    first = Counter(stroke.note for stroke in strokes)
    note = max(times, key=lambda note: (times[note], first[note]))
    also = [other for other in times if other != note and times[other] > 1]
    return Learnt(
        note,
        tuple(sorted(also)),
        frozenset(other for other in also if first[other] < 2),
        tuple(stroke.channel for stroke in strokes if note in stroke.notes),
        tuple(stroke.pedals for stroke in strokes if note in stroke.notes),
    )


# How they follow each other


class Pace(Enum):
    """What a stroke is by its distance from those before it."""

    SINGLE = "single"
    TOO_FAST = "too fast"
    ROLL = "roll"


class StrokeRow:
    """Strokes as they follow each other.

    last: the time of the last one of all. since: how long before the last single one the single
        one before it was; None if there was none.
    """

    def __init__(self) -> None:
        self.last: int | None = None
        self.since: int | None = None
        self._single: int | None = None
        self._quick = 0  # strokes in quick succession

    def stroke(self, time: int) -> Pace:
        """Takes a stroke."""
        quick = self.last is not None and time - self.last < _QUICK
        self._quick = self._quick + 1 if quick else 1
        self.last = time
        if self._quick >= ROLL:
            return Pace.ROLL
        since = None if self._single is None else time - self._single
        if self._quick > 2 or (since is not None and since < _QUICK):
            return Pace.TOO_FAST
        self._single, self.since = time, since
        return Pace.SINGLE

    @property
    def goes_on(self) -> bool:
        """Whether the last single stroke is of one row with the one before."""
        return self.since is not None and self.since < _IN_A_ROW

    def roll_ended(self, now: int) -> bool:
        """Whether a roll came to its end; told once."""
        if self.last is None or now - self.last <= _ROLL_OVER:
            return False
        rolled, self._quick = self._quick >= ROLL, 0
        return rolled


class Tail:
    """Strokes that only go on with what was taken or skipped a moment ago."""

    def __init__(self) -> None:
        self._notes: frozenset[int] = frozenset()
        self._until = 0

    def begin(self, notes: Collection[int], time: int) -> None:
        """These notes mean nothing as long as they go on."""
        self._notes, self._until = frozenset(notes), time + _TAIL

    def takes(self, notes: Collection[int], time: int) -> bool:
        """Whether a stroke goes on with it."""
        goes_on = time < self._until and not self._notes.isdisjoint(notes)
        if goes_on:
            self._until = time + _TAIL
        return goes_on

    def end(self) -> bool:
        """Ends it; whether there was one."""
        was, self._notes = bool(self._notes), frozenset()
        return was
