"""How an odd bar of eighths is felt: in twos, with one three among them."""

from collections.abc import Sequence
from fractions import Fraction
from math import fsum

from midiforge.groove.source import Struck
from midiforge.model.meter import Meter

_EIGHTH = 0.5  # in quarter notes
_FEWEST = 5  # eighths of a bar that has beats of its own
_NEAR = 0.2  # of an eighth; strokes farther from one say nothing of it


def felt(meter: Meter, struck: Sequence[Struck], origin: Fraction) -> Meter:
    """7/8 as 2+2+3/8, or with its three where most of the weight begins it; else as it is.

    Then a tempo counts quarters, as drummers do, and a beat has two eighths. Where strokes do not
    say where the three is, it comes last, as is usual.

    origin: where bars are counted from, in quarter notes of the file.
    """
    count = meter.numerator
    if meter.unit != 8 or set(meter.groups) != {1} or count < _FEWEST or count % 2 == 0:
        return meter
    weights = [0.0] * count
    for each in struck:
        place = (each.place - float(origin)) / _EIGHTH
        if abs(place - round(place)) <= _NEAR:
            weights[round(place) % count] += (each.velocity / 127) ** 2
    twos = (count - 3) // 2
    best = max(range(twos, -1, -1), key=lambda before: _weight(weights, before, twos))
    groups = [2] * best + [3] + [2] * (twos - best)
    return Meter.parse(f"{'+'.join(map(str, groups))}/8")


def _weight(weights: Sequence[float], before: int, twos: int) -> float:
    """What is struck where beats begin, with so many of the twos before the three."""
    starts = [*range(0, 2 * before + 1, 2), *range(2 * before + 3, 2 * twos + 3, 2)]
    return fsum(weights[start] for start in starts)
