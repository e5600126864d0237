"""When repeating things meet again."""

from fractions import Fraction
from math import gcd, lcm

from midiforge.errors import MidiforgeError

MOST_BARS = 1000


def meet(*lengths: Fraction) -> Fraction:
    """The shortest length that is a whole multiple of every given length; all above 0."""
    below = lcm(*(length.denominator for length in lengths))
    return Fraction(lcm(*(int(length * below) for length in lengths)), below)


def bars_to_meet(bar: Fraction, *lengths: Fraction) -> int:
    """After how many bars all lengths begin together with a bar line again."""
    return int(meet(bar, *lengths) / bar)


def turns_to_meet(count: int, size: int) -> int:
    """How often `count` things must be dealt to `size` places in turn to begin at the first."""
    return size // gcd(count, size)


def within_limit(bars: int, what: str) -> int:
    """`bars`, if midiforge writes that many."""
    if bars > MOST_BARS:
        raise MidiforgeError(
            f"{what} would repeat only after {bars:,} bars",
            hint=f"up to {MOST_BARS:,}; choose lengths that meet sooner",
        )
    return bars
