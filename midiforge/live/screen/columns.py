"""A bar on the screen: its columns in lines that are no wider than it, divided at beats."""

from bisect import bisect_left
from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction

from midiforge.live.screen.terminal import FAINT, HERE, LOUD, PLAIN
from midiforge.model.hit import FEET, HANDS
from midiforge.stave import Row, Stave, in_lines

_PLAYED = ((HANDS[0],), (HANDS[1],), FEET)  # in a row each
_ROOMY = 5  # characters that a column has at most where there is room for them


class Columns:
    """A bar of a stave as columns: one at each time that is counted or struck.

    at: when each is played, in quarter notes from the bar line. beats: which of them each beat
        begins with.
    counts: what is said, row by row. strokes: those of the right hand, the left, and the feet.
    figures: of what each stroke is on, where that is not what its limb is mostly on.
    played_on: what each player strikes.
    """

    def __init__(self, stave: Stave, number: int) -> None:
        exercise, rows = stave.exercise, stave.bar(number)
        times = sorted({time for row in (*stave.counts, *rows) for time in row.cells})
        self.beats = [bisect_left(times, beat) for beat in exercise.meter.beats]
        self.at = []
        start = number * exercise.meter.bar
        for time in times:
            grids = {row.hits[time].grid for row in rows if time in row.hits} or {exercise.step}
            played = min(exercise.swing.played(start + time, grid) for grid in grids)
            self.at.append(float(played - start))
        said = [{time: str(cell.text) for time, cell in row.cells.items()} for row in stave.counts]
        self.counts = [
            [row.get(time, "") for time in times]
            for i, row in enumerate(said)
            if not any(row.items() <= finer.items() for finer in said[i + 1 :])
        ]
        self.played_on = stave.played_on
        of_limbs = {row.label: row for row in rows}
        players = [
            [of_limbs[limb.title] for limb in limbs if limb.title in of_limbs] for limbs in _PLAYED
        ]

        def joined(said: Callable[[Row, Fraction], str]) -> list[list[str]]:
            return [
                ["".join(said(row, time) for row in some if time in row.hits) for time in times]
                for some in players
            ]

        self.strokes = joined(lambda row, time: str(row.cells[time].text))
        self.figures = joined(
            lambda row, time: stave.played_on[row.label].others.get(row.hits[time].voice, "")
        )

    def here(self, now: float) -> int:
        """The column that was last played, -1 before the first; swing may turn them round."""
        played = ((at, i) for i, at in enumerate(self.at) if at <= now + 1e-6)
        return max(played, default=(0.0, -1))[1]


class Setting:
    """A bar's columns, set for a width.

    lines: which columns share a line; height: how many rows each of them has.
    """

    def __init__(self, columns: Columns, room: int) -> None:
        self._columns = columns
        rows = (*columns.counts, *columns.strokes)
        widest = max((len(cell) for row in rows for cell in row), default=1)
        self.lines = _lines(len(columns.at), columns.beats, max(room // (widest + 1), 1))
        self.height = len(rows)
        self._wide = max(widest + 1, min(_ROOMY, room // max(map(len, self.lines))))

    def shown(self, here: int, most: int) -> range:
        """Which lines are shown where there is room for so many: that of the column `here`, and
        those that come after it."""
        current = next((i for i, line in enumerate(self.lines) if here in line), 0)
        most = min(max(most, 1), len(self.lines))
        first = min(current, len(self.lines) - most)
        return range(first, first + most)

    def rows(self, line: int, here: int, counts_only: bool) -> list[str]:
        """The rows of a line, the column `here` marked; nothing is struck in a count-in."""

        def row(cells: Sequence[str], style: str, empty: str) -> str:
            text = ""
            for i in self.lines[line]:
                marked = cells[i] or (empty if i == here else " ")
                text += f"{HERE if i == here else style}{marked:<{self._wide - 1}}{PLAIN} "
            return text

        silent = [""] * len(self._columns.at)
        strokes = (silent if counts_only else cells for cells in self._columns.strokes)
        counts = [row(cells, FAINT, " ") for cells in self._columns.counts]
        return counts + [row(cells, LOUD, ".") for cells in strokes]

    def under(self, cells: Iterable[str]) -> str:
        """A row of signs, each below its column."""
        wide = self._wide - 1
        return "".join(f"{LOUD}{cell[-wide:]:<{wide}}{PLAIN} " for cell in cells)


def _lines(columns: int, beats: Sequence[int], most: int) -> list[range]:
    """The columns in lines of at most `most`, with as many beats in each as in the others."""
    parts = []
    for begin, end in zip(beats, [*beats[1:], columns], strict=True):
        # A beat, or where it has too many columns for a line equal parts of it.
        size = -(-(end - begin) // -(-(end - begin) // most))
        parts += [range(i, min(i + size, end)) for i in range(begin, end, size)]
    return in_lines(parts, lambda line: len(line) <= most)
