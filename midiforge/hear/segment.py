"""A part of a take through which the player did not lose the place, and its time made smooth."""

from dataclasses import dataclass
from statistics import median

from midiforge.hear.opening import Start


@dataclass(slots=True)
class Segment:
    """A part of the take through which the player did not lose the place.

    first, last: the dues it goes from and to, in seconds of the exercise.
    rate: the tempo in the end, seconds of the take to a second of the exercise.
    """

    first: float
    last: float
    rate: float
    knots: list[tuple[float, float]]


def smoothed(segment: Segment, start: Start, only: bool) -> list[tuple[float, float]]:
    """A segment's knots, each the middle of its neighbours, so that none is an accident."""
    knots = segment.knots
    if not knots:
        return [] if not only else [(0.0, start.offset), (1.0, start.offset + start.stretch)]
    dues = [due for due, _ in knots]
    first, last = knots[0], knots[-1]
    # Off the straight line from the first to the last, which smoothing leaves as it is.
    slope = (last[1] - first[1]) / (last[0] - first[0]) if len(knots) > 1 else segment.rate
    off = [time - first[1] - (due - first[0]) * slope for due, time in knots]
    calm = []
    for i in range(len(off)):
        reach = min(2, i, len(off) - 1 - i)
        calm.append(median(off[i - reach : i + reach + 1]))
    calm = [
        (calm[max(i - 1, 0)] + 2 * calm[i] + calm[min(i + 1, len(calm) - 1)]) / 4
        for i in range(len(calm))
    ]
    found = [
        (due, first[1] + (due - first[0]) * slope + each)
        for due, each in zip(dues, calm, strict=True)
    ]
    if only and len(found) > 1:
        return found
    # To the ends of the segment, where the next one begins elsewhere.
    begin = (segment.first, found[0][1] - (found[0][0] - segment.first) * slope)
    end = (segment.last, found[-1][1] + (segment.last - found[-1][0]) * segment.rate)
    return [begin, *found, end]
