"""The stave of an exercise in lines of a width: columns are as far apart as their times.

A dot is a grid step on which the limb rests. Where hits lie off the exercise's grid the columns
are those of a finer one, dots stay on the grid, and a second row, "in fours", counts the other
hits.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from fractions import Fraction
from itertools import groupby, pairwise
from math import gcd, lcm
from operator import itemgetter
from typing import NamedTuple

from midiforge.model.exercise import Exercise
from midiforge.model.spelling import spelled
from midiforge.screen.bars import Bar, Bars
from midiforge.stave.stave import COUNT, FAINT, Cell, Row, in_lines

BETWEEN_BARS = " | "
HEADING = "heading"
_REST = Cell(spelled("."), FAINT)

Spans = Sequence[tuple[str, str]]  # pieces of text, each with the name of its style


class _Beat(NamedTuple):
    """How a beat is set: the offset of each of its times, and how many characters wide it is."""

    places: Mapping[Fraction, int]
    width: int


class _Columns(NamedTuple):
    """Where everything in a bar stands.

    lead: what stands before its first column; gap: between beats, in characters.
    """

    beats: Sequence[_Beat]
    lead: int
    gap: int

    def width(self, beats: range) -> int:
        return self.lead + sum(self.beats[i].width + self.gap for i in beats)

    def places(self, start: int, beats: range) -> Iterator[tuple[Fraction, int]]:
        """The times of some beats, and where they stand in a line."""
        at = start + self.lead
        for i in beats:
            for time, offset in self.beats[i].places.items():
                yield time, at + offset
            at += self.beats[i].width + self.gap


class _Canvas(dict[int, tuple[str, str]]):
    """One line of styled text, written anywhere."""

    def write(self, at: int, text: str, style: str) -> None:
        """Text from column `at` on; blanks leave what is there."""
        self.update((at + i, (letter, style)) for i, letter in enumerate(text) if letter != " ")

    def spans(self) -> Spans:
        """The line as pieces of one style each; "" is the style of blanks."""
        line = (self.get(i, (" ", "")) for i in range(max(self, default=-1) + 1))
        return [
            ("".join(letter for letter, _ in piece), style)
            for style, piece in groupby(line, itemgetter(1))
        ]


class Setting:
    """The bars of an exercise that differ, ready to be set in lines of a width.

    most_bars: how many different bars are set; `left_out` says how many more there are.
    """

    def __init__(self, exercise: Exercise, most_bars: int = 16) -> None:
        self.all = Bars(exercise)
        self.bars = self.all.differing[:most_bars]
        self.left_out = len(self.all.differing) - len(self.bars)
        self._meter = exercise.meter
        self._rows = [row for bar in self.bars for row in bar.rows]
        times = [time for row in self._rows for time in (*row.cells, *row.rests)]
        self._times = sorted(set(times))
        parts = lcm(*(time.denominator for time in (*self._times, exercise.meter.bar)))
        whole = gcd(*(int(time * parts) for time in (*self._times, exercise.meter.bar)))
        self._fine = Fraction(whole, parts)  # the longest that all times are multiples of

    def lines(self, width: int) -> Iterator[Spans]:
        """The stave in lines of at most `width` characters."""
        if not self.bars:
            return
        labels = max(len(row.label) for row in self._rows) + 2
        room = max(width - labels - 1, 8)
        columns = self._columns(room)
        for number, system in enumerate(self._systems(columns, room)):
            if number:
                yield []
            yield from self._set(system, columns, labels)

    def _columns(self, room: int) -> _Columns:
        """Wide enough for every dot if bars then still fit; else some dots give way."""
        columns = self._spread(room, self._closest(with_dots=True))
        if columns.width(range(len(columns.beats))) <= room:
            return columns
        return self._spread(room, self._closest(with_dots=False))

    def _closest(self, with_dots: bool) -> int:
        """How many characters the finest column needs for nothing in any row to touch."""
        wide = 1
        for row in self._rows:
            dots = dict.fromkeys(row.rests, _REST) if with_dots else {}
            cells = sorted((dots | dict(row.cells)).items(), key=itemgetter(0))
            for (one, left), (two, right) in pairwise(cells):
                need = _right(left) + 1 + len(right.text.before)
                wide = max(wide, -(-need // int((two - one) / self._fine)))
        return wide

    def _spread(self, room: int, wide: int) -> _Columns:
        cells = [cell for row in self._rows for cell in row.cells.values()]
        before = max((len(cell.text.before) for cell in cells), default=0)
        column = before + max(map(_right, cells), default=1) + 1
        beats = []
        for start, length in zip(self._meter.beats, self._meter.beat_lengths, strict=True):
            times = [time for time in self._times if start <= time < start + length]
            size = int(length / self._fine) * wide
            if size <= room:
                places = {time: int((time - start) / self._fine) * wide for time in times}
            else:
                # Too fine to be drawn to scale: the times that are used, one after the other.
                places = {time: i * column for i, time in enumerate(times)}
                size = len(times) * column
            beats.append(_Beat(places, max(size, column)))
        first = (row.cells.get(Fraction(0)) for row in self._rows)
        lead = max((len(cell.text.before) for cell in first if cell), default=0)
        return _Columns(beats, lead, int(any(len(beat.places) > 1 for beat in beats)))

    def _systems(self, columns: _Columns, room: int) -> list[list[tuple[Bar, range]]]:
        """Which beats of which bars share a line."""
        beats = [range(i, i + 1) for i in range(len(columns.beats))]
        chunks = in_lines(beats, lambda some: columns.width(some) <= room)
        systems: list[list[tuple[Bar, range]]] = []
        used = room + 1
        for bar in self.bars:
            for chunk in chunks:
                need = len(BETWEEN_BARS) + _width(columns, bar, chunk)
                if len(chunks) > 1 or used + need > room:
                    systems.append([])
                    used = -len(BETWEEN_BARS)
                used += need
                systems[-1].append((bar, chunk))
        return systems

    def _set(
        self, system: Sequence[tuple[Bar, range]], columns: _Columns, labels: int
    ) -> Iterator[Spans]:
        starts = [labels]
        heading = _Canvas()
        for bar, chunk in system:
            heading.write(starts[-1], bar.heading(chunk.start), HEADING)
            starts.append(starts[-1] + _width(columns, bar, chunk) + len(BETWEEN_BARS))
        yield heading.spans()
        for index, row in enumerate(system[0][0].rows):
            line = _Canvas()
            for start in starts[1:-1]:
                line.write(start - len(BETWEEN_BARS), BETWEEN_BARS, FAINT)
            filled = [
                _fill(line, bar.rows[index], columns.places(start, chunk))
                for start, (bar, chunk) in zip(starts, system, strict=False)
            ]
            if row.rests or any(filled):
                line.write(0, row.label, COUNT if row in self.all.stave.counts else HEADING)
                yield line.spans()


def _fill(line: _Canvas, row: Row, places: Iterable[tuple[Fraction, int]]) -> bool:
    """Writes one row of some beats; whether there was anything but rests."""
    taken: set[int] = set()
    rests = []
    for time, at in places:
        if cell := row.cells.get(time):
            text = str(cell.text)
            begin = at - len(cell.text.before)
            line.write(begin, text, cell.style)
            taken.update(range(begin - 1, begin + len(text) + 1))
        elif time in row.rests:
            rests.append(at)
    for at in rests:
        if at not in taken:
            line.write(at, str(_REST.text), _REST.style)
    return bool(taken)


def _right(cell: Cell) -> int:
    """How many characters a cell takes from its column on."""
    return len(cell.text.letter + cell.text.after)


def _width(columns: _Columns, bar: Bar, chunk: range) -> int:
    return max(columns.width(chunk), len(bar.heading(chunk.start)))
