"""Writing a rhythm: which note values and rests stand for strokes at given times.

A bar is written cell by cell, a cell being a beat (or a part of one that is counted in fives or
sevens). No value crosses the end of its cell, so that every beat of the bar can be seen; within
a cell a stroke lasts until the next, as far as one value can show that without hiding the middle
of the beat, and rests are as few as that allows.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from math import gcd, lcm

from midiforge.errors import MidiforgeError
from midiforge.model.meter import Meter
from midiforge.notation.score import Group, Note, Tuplet, Value

# Names as MusicXML and the trade have them; lengths in quarter notes.
VALUES = {
    Fraction(4): "whole",
    Fraction(2): "half",
    Fraction(1): "quarter",
    Fraction(1, 2): "eighth",
    Fraction(1, 4): "16th",
    Fraction(1, 8): "32nd",
}
FINEST = min(VALUES)
_DOTTED = Fraction(3, 2)
_TOO_FINE = "are finer than thirty-second notes, which is as fine as a staff is written"


def value_of(length: Fraction) -> Value | None:
    """The single value of a length in quarter notes, or None if none has it."""
    if length in VALUES:
        return Value(VALUES[length])
    if length / _DOTTED in VALUES:
        return Value(VALUES[length / _DOTTED], dotted=True)
    return None


def cells_of(meter: Meter) -> list[tuple[Fraction, Fraction, bool]]:
    """The cells of a bar: start, length, and whether the cell is in three (dotted).

    Beats shorter than a quarter note are drawn together: twos, and a three where they are odd.
    """
    unit = Fraction(4, meter.unit)
    groups = meter.groups
    if len(groups) > 1 and set(groups) == {1} and unit < 1:
        groups = _twos_and_three(len(groups))
    cells = []
    at = Fraction(0)
    for group in groups:
        for size in _parts(group, unit):
            cells.append((at, size * unit, size % 3 == 0))
            at += size * unit
    return cells


def _twos_and_three(units: int) -> tuple[int, ...]:
    three = units % 2
    return (2,) * ((units - 3 * three) // 2) + (3,) * three


def _parts(group: int, unit: Fraction) -> Sequence[int]:
    """A beat of so many units as one cell, or as cells of two, three and four units.

    What is beamed together can be counted at a glance: no more than four notes, or half a bar of
    four quarters.
    """
    if group % 3 == 0:
        return (3,) * (group // 3)
    if not value_of(group * unit):
        return _twos_and_three(group)
    size = group
    while size > 1 and (size > 4 or size * unit > 2):
        size //= 2
    return (size,) * (group // size)


_MOST_BARS = 2048  # that are known


def write_bar(
    meter: Meter, onsets: Sequence[Fraction], lengths: Mapping[Fraction, Fraction] | None = None
) -> tuple[Group, ...]:
    """The cells of a bar with strokes at `onsets` (quarter notes from the bar line, rising), their
    notes without noteheads yet.

    lengths: of rolls, by their onsets: what is sustained for so long, in as many notes as that
        takes, and no longer.

    Raises MidiforgeError for a rhythm finer than thirty-second notes.
    """
    if Fraction(4, meter.unit) < FINEST:
        raise MidiforgeError(f"beats of 1/{meter.unit} {_TOO_FINE}", hint="a larger note value")
    if not onsets:
        whole = Note(Fraction(0), meter.bar, Value("whole"), is_rest=True)
        return (Group(Fraction(0), meter.bar, None, (whole,)),)
    return _bar(meter, tuple(onsets), tuple((lengths or {}).items()))


@lru_cache(_MOST_BARS)
def _bar(
    meter: Meter, onsets: tuple[Fraction, ...], lengths: tuple[tuple[Fraction, Fraction], ...]
) -> tuple[Group, ...]:
    """The bars of a lesson are few, and come again and again."""
    return _sustained(meter, onsets, dict(lengths)) if lengths else _written(meter, onsets, {})


def _sustained(
    meter: Meter, onsets: Sequence[Fraction], lengths: Mapping[Fraction, Fraction]
) -> tuple[Group, ...]:
    """The cells of a bar in which some strokes last; where no single value shows how long, another
    note goes on."""
    ends = {start: start + length for start, length in lengths.items()}
    while True:
        cells = _written(meter, sorted({*onsets, *ends}), ends)
        notes = [note for cell in cells for note in cell.notes if not note.is_rest]
        short = {
            note.start + note.length: ends[note.start]
            for note in notes
            if note.start in ends and note.start + note.length < min(ends[note.start], meter.bar)
        }
        if short.keys() <= ends.keys():
            return cells
        ends.update(short)


def _written(
    meter: Meter, onsets: Sequence[Fraction], ends: Mapping[Fraction, Fraction]
) -> tuple[Group, ...]:
    written = []
    for start, length, in_three in cells_of(meter):
        inside = [time - start for time in onsets if start <= time < start + length]
        beats = [beat for beat in meter.beats if start < beat < start + length]
        if beats and _needs_tuplet(_parts_for(inside, length), 3 if in_three else 1):
            # What no single tuplet should span is written beat by beat.
            for begin, end in pairwise([start, *beats, start + length]):
                some = [time - begin for time in onsets if begin <= time < end]
                written.append(_cell(begin, end - begin, False, some, ends))
        else:
            written.append(_cell(start, length, in_three, inside, ends))
    return tuple(_with_half_rests(meter, written))


def _cell(
    start: Fraction,
    length: Fraction,
    in_three: bool,
    onsets: list[Fraction],
    ends: Mapping[Fraction, Fraction],
) -> Group:
    base = 3 if in_three else 1
    until = {
        time: ends[start + time] - start
        for time in (onsets if ends else ())
        if start + time in ends and ends[start + time] < start + length
    }
    parts = _parts_for([*onsets, *until.values()], length)
    if in_three and parts == 2:
        parts = 6  # dotted values say it without a number over them
    if not _needs_tuplet(parts, base) and (not in_three or parts % 3 == 0 or parts == 1):
        written_parts = parts = lcm(parts, base)
    else:  # in the time of as many straight parts as do not exceed it
        written_parts = base * _largest_plain(parts // base)
    unit = length / written_parts
    if unit < FINEST or unit not in VALUES:
        raise MidiforgeError(
            f"{parts} steps in the time of {_in_words(length)} {_TOO_FINE}",
            hint="choose fewer steps, or a longer beat",
        )
    tuplet = Tuplet(parts, written_parts, VALUES[unit]) if written_parts != parts else None
    part, notes = length / parts, []
    places = {
        int(time / part): int(until[time] / part) if time in until else parts for time in onsets
    }
    for place, size, is_rest in _spelled(places, parts, base):
        value = value_of(size * unit)
        assert value is not None
        notes.append(Note(start + place * part, size * part, value, is_rest=is_rest))
    return Group(start, length, tuplet, tuple(notes))


def _parts_for(onsets: Iterable[Fraction], length: Fraction) -> int:
    """Into how many equal parts a cell is divided at least, so that each onset is at one."""
    return lcm(1, *((time / length).denominator for time in onsets))


def _needs_tuplet(parts: int, base: int) -> bool:
    return not _is_halved(parts // gcd(parts, base))


def _is_halved(parts: int) -> bool:
    """Whether it is halves of halves: a power of two."""
    return parts & (parts - 1) == 0


def _in_words(length: Fraction) -> str:
    value = value_of(length)
    if value is None:
        return f"{length} quarter notes"
    name = f"{'dotted ' * value.dotted}{value.name}"
    return f"{'an' if name[0] in 'ae' else 'a'} {name} note"


def _spelled(places: Mapping[int, int], parts: int, base: int) -> Iterator[tuple[int, int, bool]]:
    """(place, size, is it a rest) in parts of a cell, from its first to its last.

    places: of strokes, with where each ends at the latest.
    """
    at = 0
    for stroke, following in pairwise([*places, parts]):
        yield from _rests(at, stroke, parts)
        size = next(
            size
            for size in range(min(following, places[stroke]) - stroke, 0, -1)
            if _has_value(size) and _can_be_seen(stroke, size, parts, base)
        )
        yield stroke, size, False
        at = stroke + size
    yield from _rests(at, parts, parts)


def _has_value(size: int) -> bool:
    """Whether so many equal parts have a single note value, plain or dotted."""
    return _is_halved(size // 3 * 2 if size % 3 == 0 else size)


def _can_be_seen(start: int, size: int, parts: int, base: int) -> bool:
    """Whether a note of `size` from `start` leaves the middle (or the thirds) of the cell clear."""
    if _is_halved(parts):
        return _within_halves(start, size, parts)
    third, rest = divmod(parts, 3)
    if rest or not _is_halved(third):
        return _is_halved(size) or base == 3  # fives and sevens have no middle
    first, last = start // third, (start + size - 1) // third
    if first == last:
        return _within_halves(start % third, size, third)
    if start % third == 0:
        return size % third == 0 or 2 * size == 3 * third
    if 2 * start == 2 * size == parts:
        return True
    return size == third and 2 * (start % third) == third


def _within_halves(start: int, size: int, parts: int) -> bool:
    block = parts
    while block > 1 and start // (block // 2) == (start + size - 1) // (block // 2):
        block //= 2
    offset = start % block
    if offset == 0:
        return True
    # Across the middle: only the usual syncopation, which begins a quarter of the way in.
    return 4 * offset == block and 2 * size >= block


def _rests(start: int, end: int, parts: int) -> Iterator[tuple[int, int, bool]]:
    """Rests from `start` to `end`, none across a boundary that a beat shows."""
    at = start
    whole = _largest_plain(parts)
    while at < end:
        if at == 0 and end == parts:
            size = parts if _has_value(parts) else whole
        else:
            size = whole
            while at % size or at + size > end:
                size //= 2
        yield at, size, True
        at += size


def _largest_plain(parts: int) -> int:
    """The largest power of two up to so many parts."""
    return 1 << (parts.bit_length() - 1)


def _with_half_rests(meter: Meter, cells: list[Group]) -> Iterator[Group]:
    """The cells, with a half rest for each silent half of a bar of four quarters."""
    quarters = meter.groups == (1, 1, 1, 1) and meter.unit == 4
    at = 0
    while at < len(cells):
        pair = cells[at : at + 2]
        silent = all(note.is_rest for cell in pair for note in cell.notes)
        if quarters and at % 2 == 0 and silent:
            start = pair[0].start
            rest = Note(start, Fraction(2), Value("half"), is_rest=True)
            yield Group(start, Fraction(2), None, (rest,))
            at += 2
        else:
            yield cells[at]
            at += 1
