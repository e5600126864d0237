"""Counting aloud: "1 e & a 2 e & a", and where each syllable lies."""

import re
from bisect import bisect_right
from collections.abc import Iterable, Iterator
from fractions import Fraction
from functools import lru_cache

from midiforge.errors import MidiforgeError, quoted
from midiforge.model.meter import Meter

UNNAMED = "."

# Syllables after the beat's number (common practice). Where nobody agrees on syllables the
# steps stay unnamed and are written with their number in the beat: 1.2, 1.3.
_SYLLABLES = {
    2: {1: "&"},
    3: {1: "&", 2: "a"},
    4: {1: "e", 2: "&", 3: "a"},
    6: {2: "&", 4: "a"},
    8: {2: "e", 4: "&", 6: "a"},
    9: {3: "&", 6: "a"},
    10: {5: "&"},
    12: {3: "e", 6: "&", 9: "a"},
}
_IN_A_DOTTED_BEAT = {12: {4: "&", 8: "a"}}


def _syllables(units: int, size: int) -> dict[int, str]:
    """What is said after the number, by step, in a beat of `units` note values and `size` steps."""
    dotted = _IN_A_DOTTED_BEAT if units == 3 else {}
    return dotted.get(size) or _SYLLABLES.get(size, {})


@lru_cache(maxsize=256)
def steps_in_bar(meter: Meter, step: Fraction) -> int:
    """How many grid steps of `step` quarter notes fill a bar; MidiforgeError if none do."""
    for name, length in (("bar", meter.bar), *(("beat", each) for each in meter.beat_lengths)):
        if (length / step).denominator != 1:
            raise MidiforgeError(
                f"a {name} of {meter} is {length / step} grid steps, not a whole number",
                hint="choose another number of steps",
            )
    return int(meter.bar / step)


def _beats(meter: Meter) -> Iterator[tuple[int, Fraction]]:
    """Each beat's units and length."""
    return zip(meter.groups, meter.beat_lengths, strict=True)


def counts(meter: Meter, step: Fraction) -> tuple[str, ...]:
    """What is said on each step of a bar; steps without a syllable are "."."""
    steps_in_bar(meter, step)
    said = []
    for number, (units, length) in enumerate(_beats(meter), start=1):
        size = int(length / step)
        syllables = _syllables(units, size)
        said += [str(number), *(syllables.get(i, UNNAMED) for i in range(1, size))]
    return tuple(said)


def count_name(meter: Meter, step: Fraction, index: int) -> str:
    """The name of the step `index` of a bar: "1", "2&", or "2.3" for a step without syllable."""
    index %= steps_in_bar(meter, step)
    start = 0
    for number, (units, length) in enumerate(_beats(meter), start=1):
        size = int(length / step)
        if index < start + size:
            within = index - start
            if within == 0:
                return str(number)
            syllable = _syllables(units, size).get(within)
            return f"{number}{syllable}" if syllable else f"{number}.{within + 1}"
        start += size
    raise AssertionError("index is within the bar")


def count_said(meter: Meter, step: Fraction, index: int) -> str:
    """The same of a step that may lie in a later bar: "2&", "2& of bar 3"."""
    bar = index // steps_in_bar(meter, step)
    return count_name(meter, step, index) + (f" of bar {bar + 1}" if bar else "")


def counts_in_bar(
    meter: Meter, step: Fraction, times: Iterable[Fraction], length: Fraction
) -> tuple[str, ...]:
    """The counts of a pattern that repeats after `length`; none if bars of it differ.

    times: below `length`, in quarter notes, on the grid of `step`.
    """
    again = meter.bar / length
    if again.denominator != 1:
        return ()
    struck = sorted(time + i * length for time in times for i in range(int(again)))
    if any((time / step).denominator != 1 for time in struck):
        return ()
    return tuple(count_name(meter, step, int(time / step)) for time in struck)


def count_index(meter: Meter, step: Fraction, text: str) -> int:
    """The step of the bar that a count names: "2&", "2.3"; "a" alone is that of beat 1."""
    match = re.fullmatch(r"([0-9]{1,3})?(?:([e&a+])|\.([0-9]{1,3}))?", text.strip())
    if not match or not text.strip():
        raise MidiforgeError(f"{quoted(text)} is not a count", hint="such as 1, 2e, 3&, 4a or 2.3")
    number, syllable, within = match.groups()
    beat = int(number) if number else 1
    if not 1 <= beat <= len(meter.groups):
        raise MidiforgeError(
            f"{quoted(text)}: a bar of {meter} has no beat {beat}", hint=f"1 to {len(meter.groups)}"
        )
    units, length = list(_beats(meter))[beat - 1]
    size = int(length / step)
    offset = 0
    if syllable:
        syllable = "&" if syllable == "+" else syllable
        places = {said: i for i, said in _syllables(units, size).items()}
        if syllable not in places:
            raise MidiforgeError(
                f"{quoted(text)}: no {syllable!r} among {size} steps to the beat",
                hint=f"count steps instead: {beat}.1 to {beat}.{size}",
            )
        offset = places[syllable]
    elif within:
        offset = int(within) - 1
        if not 0 <= offset < size:
            raise MidiforgeError(
                f"{quoted(text)}: that beat has {size} steps", hint=f"{beat}.1 to {beat}.{size}"
            )
    return int(meter.beats[beat - 1] / step) + offset


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


def spoken(count: str) -> str:
    """A count in words: "the e of 1", "2", "step 3 of beat 2"."""
    if count.isdigit():
        return count
    beat, dot, step = count.partition(".")
    if dot:
        return f"step {step} of beat {beat}"
    return f"the {count[-1]} of {count[:-1]}" if count[-1:] in _SPOKEN else count


_SPOKEN = ("e", "&", "a")
