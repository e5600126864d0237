"""Repeating patterns of single strokes: typed on a grid, or by count."""

import re
from collections.abc import Iterator
from fractions import Fraction
from functools import lru_cache
from math import gcd, lcm

from midiforge.errors import MidiforgeError, quoted
from midiforge.frozen import frozen
from midiforge.model.counts import count_index, count_name, steps_in_bar
from midiforge.model.hit import Limb, Strength
from midiforge.model.meter import Meter
from midiforge.model.spelling import MARKS

_STRENGTHS = {mark: strength for strength, mark in MARKS.items()}
_MOST_STEPS = 1024
_MOST_COUNTS = 8  # in a title


@frozen
class Pattern:
    """Strokes that repeat; lengths and times in quarter notes.

    strokes: (time, strength), times from 0 and below `length`, rising.
    ornaments: (time, grace notes before it, whether it is a buzz) of strokes that have one.
    """

    length: Fraction
    strokes: tuple[tuple[Fraction, Strength], ...]
    ornaments: tuple[tuple[Fraction, int, bool], ...] = ()

    def shifted(self, late: Fraction) -> "Pattern":
        """Begun `late` quarter notes later and wrapped."""
        moved = (((time + late) % self.length, strength) for time, strength in self.strokes)
        ornaments = (
            ((time + late) % self.length, grace, buzz) for time, grace, buzz in self.ornaments
        )
        return Pattern(self.length, tuple(sorted(moved)), tuple(sorted(ornaments)))

    def over(
        self, length: Fraction, start: Fraction = Fraction(0)
    ) -> Iterator[tuple[Fraction, Strength]]:
        """Its strokes again and again, from `start` up to `start + length`."""
        end, turn = start + length, start // self.length * self.length
        while turn < end:
            whole = start <= turn and turn + self.length <= end
            for time, strength in self.strokes:
                if whole or start <= turn + time < end:
                    yield turn + time, strength
            turn += self.length

    @property
    def grid(self) -> Fraction:
        """The longest step that all its strokes, and its end, are whole numbers of."""
        times = [self.length, *(time for time, _ in self.strokes)]
        parts = lcm(*(time.denominator for time in times))
        return Fraction(gcd(*(int(time * parts) for time in times)), parts)

    @property
    def period(self) -> Fraction:
        """The shortest length after which it repeats itself."""
        return _period(self)

    @property
    def is_even(self) -> bool:
        """Whether it is one stroke again and again, all alike."""
        return len([*self.over(self.period)]) == 1


@frozen
class Line:
    """A repeating part of one limb, or of none (beside the player).

    name: of the ostinato, or the pattern as typed. logged: what logs call it; "" for its title.
    voice: "" for what the voicing gives the limb.
    partner: whether it only came along with another.
    home: the meter it is usually played in; None for a typed one.
    """

    name: str
    title: str
    limb: Limb | None
    voice: str
    pattern: Pattern
    partner: bool = False
    home: Meter | None = None
    logged: str = ""


@lru_cache(maxsize=256)
def _period(pattern: Pattern) -> Fraction:
    strokes = len(pattern.strokes)
    for parts in range(strokes, 1, -1):
        if strokes % parts == 0 and pattern.shifted(pattern.length / parts) == pattern:
            return pattern.length / parts
    return pattern.length


def parse_pattern(text: str, meter: Meter, step: Fraction) -> Pattern:
    """A pattern from a grid ("...x ..x.") or from counts ("1a 2&", bars divided by |).

    On a grid each character is one step: x a tap, > an accent, g a ghost note, . a rest; the
    pattern is as long as its steps. Counts name places in a bar of `meter` on steps of `step`
    quarter notes; > before a count accents it. The pattern is then as long as its bars.
    """
    if not text.strip():
        raise MidiforgeError("the pattern is empty", hint="such as 'x... x...' or '1 3'")
    if re.fullmatch(r"[x>g.\s|]+", text):
        return _parse_grid(text, step)
    return _parse_counts(text, meter, step)


def _parse_grid(text: str, step: Fraction) -> Pattern:
    marks = [letter for letter in text if not letter.isspace() and letter != "|"]
    if len(marks) > _MOST_STEPS:
        raise MidiforgeError(f"the pattern has {len(marks)} steps", hint=f"up to {_MOST_STEPS}")
    strokes = tuple((i * step, _STRENGTHS[mark]) for i, mark in enumerate(marks) if mark != ".")
    if not strokes:
        raise MidiforgeError(f"the pattern {quoted(text)} has no strokes", hint="x is a stroke")
    return Pattern(len(marks) * step, strokes)


def _parse_counts(text: str, meter: Meter, step: Fraction) -> Pattern:
    if not re.search("[0-9]", text):
        raise MidiforgeError(
            f"{quoted(text)} is neither counts nor a grid", hint="1a 2& or ...x ..x."
        )
    size = steps_in_bar(meter, step)
    strokes: dict[int, Strength] = {}
    bars = text.split("|")
    for bar, part in enumerate(bars):
        for word in part.split():
            strength = Strength.ACCENT if word.startswith(">") else Strength.TAP
            index = bar * size + count_index(meter, step, word.removeprefix(">"))
            if index in strokes:
                raise MidiforgeError(f"the count {quoted(word)} is there twice")
            strokes[index] = strength
    return Pattern(len(bars) * meter.bar, tuple((i * step, strokes[i]) for i in sorted(strokes)))


def counts_struck(pattern: Pattern, meter: Meter, step: Fraction) -> tuple[str, ...]:
    """Such as "1", "1a", "2&"; none for what is not the same in every bar, or too long to be
    said."""
    if (meter.bar / pattern.length).denominator != 1:
        return ()
    times = [time for time, _ in pattern.over(meter.bar)]
    for finer in (step, meter.beat / 4, meter.beat / 3):
        steps = [time / finer for time in times]
        if 0 < len(steps) <= _MOST_COUNTS and all(place.denominator == 1 for place in steps):
            return tuple(count_name(meter, finer, int(place)) for place in steps)
    return ()
