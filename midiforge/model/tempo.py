"""Tempo: how many pulses a minute, and where that changes."""

from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class TempoMap:
    """Tempos over an exercise.

    pulse: the note that the tempo counts, in quarter notes.
    changes: (time in quarter notes, pulses a minute), the first at the very start, times rising.
    """

    pulse: Fraction
    changes: tuple[tuple[Fraction, Fraction], ...]

    @property
    def first(self) -> Fraction:
        """The tempo it begins with, in pulses a minute."""
        return self.changes[0][1]

    @property
    def last(self) -> Fraction:
        """The tempo it ends with, in pulses a minute."""
        return self.changes[-1][1]

    def __str__(self) -> str:
        """In words: "92 bpm", or "60 to 84 bpm"."""
        return " to ".join(dict.fromkeys((plain(self.first), plain(self.last)))) + " bpm"

    def quarter(self, time: Fraction) -> Fraction:
        """Seconds that a quarter note lasts just before `time`."""
        tempo = self.first
        for start, each in self.changes:
            if start >= time:
                break
            tempo = each
        return 60 / (tempo * self.pulse)

    def seconds(self, start: Fraction, end: Fraction) -> Fraction:
        """Seconds from `start` to `end`, both in quarter notes, exact."""
        total = Fraction(0)
        for i, (begin, tempo) in enumerate(self.changes):
            begins = start if i == 0 else max(begin, start)
            ends = min(self.changes[i + 1][0], end) if i + 1 < len(self.changes) else end
            if ends > begins:
                total += (ends - begins) * 60 / (tempo * self.pulse)
        return total


def plain(tempo: Fraction) -> str:
    """A tempo as a plain number: "92" or "92.5"."""
    return str(int(tempo)) if tempo.denominator == 1 else f"{float(tempo):.3f}".rstrip("0")
