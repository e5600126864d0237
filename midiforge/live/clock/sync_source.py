"""Whose time is played in: our own, exact, or that of somebody else's beat clock."""

from fractions import Fraction
from typing import Protocol

from midiforge.live.playing.bars import Bar


class SyncSource(Protocol):
    """Where the moments of the bar being played lie on the clock.

    position: quarter notes since the beginning, at the bar's own beginning.
    followed: whether it is somebody else's, which goes on whatever becomes of us.
    """

    position: Fraction
    followed: bool

    def begin(self, now: int) -> None:
        """The next bar begins at `now`, or as soon after as may be."""

    def rest(self, nanoseconds: int) -> None:
        """The next bar begins that much later."""

    def enter(self, bar: Bar) -> None:
        """A bar begins."""

    def leave(self, bar: Bar) -> None:
        """The bar has come to its end; the next begins there."""

    def deadline(self, at: float) -> int | None:
        """When the moment `at` quarter notes into the bar is due; None if nobody can tell yet."""


class InternalClock:
    """Our own time. A bar's beginning is an exact fraction of a nanosecond: nothing adds up."""

    followed = False

    def __init__(self) -> None:
        self.position = Fraction(0)
        self._start = Fraction(0)
        self._whole, self._rest, self._quarter = 0, 0.0, 0.0

    def begin(self, now: int) -> None:
        self._start = Fraction(now)

    def rest(self, nanoseconds: int) -> None:
        self._start += nanoseconds

    def enter(self, bar: Bar) -> None:
        whole, rest = divmod(self._start, 1)
        self._whole, self._rest, self._quarter = int(whole), float(rest), float(bar.quarter)

    def leave(self, bar: Bar) -> None:
        self._start += bar.length * bar.quarter
        self.position += bar.length

    def deadline(self, at: float) -> int:
        return self._whole + round(self._rest + at * self._quarter)
