"""Crescendos and diminuendos: which bars they go through, and how far they are open there."""

from fractions import Fraction
from itertools import pairwise
from math import lcm

from midiforge.frozen import frozen
from midiforge.model.exercise import Exercise

# In bars; longer ones are said in words, and so are those that would make what goes round longer
# than this, or pages would be full of the same bars.
LONGEST = 4
# Up to which level a sign is written; level 1, as the kit has it, is a moderate one. Ours.
_SIGNS = (("pp", 30), ("p", 60), ("mp", 85), ("mf", 105), ("f", 125))
_LOUDEST = "ff"


@frozen
class Hairpin:
    """One bar's part of a crescendo or diminuendo.

    opening, closing: how far it is open at the beginning and the end of the bar, 0 to 1.
    begins, ends: the sign of the level, such as "p", where the swell itself begins or ends.
    """

    opening: Fraction
    closing: Fraction
    begins: str = ""
    ends: str = ""

    @property
    def is_louder(self) -> bool:
        """Whether it is a crescendo."""
        return self.closing > self.opening


def level_sign(level: Fraction) -> str:
    """The sign of a level, "pp" to "ff"."""
    return next((sign for sign, most in _SIGNS if 100 * level <= most), _LOUDEST)


def hairpins(exercise: Exercise) -> list[Hairpin | None]:
    """The hairpin of every bar; None where the level stays, or changes too slowly to be drawn."""
    bar, returns = exercise.meter.bar, exercise.returns_after_bars
    swells: list[Hairpin | None] = [None] * exercise.bars
    for (start, first), (end, last) in pairwise(exercise.dynamics.points):
        bars = (end - start) / bar
        if first == last or bars.denominator > 1 or bars > LONGEST:
            continue
        if lcm(int(bars), returns) > max(LONGEST, returns):
            continue
        for number in range(int(start / bar), min(int(end / bar), exercise.bars)):
            shares = [(at * bar - start) / (end - start) for at in (number, number + 1)]
            opening, closing = shares if last > first else (1 - share for share in shares)
            swells[number] = Hairpin(
                opening,
                closing,
                begins=level_sign(first) if number * bar == start else "",
                ends=level_sign(last) if (number + 1) * bar == end else "",
            )
    return swells
