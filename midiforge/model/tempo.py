"""Tempo: how many pulses a minute, and where that changes."""

from bisect import bisect_left, bisect_right
from dataclasses import field
from fractions import Fraction
from itertools import accumulate, pairwise

from midiforge.frozen import frozen


@frozen
class TempoMap:
    """Tempos over an exercise.

    pulse: the note that the tempo counts, in quarter notes.
    changes: (time in quarter notes, pulses a minute), the first at the very start, times rising.
    """

    pulse: Fraction
    changes: tuple[tuple[Fraction, Fraction], ...]
    # When each change is, in quarter notes and in seconds after the first.
    _times: tuple[Fraction, ...] = field(init=False, repr=False, compare=False)
    _seconds: tuple[Fraction, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        lasting = (
            (end - start) * 60 / (tempo * self.pulse)
            for (start, tempo), (end, _) in pairwise(self.changes)
        )
        object.__setattr__(self, "_times", tuple(time for time, _ in self.changes))
        object.__setattr__(self, "_seconds", tuple(accumulate(lasting, initial=Fraction(0))))

    @property
    def first(self) -> Fraction:
        """The tempo it begins with, in pulses a minute."""
        return self.changes[0][1]

    @property
    def last(self) -> Fraction:
        """The tempo it ends with, in pulses a minute."""
        return self.changes[-1][1]

    @property
    def is_steady(self) -> bool:
        """Whether it never changes."""
        return len(self.changes) == 1

    def __str__(self) -> str:
        """In words: "92 bpm", or "60 to 84 bpm"."""
        return " to ".join(dict.fromkeys((plain(self.first), plain(self.last)))) + " bpm"

    def at(self, time: Fraction) -> Fraction:
        """Pulses a minute from `time` on; before the first change as after it."""
        return self.changes[max(bisect_right(self._times, time) - 1, 0)][1]

    def quarter(self, time: Fraction, after: bool = False) -> Fraction:
        """Seconds that a quarter note lasts just before `time`, or just after it."""
        i = (bisect_right if after else bisect_left)(self._times, time)
        return self._quarter(i - 1)

    def seconds(self, start: Fraction, end: Fraction) -> Fraction:
        """Seconds from `start` to `end`, both in quarter notes, exact; 0 if there are none."""
        return self._at(end) - self._at(start) if end > start else Fraction(0)

    def _at(self, time: Fraction) -> Fraction:
        """Seconds after the first change; before it is as right after it."""
        i = max(bisect_right(self._times, time) - 1, 0)
        return self._seconds[i] + (time - self._times[i]) * self._quarter(i)

    def _quarter(self, index: int) -> Fraction:
        return 60 / (self.changes[max(index, 0)][1] * self.pulse)


def plain(tempo: Fraction) -> str:
    """A tempo as a plain number: "92" or "92.5"."""
    return str(int(tempo)) if tempo.denominator == 1 else f"{float(tempo):.3f}".rstrip("0")
