"""The true grid of an exercise: what is said aloud on it, and between its steps.

Hands and feet may be on different grids. What is off the exercise's own is counted in as many
parts of the beat as it needs.
"""

from collections.abc import Iterable, Iterator, Mapping
from fractions import Fraction

from midiforge.insight.places import beat_of, syllables
from midiforge.model.counts import counts
from midiforge.model.exercise import Exercise
from midiforge.model.meter import Meter

_IN_PARTS = ("in twos", "in threes", "in fours", "in fives", "in sixes", "in sevens", "in eights")
_MOST_COUNTED = 8  # parts of a beat; nobody counts finer ones aloud

Counts = Mapping[Fraction, str]  # what is said, by time within the bar in quarter notes


def counted(exercise: Exercise, times: Iterable[Fraction]) -> dict[str, Counts]:
    """What is said: "count" on the exercise's grid and, for times off it, "in fours" or the like.

    times: within the bar, in quarter notes.
    """
    meter, step = exercise.meter, exercise.step
    said: dict[str, Counts] = {
        "count": {i * step: text for i, text in enumerate(counts(meter, step))}
    }
    parts = {_parts(meter, time) for time in times if (time / step).denominator > 1}
    finest = {each for each in parts if not any(o > each and o % each == 0 for o in parts)}
    for each in sorted(finest):
        if each <= _MOST_COUNTED:
            said[_IN_PARTS[each - 2]] = dict(_counts(meter, each))
    return said


def _parts(meter: Meter, time: Fraction) -> int:
    """Into how many parts its beat must be counted for a time to be one of them."""
    _, start, length = beat_of(meter, time)
    return ((time - start) / length).denominator


def _counts(meter: Meter, parts: int) -> Iterator[tuple[Fraction, str]]:
    """What is said with each beat in so many equal parts."""
    beats = zip(meter.beats, meter.beat_lengths, strict=True)
    for number, (start, length) in enumerate(beats, start=1):
        for i, text in enumerate((str(number), *syllables(meter, length, parts)[1:])):
            yield start + i * length / parts, text
