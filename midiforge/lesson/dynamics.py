"""Dynamics over the bars of an exercise."""

from fractions import Fraction

from midiforge.drill.drill import Shape
from midiforge.model.piece import Dynamics


def shaped_bars(shape: Shape, returns: int) -> int:
    """After how many bars a change of level begins anew, for music that returns after `returns`."""
    return shape.bars if shape.kind == "swell" else 2 * returns


def dynamics(shape: Shape | None, returns: int, bars: int, bar: Fraction) -> Dynamics:
    """The level over `bars` bars of `bar` quarter notes."""
    if shape is None:
        return Dynamics()
    points: list[tuple[Fraction, Fraction]] = []
    size = shape.bars if shape.kind == "swell" else returns
    for number, start in enumerate(range(0, bars, size)):
        begins, ends = start * bar, (start + size) * bar
        if shape.kind == "swell":
            points += [(begins, shape.start), (ends, shape.end)]
        else:
            level = shape.end if number % 2 else shape.start
            points += [(begins, level), (ends, level)]
    return Dynamics(tuple(points))
