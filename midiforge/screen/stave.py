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

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from math import gcd

from midiforge.insight.places import beat_of, syllables
from midiforge.insight.words import bars_named
from midiforge.model.counts import counts
from midiforge.model.exercise import Exercise
from midiforge.model.hit import CLICK, FEET, HANDS, Hit, OrnamentKind, Strength

LIMBS = (*HANDS, *FEET)
REST = "."
MOST_COUNTED = 8  # parts of a beat; nobody counts finer ones aloud
BETWEEN_BARS = " | "
_IN_PARTS = {
    2: "in twos",
    3: "in threes",
    4: "in fours",
    5: "in fives",
    6: "in sixes",
    7: "in sevens",
    8: "in eights",
}
_SECTION_WORDS = {
    "entry": "the first time only",
    "time": "time",
    "call": "call",
    "response": "response: you alone",
}

# Styles are names of parts; the screen gives them colours, or not.
COUNT, ACCENT, STROKE = "count", "accent", "stroke"
GHOST, FAINT, HEADING = "ghost", "faint", "heading"


@dataclass(frozen=True, slots=True)
class Cell:
    """What stands in one column of one row: `body` in the column, the rest to its sides."""

    body: str
    before: str = ""
    after: str = ""
    style: str = STROKE

    @property
    def right(self) -> int:
        return len(self.body) + len(self.after)


Cells = Mapping[Fraction, Cell]  # by time within the bar, in quarter notes


@dataclass(frozen=True, slots=True)
class Row:
    """One row of one bar; `dots` where a rest is marked."""

    label: str
    cells: Cells
    dots: tuple[Fraction, ...] = ()


@dataclass(frozen=True, slots=True)
class Bar:
    """A bar, and every bar that is the same."""

    numbers: tuple[int, ...]
    note: str
    rows: tuple[Row, ...]

    @property
    def heading(self) -> str:
        return f"{bars_named(self.numbers)}{': ' if self.note else ''}{self.note}"


@dataclass(slots=True)
class Canvas:
    """One line of styled text, written anywhere."""

    characters: dict[int, tuple[str, str]] = field(default_factory=dict)

    def write(self, at: int, text: str, style: str) -> None:
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
        self.hits = tuple(_shown(exercise))
        self._by_row = _by_row(self.hits)
        self.main_voice = {
            name: _most_common(
                [hit.voice for hit in hits if hit.strength is Strength.TAP]
                or [hit.voice for hit in hits]
            )
            for name, hits in self._by_row.items()
        }
        self.voice_keys = self._voice_keys()
        self.layer_labels = self._layer_labels()
        self.other_parts = self._other_parts()
        bars = self._bars()
        self.bars, self.left_out = bars[:most_bars], max(len(bars) - most_bars, 0)
        counted = (
            length / parts for length in exercise.meter.beat_lengths for parts in self.other_parts
        )
        self._fine = _common(
            [
                exercise.step,
                exercise.meter.bar,
                *exercise.meter.beats,
                *(hit.time for hit in self.hits),
                *counted,
            ]
        )

    # What the rows hold

    def _bars(self) -> list[Bar]:
        exercise = self.exercise
        meter = exercise.meter
        last = int(exercise.loop_start / meter.bar) + exercise.returns_after_bars
        last = min(last, exercise.bars)
        in_bar: dict[int, list[Hit]] = {}
        for hit in self.hits:
            in_bar.setdefault(int(hit.time // meter.bar), []).append(hit)
        notes = self._notes()
        same: dict[tuple[object, ...], list[int]] = {}
        content: dict[tuple[object, ...], tuple[str, tuple[Row, ...]]] = {}
        for number in range(last):
            start = number * meter.bar
            hits = in_bar.get(number, [])
            note = notes.get(number, "")
            key = (note, *((hit.time - start, hit.limb, hit.voice, hit.strength, hit.ornament,
                            hit.layer) for hit in hits))  # fmt: skip
            same.setdefault(key, []).append(number + 1)
            if key not in content:
                content[key] = (note, tuple(self._rows(hits, start)))
        return [Bar(tuple(same[key]), *content[key]) for key in content]

    def _notes(self) -> dict[int, str]:
        """What is to be said of a bar, by its number from 0."""
        bar = self.exercise.meter.bar
        return {
            number: _SECTION_WORDS[section.kind]
            for section in self.exercise.sections
            if section.kind in _SECTION_WORDS
            for number in range(
                int(section.start / bar), int((section.start + section.length) / bar)
            )
        }

    def _rows(self, hits: Sequence[Hit], start: Fraction) -> Iterator[Row]:
        meter, step = self.exercise.meter, self.exercise.step
        said = counts(meter, step)
        grid = tuple(i * step for i in range(len(said)))
        named = {time: _count(text) for time, text in zip(grid, said, strict=True)}
        yield Row("count", named)
        for parts in self.other_parts:
            yield Row(_IN_PARTS[parts], self._other_counts(parts))
        accents = {hit.time - start: Cell(">", style=ACCENT) for hit in hits if _over(hit, hits)}
        yield Row("accent", accents)
        playing = _by_row(hits)
        for label in self._by_row:
            now = playing.get(label, [])
            cells = {hit.time - start: _cell(hit, _over(hit, hits)) for hit in now}
            yield Row(self.layer_labels.get(label, label), cells, grid)
            keys = self.voice_keys.get(label, {})
            if keys:
                yield Row(
                    "  on",
                    {
                        hit.time - start: Cell(keys[hit.voice], style=FAINT)
                        for hit in now
                        if hit.voice in keys
                    },
                )

    def _voice_keys(self) -> dict[str, dict[str, str]]:
        """For each row with several voices, the figure under the strokes of each further one."""
        keys = {}
        for name, hits in self._by_row.items():
            further = [
                voice
                for voice in dict.fromkeys(hit.voice for hit in hits)
                if voice != self.main_voice[name]
            ]
            keys[name] = {voice: "123456789"[i % 9] for i, voice in enumerate(further)}
        return keys

    def _layer_labels(self) -> dict[str, str]:
        limbs = {limb.title for limb in LIMBS}
        layers = [name for name in self._by_row if name not in limbs]
        if len(layers) == 1:
            return {layers[0]: "beside you"}
        return {name: f"beside you {i}" for i, name in enumerate(layers, start=1)}

    def _other_parts(self) -> tuple[int, ...]:
        """Into how many parts a beat must be counted for the hits off the grid, if any."""
        meter, step = self.exercise.meter, self.exercise.step
        found = set()
        for within in {hit.time % meter.bar for hit in self.hits}:
            if (within / step).denominator > 1:
                _, start, length = beat_of(meter, within)
                found.add(((within - start) / length).denominator)
        found = {each for each in found if not any(o > each and o % each == 0 for o in found)}
        return tuple(sorted(each for each in found if each <= MOST_COUNTED))

    def _other_counts(self, parts: int) -> Cells:
        meter = self.exercise.meter
        cells = {}
        for number, (start, length) in enumerate(
            zip(meter.beats, meter.beat_lengths, strict=True), start=1
        ):
            said = (str(number), *syllables(meter, length, parts)[1:])
            for i, text in enumerate(said):
                cells[start + i * length / parts] = _count(text)
        return cells

    # Setting them in lines

    def lines(self, width: int) -> Iterator[list[tuple[str, str]]]:
        """The stave in lines of at most `width` characters, as pieces of one style each."""
        if not self.bars:
            return
        labels = max(len(row.label) for bar in self.bars for row in bar.rows) + 2
        room = max(width - labels - 1, 8)
        places = self._columns(room)
        systems = self._systems(places, room)
        for number, system in enumerate(systems):
            if number:
                yield []
            yield from self._set(system, places, labels)

    def _columns(self, room: int) -> list[dict[Fraction, int]]:
        """For each beat, the offset of each of its times; also how wide the beat is, under -1.

        Wide enough for every dot if bars then still fit; else some dots give way.
        """
        places = self._spread(room, self._closest(with_dots=True))
        if self._width(places, range(len(places))) <= room:
            return places
        return self._spread(room, self._closest(with_dots=False))

    def _closest(self, with_dots: bool) -> int:
        """How many characters the finest column needs for nothing in any row to touch."""
        wide = 1
        for row in (row for bar in self.bars for row in bar.rows):
            cells = dict(row.cells)
            if with_dots:
                cells = {time: Cell(REST) for time in row.dots} | cells
            for (one, left), (two, right) in pairwise(sorted(cells.items(), key=_time)):
                need = left.right + 1 + len(right.before)
                wide = max(wide, -(-need // max(int((two - one) / self._fine), 1)))
        return wide

    def _spread(self, room: int, wide: int) -> list[dict[Fraction, int]]:
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
            found[Fraction(-1)] = max(size, lead + tail + 1)
            beats.append(found)
        return beats

    def _systems(
        self, places: list[dict[Fraction, int]], room: int
    ) -> list[list[tuple[Bar, range]]]:
        """Which beats of which bars share a line."""
        whole = range(len(places))
        chunks = [whole]
        if self._width(places, whole) > room:
            many = -(-self._width(places, whole) // room)
            while many < len(places):
                size = -(-len(places) // many)
                chunks = [whole[i : i + size] for i in whole[::size]]
                if all(self._width(places, chunk) <= room for chunk in chunks):
                    break
                many += 1
            else:
                chunks = [whole[i : i + 1] for i in whole]
        systems: list[list[tuple[Bar, range]]] = []
        used = room + 1
        for bar in self.bars:
            for chunk in chunks:
                need = max(self._width(places, chunk), len(_heading(bar, chunk)))
                if len(chunks) > 1 or used + len(BETWEEN_BARS) + need > room:
                    systems.append([])
                    used = 0
                used += need + (len(BETWEEN_BARS) if systems[-1] else 0)
                systems[-1].append((bar, chunk))
        return systems

    def _width(self, places: list[dict[Fraction, int]], beats: Iterable[int]) -> int:
        lead = self._lead()
        return lead + sum(places[i][Fraction(-1)] + self._beat_gap(places) for i in beats)

    def _beat_gap(self, places: list[dict[Fraction, int]]) -> int:
        return 1 if any(len(beat) > 2 for beat in places) else 0

    def _lead(self) -> int:
        first = [row.cells.get(Fraction(0)) for bar in self.bars for row in bar.rows]
        return max((len(cell.before) for cell in first if cell), default=0)

    def _set(
        self, system: list[tuple[Bar, range]], places: list[dict[Fraction, int]], labels: int
    ) -> Iterator[list[tuple[str, str]]]:
        starts = []
        at = labels
        for bar, chunk in system:
            starts.append(at)
            at += max(self._width(places, chunk), len(_heading(bar, chunk))) + len(BETWEEN_BARS)
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
                empty &= not self._fill(line, bar.rows[index], chunk, places, start)
            if empty and row.label in ("accent", "  on"):
                continue
            counts_aloud = row.label == "count" or row.label in _IN_PARTS.values()
            line.write(0, row.label, COUNT if counts_aloud else HEADING)
            yield line.spans()

    def _fill(
        self,
        line: Canvas,
        row: Row,
        chunk: range,
        places: list[dict[Fraction, int]],
        start: int,
    ) -> bool:
        """Writes one row of some beats; whether there was anything but rests."""
        meter = self.exercise.meter
        taken: set[int] = set()
        marks: list[tuple[int, str, str]] = []
        at = start + self._lead()
        something = False
        for beat in chunk:
            begin, length = meter.beats[beat], meter.beat_lengths[beat]
            for time, offset in places[beat].items():
                if not begin <= time < begin + length:
                    continue
                cell = row.cells.get(time)
                if cell:
                    something = True
                    x = at + offset - len(cell.before)
                    text = cell.before + cell.body + cell.after
                    line.write(x, text, cell.style)
                    taken.update(range(x - 1, x + len(text) + 1))
                elif time in row.dots:
                    marks.append((at + offset, REST, FAINT))
            at += places[beat][Fraction(-1)] + self._beat_gap(places)
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


def _shown(exercise: Exercise) -> Iterator[Hit]:
    """The player's hits and those of time layers; of tracks only their names are told."""
    aside = {CLICK, *(track.name for track in exercise.tracks)}
    for hit in (*exercise.hits, *exercise.answers):
        if hit.layer not in aside and 0 <= hit.time < exercise.length:
            yield hit


def _by_row(hits: Iterable[Hit]) -> dict[str, list[Hit]]:
    """The hits of each limb, hands first, then those of each layer beside the player."""
    rows: dict[str, list[Hit]] = {limb.title: [] for limb in LIMBS}
    for hit in hits:
        rows.setdefault(hit.limb.title if hit.limb else hit.layer, []).append(hit)
    return {name: each for name, each in rows.items() if each}


def _over(hit: Hit, hits: Sequence[Hit]) -> bool:
    """Whether the accent of a hit goes into the row above the hands: not if only one of two."""
    if hit.strength is not Strength.ACCENT or hit.limb is None or not hit.limb.is_hand:
        return False
    return all(
        other.strength is Strength.ACCENT
        for other in hits
        if other.time == hit.time and other.limb is not None and other.limb.is_hand
    )


def _cell(hit: Hit, accent_above: bool) -> Cell:
    body = hit.limb.letter if hit.limb else "*"
    before = after = ""
    style = STROKE
    if hit.ornament and hit.ornament.grace_notes and hit.ornament.limb:
        before = hit.ornament.limb.letter.lower() * hit.ornament.grace_notes
    if hit.ornament and hit.ornament.kind is OrnamentKind.BUZZ:
        after = "z"
    if hit.strength is Strength.GHOST:
        before, after, style = f"({before}", f"{after})", GHOST
    elif hit.strength is Strength.ACCENT:
        style = ACCENT
        if not accent_above:
            before = f">{before}"
    return Cell(body, before, after, style)


def _count(text: str) -> Cell:
    return Cell(text, style=COUNT if text != REST else FAINT)


def _most_common(names: Sequence[str]) -> str:
    return max(dict.fromkeys(names), key=names.count)


def _common(times: Iterable[Fraction]) -> Fraction:
    """The longest time that every given time is a whole multiple of; one is above 0."""
    found = Fraction(0)
    for time in set(times):
        below = found.denominator * time.denominator
        found = Fraction(
            gcd(found.numerator * time.denominator, time.numerator * found.denominator), below
        )
    return found
