"""Naming any moment of a bar as a player counts it, on the exercise's grid or off it."""

import re
from bisect import bisect_right
from collections.abc import Iterable, Iterator
from fractions import Fraction

from midiforge.model.counts import UNNAMED, count_name, counts
from midiforge.model.meter import Meter


def beat_of(meter: Meter, within: Fraction) -> tuple[int, Fraction, Fraction]:
    """The beat that a time in the bar lies in: its number from 1, its start, its length."""
    beats = meter.beats
    number = bisect_right(beats, within)
    return number, beats[number - 1], Fraction(4 * meter.groups[number - 1], meter.unit)


def place_name(meter: Meter, step: Fraction, time: Fraction) -> str:
    """What a player calls the moment `time` (in quarter notes from a downbeat).

    On the grid as `count_name` has it: "2&". Off the grid with the number of equal parts of the
    beat it is counted in, since syllables mean other places there: "2a/4" is the a of 2 counted
    in four, "2.3/5" the third of five.
    """
    within = time % meter.bar
    if (within / step).denominator == 1:
        return count_name(meter, step, int(within / step))
    number, start, length = beat_of(meter, within)
    share = (within - start) / length
    size = share.denominator
    said = syllables(meter, length, size)[share.numerator]
    return f"{number}{said}/{size}" if said != UNNAMED else f"{number}.{share.numerator + 1}/{size}"


def syllables(meter: Meter, length: Fraction, size: int) -> tuple[str, ...]:
    """What is said on each of `size` equal parts of a beat of that length; "1" on the first."""
    units = int(length / Fraction(4, meter.unit))
    return counts(Meter((units,), meter.unit, length, length), length / size)


def explained(texts: Iterable[str]) -> Iterator[tuple[str, str]]:
    """What counts that nobody speaks mean, an example of each kind that the texts have."""
    said = "\n".join(texts)
    if "." not in said and "/" not in said:  # nearly always
        return
    if found := re.search(r"(?<![\w.])([0-9]+)\.([0-9]+)(?![\w./]*[\w/])", said):
        yield found[0], f"step {found[2]} of beat {found[1]}, which has no syllable of its own"
    if found := re.search(r"(?<![\w.])([0-9]+)\.([0-9]+)/([0-9]+)", said):
        yield found[0], f"part {found[2]} of beat {found[1]} in {found[3]} equal parts"
    if found := re.search(r"(?<![\w.])([0-9]+)([e&a])/([0-9]+)", said):
        yield found[0], f"the {found[2]} of {found[1]}, with {found[3]} parts to the beat"
