"""How strokes follow each other: single ones, a roll, one pad struck on and on.

Times are nanoseconds of any clock that never goes back.
"""

from collections.abc import Collection
from enum import Enum

ROLL = 8  # strokes in quick succession ask for the one before

_QUICK = 180_000_000  # strokes closer than this are a roll, not three single ones
_ROLL_OVER = 400_000_000  # so much silence ends a roll
_TAIL = 1_000_000_000  # strokes that go on after a pad was taken mean nothing
_IN_A_ROW = 2_000_000_000  # a longer wait begins a new row of strokes of the bass drum


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
