"""The true grid of an exercise: the steps that it moves on, and what lies between them.

Hands and feet may be on different grids. What is off the exercise's own is counted in as many
parts of the beat as it needs.
"""

from collections.abc import Iterable, Mapping
from fractions import Fraction

from midiforge.insight.places import beat_of, syllables
from midiforge.model.counts import counts
from midiforge.model.exercise import Exercise
from midiforge.model.hit import Hit

COUNT = "count"
_MOST_COUNTED = 8  # parts of a beat; nobody counts finer ones aloud
_IN_PARTS = {
    2: "in twos",
    3: "in threes",
    4: "in fours",
    5: "in fives",
    6: "in sixes",
    7: "in sevens",
    8: "in eights",
}

Counts = Mapping[Fraction, str]  # what is said, by time within the bar in quarter notes


class Grid:
    """The times of an exercise's bars, for some of its hits.

    steps: of the exercise's grid, within the bar.
    counted: by name what is said aloud: "count" on the grid and, for hits off it, "in fours" or
        the like.
    """

    def __init__(self, exercise: Exercise, hits: Iterable[Hit]) -> None:
        self._bar = exercise.meter.bar
        self._hits: dict[int, list[tuple[Fraction, Hit]]] = {}
        for hit in hits:
            number, within = divmod(hit.time, self._bar)
            self._hits.setdefault(int(number), []).append((within, hit))
        said = counts(exercise.meter, exercise.step)
        self.steps = tuple(i * exercise.step for i in range(len(said)))
        self.counted: dict[str, Counts] = {COUNT: dict(zip(self.steps, said, strict=True))}
        for parts in self._other_parts(exercise):
            self.counted[_IN_PARTS[parts]] = _in_parts(exercise, parts)

    def bar(self, number: int) -> list[tuple[Fraction, Hit]]:
        """The hits of a bar, by number from 0, each with its time within the bar."""
        return self._hits.get(number, [])

    def _other_parts(self, exercise: Exercise) -> list[int]:
        """Into how many parts a beat must be counted for the hits off the grid, if any."""
        found = set()
        for within in {within for bar in self._hits.values() for within, _ in bar}:
            if (within / exercise.step).denominator > 1:
                _, start, length = beat_of(exercise.meter, within)
                found.add(((within - start) / length).denominator)
        coarser = {each for each in found if any(o > each and o % each == 0 for o in found)}
        return sorted(each for each in found - coarser if each <= _MOST_COUNTED)


def _in_parts(exercise: Exercise, parts: int) -> Counts:
    """What is said with each beat in so many equal parts."""
    meter = exercise.meter
    said = {}
    beats = zip(meter.beats, meter.beat_lengths, strict=True)
    for number, (start, length) in enumerate(beats, start=1):
        for i, text in enumerate((str(number), *syllables(meter, length, parts)[1:])):
            said[start + i * length / parts] = text
    return said
