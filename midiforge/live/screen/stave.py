"""A bar on the screen: its columns in lines that are no wider than it, divided at beats."""

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction

from midiforge.frozen import frozen
from midiforge.live.screen.terminal import FAINT, HERE, LOUD, PLAIN
from midiforge.model.exercise import Exercise
from midiforge.model.hit import FEET, HANDS, Hit
from midiforge.model.spelling import spelled_hit
from midiforge.stave.grid import Counts, Grid

_PLAYED = ((HANDS[0],), (HANDS[1],), FEET)  # in a row each
_ROOMY = 5  # characters that a column has at most where there is room for them


@frozen
class Column:
    """What is at one time of a bar.

    at: when it is played, in quarter notes from the bar line.
    counts: what is said, row by row. strokes: those of the right hand, the left, and the feet.
    """

    at: float
    counts: tuple[str, ...]
    strokes: tuple[str, ...]


class Columns:
    """The bars of an exercise as columns: one at each time that is counted or struck."""

    def __init__(self, exercise: Exercise) -> None:
        self._exercise = exercise
        hits = (*exercise.hits, *exercise.answers)
        self._grid = Grid(exercise, (each for each in hits if each.limb and each.time >= 0))
        self._counts = list(_counts(self._grid.counted.values()))

    def bar(self, number: int) -> tuple[tuple[Column, ...], list[int]]:
        """The columns of a bar, by number from 0, and with which of them each beat begins."""
        struck: dict[Fraction, list[Hit]] = {}
        for within, hit in self._grid.bar(number):
            struck.setdefault(within, []).append(hit)
        times = sorted({*struck, *(time for said in self._counts for time in said)})
        meter, step, played = self._exercise.meter, self._exercise.step, self._exercise.swing.played
        start = number * meter.bar
        lines = {time: [hit.grid for hit in struck.get(time, ())] or [step] for time in times}
        columns = tuple(
            Column(
                float(min(played(start + time, line) for line in lines[time]) - start),
                tuple(said.get(time, "") for said in self._counts),
                tuple(_strokes(struck.get(time, ()), limbs) for limbs in _PLAYED),
            )
            for time in times
        )
        return columns, [bisect_left(times, beat) for beat in meter.beats]


def _counts(counted: Iterable[Counts]) -> Iterator[Counts]:
    """What is said, without what a finer count says as well."""
    known = list(counted)
    for i, said in enumerate(known, start=1):
        if not any(said.items() <= finer.items() for finer in known[i:]):
            yield said


def _strokes(hits: Iterable[Hit], limbs: Sequence[object]) -> str:
    return "".join(str(spelled_hit(hit)) for hit in hits if hit.limb in limbs)


class Stave:
    """A bar's columns, set for a width.

    beats: the column that each beat begins with.
    lines: which columns share a line; height: how many rows each of them has.
    """

    def __init__(self, columns: Sequence[Column], beats: Sequence[int], room: int) -> None:
        self._columns = columns
        cells = (cell for each in columns for cell in (*each.counts, *each.strokes))
        widest = max(map(len, cells), default=1)
        self.lines = _lines(len(columns), beats, max(room // (widest + 1), 1))
        self.height = len(columns[0].counts) + len(_PLAYED)
        longest = max(map(len, self.lines))
        self._wide = max(widest + 1, min(_ROOMY, room // longest))

    def shown(self, here: int, most: int) -> range:
        """Which lines are shown where there is room for so many: that of the column `here`, and
        those that come after it."""
        current = next((i for i, line in enumerate(self.lines) if here in line), 0)
        most = min(max(most, 1), len(self.lines))
        first = min(current, len(self.lines) - most)
        return range(first, first + most)

    def rows(self, line: int, here: int, counts_only: bool) -> list[str]:
        """The rows of a line, the column `here` marked; nothing is struck in a count-in."""
        some = self.lines[line]
        found = []
        for cells in zip(*(self._columns[i].counts for i in some), strict=True):
            found.append(self._row(zip(some, cells, strict=True), here, FAINT, " "))
        for cells in zip(*(self._columns[i].strokes for i in some), strict=True):
            shown = [""] * len(cells) if counts_only else cells
            found.append(self._row(zip(some, shown, strict=True), here, LOUD, "."))
        return found

    def _row(self, cells: Iterable[tuple[int, str]], here: int, style: str, empty: str) -> str:
        text = "  "
        for i, cell in cells:
            marked = cell or (empty if i == here else " ")
            text += f"{HERE if i == here else style}{marked:<{self._wide - 1}}{PLAIN} "
        return text


def _lines(columns: int, beats: Sequence[int], most: int) -> list[range]:
    """The columns in lines of at most `most`, with as many beats in each as in the others."""
    if columns <= most:
        return [range(columns)]
    parts = [
        part
        for begin, end in zip(beats, [*beats[1:], columns], strict=True)
        for part in _divided(begin, end, most)
    ]
    lines = parts
    for number in range(1, len(parts) + 1):
        size = -(-len(parts) // number)
        lines = [
            range(some[0].start, some[-1].stop)
            for some in (parts[i : i + size] for i in range(0, len(parts), size))
        ]
        if all(len(line) <= most for line in lines):
            break
    return lines


def _divided(begin: int, end: int, most: int) -> list[range]:
    """A beat, or where it has too many columns for a line equal parts of it."""
    size = -(-(end - begin) // -(-(end - begin) // most))
    return [range(i, min(i + size, end)) for i in range(begin, end, size)]
