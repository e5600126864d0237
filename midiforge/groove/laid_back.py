"""Strokes that players lay back or play ahead: one place with a time of its own, not two."""

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from statistics import median

from midiforge.groove.grid import Grid, edges, spots
from midiforge.groove.ornaments import Stroke

_FEWEST = 4  # strokes of a pad on one count that say where it is usually struck
_MOVED = 0.045  # s: a stroke is moved by no more to where it usually is

Bar = Sequence[tuple[float, Stroke]]  # quarter notes from the bar line


class Usual:
    """On which step each pad is usually struck about each count, a step of twice as coarse a grid.

    A stroke that is alone on a fine step is late or early on a count: all of a pad's there are
    written on one step, the one in the middle of them. In a roll strokes stay where they are.
    """

    def __init__(self, bars: Sequence[Bar], grid: Grid, quarter: float) -> None:
        """grid: the fine one. quarter: s."""
        self.at, self._between, self._size = spots(grid), edges(grid), grid.bar_steps
        self._reach = _MOVED / quarter
        offs: dict[tuple[str, int], list[float]] = defaultdict(list)
        # Nothing is twice as coarse where a bar has an odd number of steps.
        for within, stroke in (each for bar in bars for each in bar if self._size % 2 == 0):
            count = self._count(bisect_left(self._between, within), within)
            offs[stroke.pad, count % self._size].append(within - self.at[count])
        self._steps = {
            (pad, count): bisect_left(self._between, self.at[count] + median(own))
            for (pad, count), own in offs.items()
            if len(own) >= _FEWEST
        }

    def steps(self, bar: Bar) -> Iterator[int]:
        """The step of each stroke of a bar."""
        near = [bisect_left(self._between, within) for within, _ in bar]
        if not self._steps:
            yield from near
            return
        struck = {(stroke.pad, step) for (_, stroke), step in zip(bar, near, strict=True)}
        for (within, stroke), step in zip(bar, near, strict=True):
            usual = self._steps.get((stroke.pad, self._count(step, within)), step)
            if (stroke.pad, step - 1) in struck or (stroke.pad, step + 1) in struck:
                usual = step
            yield usual if abs(within - self.at[usual]) <= self._reach else step

    def _count(self, step: int, within: float) -> int:
        """The count next to a stroke, a step."""
        if step % 2 == 0:
            return step
        before = within - self.at[step - 1] < self.at[step + 1] - within
        return step - 1 if before else step + 1


def usual_steps(
    by_bar: Mapping[int, Bar], steps: Mapping[int, int], grid: Grid, quarter: float
) -> dict[int, Usual]:
    """What is usual in bars with so many steps to a beat. steps: of each bar."""
    found = {}
    for fine in set(steps.values()):
        alike = [by_bar[n] for n, own in steps.items() if own in (fine, fine // 2)]
        found[fine] = Usual(alike, Grid(grid.meter, fine, grid.swing), quarter)
    return found
