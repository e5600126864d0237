"""Meter: the bar, its beats, and the pulse that a tempo counts."""

import re
from fractions import Fraction
from itertools import accumulate

from midiforge.errors import MidiforgeError, nearest, quoted
from midiforge.frozen import frozen

LARGEST_NUMERATOR = 64
UNITS = (1, 2, 4, 8, 16, 32, 64)

NOTE_VALUES = {
    "whole": Fraction(4),
    "half": Fraction(2),
    "quarter": Fraction(1),
    "eighth": Fraction(1, 2),
    "sixteenth": Fraction(1, 4),
}
NOTE_VALUES |= {f"dotted {name}": value * 3 / 2 for name, value in NOTE_VALUES.items()}


@frozen
class Meter:
    """A meter and how it is felt; lengths are in quarter notes.

    groups: how many units make each beat: (1, 1, 1, 1) in 4/4, (3, 3) in 6/8, (2, 2, 3) in
        2+2+3/8.
    unit: the note value below the line, as in 6/8: 8.
    beat: the length that a number of grid steps divides: the dotted beat of a compound meter;
        in a mixed meter such as 2+2+3/8 its shortest beat.
    pulse: the length that a tempo counts; the beat, unless told otherwise.
    """

    groups: tuple[int, ...]
    unit: int
    beat: Fraction
    pulse: Fraction

    @classmethod
    def parse(cls, text: str, pulse: Fraction | None = None) -> "Meter":
        """A meter from "4/4", "12/8" or "2+2+3/8"; `pulse` in quarter notes if not the beat.

        A numerator above 3 that 3 divides, over 4 or more, is compound: its beat is dotted.
        """
        match = re.fullmatch(r"\s*([0-9]{1,3}(?:\s*\+\s*[0-9]{1,3})*)\s*/\s*([0-9]{1,3})\s*", text)
        if not match:
            raise MidiforgeError(f"{quoted(text)} is not a meter", hint="such as 4/4 or 2+2+3/8")
        counts = tuple(int(part) for part in match[1].split("+"))
        unit = int(match[2])
        if unit not in UNITS:
            raise MidiforgeError(
                f"{quoted(text)} is not a meter: there is no note value 1/{unit}",
                hint="below the line: " + ", ".join(map(str, UNITS)),
            )
        if 0 in counts or sum(counts) > LARGEST_NUMERATOR:
            raise MidiforgeError(
                f"{quoted(text)} is not a meter", hint=f"above the line: 1 to {LARGEST_NUMERATOR}"
            )
        value = Fraction(4, unit)
        if len(counts) > 1:
            groups = counts
        elif counts[0] > 3 and counts[0] % 3 == 0 and unit >= 4:
            groups = (3,) * (counts[0] // 3)
        else:
            groups = (1,) * counts[0]
        beat = value * min(groups)
        return cls(groups, unit, beat, pulse or beat)

    @property
    def numerator(self) -> int:
        """How many units make a bar: the number above the line."""
        return sum(self.groups)

    @property
    def is_mixed(self) -> bool:
        """Whether its beats differ in length."""
        return len(set(self.groups)) > 1

    @property
    def is_compound(self) -> bool:
        """Whether all its beats are dotted."""
        return set(self.groups) == {3}

    @property
    def bar(self) -> Fraction:
        """The length of a bar."""
        return Fraction(4 * self.numerator, self.unit)

    @property
    def beats(self) -> tuple[Fraction, ...]:
        """Where each beat of the bar begins."""
        value = Fraction(4, self.unit)
        return tuple(value * units for units in (0, *accumulate(self.groups[:-1])))

    @property
    def beat_lengths(self) -> tuple[Fraction, ...]:
        """How long each beat of the bar is, in quarter notes."""
        return tuple(Fraction(4 * units, self.unit) for units in self.groups)

    def __str__(self) -> str:
        above = "+".join(map(str, self.groups)) if self.is_mixed else str(self.numerator)
        return f"{above}/{self.unit}"

    def meets(self, home: "Meter", length: Fraction) -> bool:
        """Whether something of a length, at home in another meter, is felt as this one is and
        goes into its bars, or they into it."""
        longer, shorter = max(length, self.bar), min(length, self.bar)
        return home.is_compound == self.is_compound and longer % shorter == 0

    @property
    def pulse_name(self) -> str:
        """The pulse in words; see `note_name`."""
        return note_name(self.pulse)


def note_name(value: Fraction) -> str:
    """The note of a length in quarter notes, "dotted quarter"; a fraction of a whole one if no word
    fits."""
    return next((name for name, own in NOTE_VALUES.items() if own == value), f"{value / 4} note")


def note_value(name: str) -> Fraction:
    """The length of a note by its name, such as "dotted quarter", in quarter notes."""
    if name not in NOTE_VALUES:
        raise MidiforgeError(f"{quoted(name)} is not a note value", hint=nearest(name, NOTE_VALUES))
    return NOTE_VALUES[name]
