"""An exercise as a stave of text: a row for each limb, a column for each grid step.

    count       1 e & a  2 e & a  3 e & a  4 e & a
    accent      >        >        >        >
    right hand  R . R R  . R . .  R . R R  . R . .
    left hand   . L . .  L . L L  . L . .  L . L L
    right foot  . . . K  . . K .  . . . K  . . K .

Letters are those of a sticking: (R) is a ghost note, lR a flam, llR a drag, Rz a buzz. A dot is
a grid step on which the limb rests. Columns are as far apart as their times; where hits lie off
the exercise's grid the columns are those of a finer one, dots stay on the grid, and a second
row, "in fours", counts the other hits.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from math import gcd
from typing import NamedTuple

from midiforge.insight.words import bars_named
from midiforge.model.exercise import Exercise
from midiforge.screen.rows import COUNT, FAINT, HEADING, REST, Bar, Cell, Row, Rows

BETWEEN_BARS = " | "


class _Beat(NamedTuple):
    """How a beat is set: the offset of each of its times, and how many characters wide it is."""

    places: dict[Fraction, int]
    width: int


@dataclass(slots=True)
class Canvas:
    """One line of styled text, written anywhere."""

    characters: dict[int, tuple[str, str]] = field(default_factory=dict)

    def write(self, at: int, text: str, style: str) -> None:
        """Text from column `at` on; blanks leave what is there."""
        for i, character in enumerate(text):
            if character != " ":
                self.characters[at + i] = (character, style)

    def spans(self) -> list[tuple[str, str]]:
        """The line as pieces of one style each; "" is the style of blanks."""
        found: list[tuple[str, str]] = []
        for i in range(max(self.characters, default=-1) + 1):
            character, style = self.characters.get(i, (" ", ""))
            if found and found[-1][1] == style:
                found[-1] = (found[-1][0] + character, style)
            else:
                found.append((character, style))
        return found


class Stave:
    """The bars of an exercise that differ, ready to be set in lines of a width.

    most_bars: how many different bars are set; `left_out` says how many more there are.
    """

    def __init__(self, exercise: Exercise, most_bars: int = 16) -> None:
        self.exercise = exercise
        self.rows = Rows(exercise)
        bars = self.rows.bars
        self.bars, self.left_out = bars[:most_bars], max(len(bars) - most_bars, 0)
        counted = (time for said in self.rows.grid.counted.values() for time in said)
        self._fine = _common(
            [
                exercise.step,
                exercise.meter.bar,
                *exercise.meter.beats,
                *(hit.time for hit in self.rows.hits),
                *counted,
            ]
        )

    def lines(self, width: int) -> Iterator[list[tuple[str, str]]]:
        """The stave in lines of at most `width` characters, as pieces of one style each."""
        if not self.bars:
            return
        labels = max(len(row.label) for bar in self.bars for row in bar.rows) + 2
        room = max(width - labels - 1, 8)
        beats = self._columns(room)
        systems = self._systems(beats, room)
        for number, system in enumerate(systems):
            if number:
                yield []
            yield from self._set(system, beats, labels)

    def _columns(self, room: int) -> list[_Beat]:
        """Where everything stands, beat by beat.

        Wide enough for every dot if bars then still fit; else some dots give way.
        """
        beats = self._spread(room, self._closest(with_dots=True))
        if self._width(beats, range(len(beats))) <= room:
            return beats
        return self._spread(room, self._closest(with_dots=False))

    def _closest(self, with_dots: bool) -> int:
        """How many characters the finest column needs for nothing in any row to touch."""
        wide = 1
        for row in (row for bar in self.bars for row in bar.rows):
            cells = dict(row.cells)
            if with_dots:
                cells = {time: Cell("", REST) for time in row.dots} | cells
            for (one, left), (two, right) in pairwise(sorted(cells.items(), key=_time)):
                need = left.right + 1 + len(right.before)
                wide = max(wide, -(-need // max(int((two - one) / self._fine), 1)))
        return wide

    def _spread(self, room: int, wide: int) -> list[_Beat]:
        meter, fine = self.exercise.meter, self._fine
        rows = [row for bar in self.bars for row in bar.rows]
        lead = max((len(cell.before) for row in rows for cell in row.cells.values()), default=0)
        tail = max((cell.right for row in rows for cell in row.cells.values()), default=1)
        used = sorted({time for row in rows for time in (*row.cells, *row.dots)})
        beats = []
        for start, length in zip(meter.beats, meter.beat_lengths, strict=True):
            mine = [time for time in used if start <= time < start + length]
            size = int(length / fine) * wide
            if size <= room:
                found = {time: int((time - start) / fine) * wide for time in mine}
            else:
                # Too fine to be drawn to scale: the times that are used, one after the other.
                each = lead + tail + 1
                found = {time: i * each for i, time in enumerate(mine)}
                size = len(mine) * each
            beats.append(_Beat(found, max(size, lead + tail + 1)))
        return beats

    def _systems(self, beats: list[_Beat], room: int) -> list[list[tuple[Bar, range]]]:
        """Which beats of which bars share a line."""
        whole = range(len(beats))
        chunks = [whole]
        if self._width(beats, whole) > room:
            many = -(-self._width(beats, whole) // room)
            while many < len(beats):
                size = -(-len(beats) // many)
                chunks = [whole[i : i + size] for i in whole[::size]]
                if all(self._width(beats, chunk) <= room for chunk in chunks):
                    break
                many += 1
            else:
                chunks = [whole[i : i + 1] for i in whole]
        systems: list[list[tuple[Bar, range]]] = []
        used = room + 1
        for bar in self.bars:
            for chunk in chunks:
                need = max(self._width(beats, chunk), len(_heading(bar, chunk)))
                if len(chunks) > 1 or used + len(BETWEEN_BARS) + need > room:
                    systems.append([])
                    used = 0
                used += need + (len(BETWEEN_BARS) if systems[-1] else 0)
                systems[-1].append((bar, chunk))
        return systems

    def _width(self, beats: list[_Beat], some: Iterable[int]) -> int:
        lead = self._lead()
        return lead + sum(beats[i].width + self._beat_gap(beats) for i in some)

    def _beat_gap(self, beats: list[_Beat]) -> int:
        return 1 if any(len(beat.places) > 1 for beat in beats) else 0

    def _lead(self) -> int:
        first = [row.cells.get(Fraction(0)) for bar in self.bars for row in bar.rows]
        return max((len(cell.before) for cell in first if cell), default=0)

    def _set(
        self, system: list[tuple[Bar, range]], beats: list[_Beat], labels: int
    ) -> Iterator[list[tuple[str, str]]]:
        starts = []
        at = labels
        for bar, chunk in system:
            starts.append(at)
            at += max(self._width(beats, chunk), len(_heading(bar, chunk))) + len(BETWEEN_BARS)
        heading = Canvas()
        for start, (bar, chunk) in zip(starts, system, strict=True):
            heading.write(start, _heading(bar, chunk), HEADING)
        yield heading.spans()
        for index, row in enumerate(system[0][0].rows):
            line = Canvas()
            empty = True
            for start, (bar, chunk) in zip(starts, system, strict=True):
                if start != labels:
                    line.write(start - len(BETWEEN_BARS), BETWEEN_BARS, FAINT)
                empty &= not self._fill(line, bar.rows[index], chunk, beats, start)
            if empty and row.label in ("accent", "  on"):
                continue
            counts_aloud = row.label in self.rows.grid.counted
            line.write(0, row.label, COUNT if counts_aloud else HEADING)
            yield line.spans()

    def _fill(
        self,
        line: Canvas,
        row: Row,
        chunk: range,
        beats: list[_Beat],
        start: int,
    ) -> bool:
        """Writes one row of some beats; whether there was anything but rests."""
        taken: set[int] = set()
        marks: list[tuple[int, str, str]] = []
        at = start + self._lead()
        something = False
        for beat in chunk:
            for time, offset in beats[beat].places.items():
                cell = row.cells.get(time)
                if cell:
                    something = True
                    x = at + offset - len(cell.before)
                    text = cell.before + cell.body + cell.after
                    line.write(x, text, cell.style)
                    taken.update(range(x - 1, x + len(text) + 1))
                elif time in row.dots:
                    marks.append((at + offset, REST, FAINT))
            at += beats[beat].width + self._beat_gap(beats)
        for x, text, style in marks:
            if x not in taken:
                line.write(x, text, style)
        return something


def _time(placed: tuple[Fraction, Cell]) -> Fraction:
    return placed[0]


def _heading(bar: Bar, chunk: range) -> str:
    if chunk.start == 0:
        return bar.heading
    return f"{bars_named(bar.numbers)}, from beat {chunk.start + 1}"


def _common(times: Iterable[Fraction]) -> Fraction:
    """The longest time that every given time is a whole multiple of; one is above 0."""
    found = Fraction(0)
    for time in set(times):
        below = found.denominator * time.denominator
        found = Fraction(
            gcd(found.numerator * time.denominator, time.numerator * found.denominator), below
        )
    return found
