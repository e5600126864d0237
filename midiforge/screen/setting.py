"""The bars of an exercise that differ, and its stave in lines of a width: accents above strokes,
other voices below them, and columns as far apart as their times.

A dot is a grid step on which the limb rests. Where hits lie off the exercise's grid the columns
are those of a finer one, dots stay on the grid, and a second row, "in fours", counts the other
hits.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import groupby, pairwise
from math import gcd, lcm
from operator import itemgetter
from typing import NamedTuple

from midiforge.frozen import frozen
from midiforge.insight.words import bars_named
from midiforge.model.exercise import Exercise
from midiforge.model.hit import HANDS, Strength
from midiforge.model.spelling import spelled
from midiforge.stave import ACCENT, COUNT, FAINT, Cell, Row, Stave, in_lines, struck

_SECTION_WORDS = {
    "entry": "the first time only",
    "time": "time",
    "call": "call",
    "response": "response: you alone",
}


@frozen
class Bar:
    """A bar, and every bar that is the same."""

    numbers: list[int]
    note: str
    rows: tuple[Row, ...]

    def heading(self, beat: int) -> str:
        """Which bars they are, from which beat on, and what is said of them."""
        if beat:
            return f"{bars_named(self.numbers)}, from beat {beat + 1}"
        return ": ".join(filter(None, (bars_named(self.numbers), self.note)))


class Bars:
    """An exercise's bars, as far as they differ.

    labels: how the rows of time layers are called.
    """

    def __init__(self, exercise: Exercise) -> None:
        self.stave = Stave(exercise)
        players = self.stave.players
        layers = [name for name, hits in players.items() if hits[0].limb is None]
        self.labels = {name: f"time layer {i}" for i, name in enumerate(layers, start=1)}
        if len(layers) == 1:
            self.labels = {layers[0]: "time layer"}
        self.differing = self._differing(exercise)

    def _differing(self, exercise: Exercise) -> list[Bar]:
        length = exercise.meter.bar
        last = exercise.loop_bar + exercise.returns_after_bars
        notes = {
            number: _SECTION_WORDS[part.kind]
            for part in exercise.sections
            if part.kind in _SECTION_WORDS
            for number in range(int(part.start / length), int((part.start + part.length) / length))
        }
        bars: dict[tuple[object, ...], Bar] = {}
        for number in range(min(last, exercise.bars)):
            note = notes.get(number, "")
            rows = tuple(self._rows(number))
            seen = (note, *(tuple(row.cells.items()) for row in rows))
            bars.setdefault(seen, Bar([], note, rows)).numbers.append(number + 1)
        return list(bars.values())

    def _rows(self, number: int) -> Iterator[Row]:
        rows = self.stave.bar(number)
        hands = [row for row in rows if row.label in (hand.title for hand in HANDS)]
        strengths = [(time, hit.strength) for row in hands for time, hit in row.hits.items()]
        softer = {time for time, strength in strengths if strength is not Strength.ACCENT}
        above = {time for time, _ in strengths} - softer  # not where one of two is accented
        yield from self.stave.counts
        yield Row("accent", {time: Cell(spelled(">"), ACCENT) for time in sorted(above)})
        for row in rows:
            cells = dict(row.cells)
            if row in hands:
                plain = {time: row.hits[time] for time in above & row.hits.keys()}
                cells |= {time: struck(hit, Strength.TAP) for time, hit in plain.items()}
            yield replace(row, label=self.labels.get(row.label, row.label), cells=cells)
            if keys := self.stave.played_on[row.label].others:
                elsewhere = ((time, keys.get(hit.voice)) for time, hit in row.hits.items())
                yield Row("  on", {time: Cell(spelled(k), FAINT) for time, k in elsewhere if k})


_BETWEEN_BARS = " | "
_REST = Cell(spelled("."), FAINT)

Spans = Sequence[tuple[str, str]]  # pieces of text, each with the name of its style
_Line = dict[int, tuple[str, str]]  # letters and their styles, by where they stand


class _Columns(NamedTuple):
    """Where everything stands in a bar, in characters.

    places: of each time. beats: where each begins, and where the last ends. lead: what stands
    before the first of a line.
    """

    places: Mapping[Fraction, int]
    beats: Sequence[int]
    lead: int

    def width(self, chunk: range) -> int:
        """How wide some beats are."""
        return self.lead + self.beats[chunk.stop] - self.beats[chunk.start]


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
        self._times = sorted({time for row in self._rows for time in (*row.cells, *row.rests)})
        lengths = (*self._times, exercise.meter.bar)
        parts = lcm(*(length.denominator for length in lengths))
        self._fine = Fraction(gcd(*(int(length * parts) for length in lengths)), parts)

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
        if columns.lead + columns.beats[-1] <= room:
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
        column = max(len(cell.text.before) for cell in cells) + max(map(_right, cells)) + 1
        beats = [
            (start, length, [time for time in self._times if start <= time < start + length])
            for start, length in zip(self._meter.beats, self._meter.beat_lengths, strict=True)
        ]
        gap = any(len(times) > 1 for _, _, times in beats)
        places, begins = dict[Fraction, int](), [0]
        for start, length, times in beats:
            size = int(length / self._fine) * wide
            within = [int((time - start) / self._fine) * wide for time in times]
            if size > room:
                # Too fine to be drawn to scale: the times that are used, one after the other.
                size = len(times) * column
                within = [i * column for i in range(len(times))]
            places |= {time: begins[-1] + at for time, at in zip(times, within, strict=True)}
            begins.append(begins[-1] + max(size, column) + gap)
        first = [row.cells[Fraction(0)] for row in self._rows if Fraction(0) in row.cells]
        return _Columns(places, begins, max(len(cell.text.before) for cell in first))

    def _systems(self, columns: _Columns, room: int) -> list[list[tuple[int, Bar, range]]]:
        """Which beats of which bars share a line, and where each bar begins in it."""
        beats = [range(i, i + 1) for i in range(len(columns.beats) - 1)]
        chunks = in_lines(beats, lambda some: columns.width(some) <= room)
        systems: list[list[tuple[int, Bar, range]]] = []
        used = room
        for bar in self.bars:
            for chunk in chunks:
                width = max(columns.width(chunk), len(bar.heading(chunk.start)))
                if len(chunks) > 1 or used + width > room:
                    systems.append([])
                    used = 0
                systems[-1].append((used, bar, chunk))
                used += width + len(_BETWEEN_BARS)
        return systems

    def _set(
        self, system: Sequence[tuple[int, Bar, range]], columns: _Columns, labels: int
    ) -> Iterator[Spans]:
        heading = _Line()
        for start, bar, chunk in system:
            _write(heading, labels + start, bar.heading(chunk.start), "heading")
        yield _spans(heading)
        for index, row in enumerate(self.bars[0].rows):
            line = _Line()
            empty = True
            for start, bar, chunk in system:
                if start:
                    _write(line, labels + start - len(_BETWEEN_BARS), _BETWEEN_BARS, FAINT)
                empty &= not _fill(line, bar.rows[index], columns, chunk, labels + start)
            if row.rests or not empty:
                _write(line, 0, row.label, COUNT if row in self.all.stave.counts else "heading")
                yield _spans(line)


def _fill(line: _Line, row: Row, columns: _Columns, chunk: range, start: int) -> bool:
    """Writes one row of some beats; whether there was anything but rests."""
    begin, end = columns.beats[chunk.start], columns.beats[chunk.stop]
    taken: set[int] = set()
    rests = []
    for time, place in columns.places.items():
        at = start + columns.lead + place - begin
        if not begin <= place < end:
            continue
        if cell := row.cells.get(time):
            left = at - len(cell.text.before)
            _write(line, left, str(cell.text), cell.style)
            taken.update(range(left - 1, at + _right(cell) + 1))
        elif time in row.rests:
            rests.append(at)
    for at in rests:
        if at not in taken:
            _write(line, at, str(_REST.text), _REST.style)
    return bool(taken)


def _write(line: _Line, at: int, text: str, style: str) -> None:
    """Text from a column on; blanks leave what is there."""
    line.update((at + i, (letter, style)) for i, letter in enumerate(text) if letter != " ")


def _spans(line: _Line) -> Spans:
    """The line as pieces of one style each; "" is the style of blanks."""
    letters = (line.get(i, (" ", "")) for i in range(max(line, default=-1) + 1))
    return [
        ("".join(letter for letter, _ in piece), style)
        for style, piece in groupby(letters, itemgetter(1))
    ]


def _right(cell: Cell) -> int:
    """How many characters a cell takes from its column on."""
    return len(cell.text.letter + cell.text.after)
