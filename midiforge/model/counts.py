"""Counting aloud: "1 e & a 2 e & a", and where each syllable lies."""

import re
from bisect import bisect_right
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


def syllables(units: int, size: int) -> tuple[str, ...]:
    """What is said on each of `size` equal parts of a beat of `units` note values: "" on the first,
    which has the beat's number, "." on those without a syllable."""
    dotted = _IN_A_DOTTED_BEAT if units == 3 else {}
    said = dotted.get(size) or _SYLLABLES.get(size, {})
    return ("", *(said.get(i, UNNAMED) for i in range(1, size)))


@lru_cache(maxsize=256)
def steps_in_bar(meter: Meter, step: Fraction) -> int:
    """How many grid steps of `step` quarter notes fill a bar; MidiforgeError if none do."""
    for name, length in (("bar", meter.bar), *(("beat", beat) for beat in meter.beat_lengths)):
        if (length / step).denominator != 1:
            raise MidiforgeError(
                f"a {name} of {meter} is {length / step} grid steps, not a whole number",
                hint="choose another number of steps",
            )
    return int(meter.bar / step)


def counts(meter: Meter, step: Fraction) -> tuple[str, ...]:
    """What is said on each step of a bar; steps without a syllable are "."."""
    steps_in_bar(meter, step)
    beats = zip(meter.groups, meter.beat_lengths, strict=True)
    return tuple(
        syllable or str(number)
        for number, (units, length) in enumerate(beats, start=1)
        for syllable in syllables(units, int(length / step))
    )


@lru_cache(maxsize=4096)  # of a long phrase each variant asks for a few
def count_name(meter: Meter, step: Fraction, index: int) -> str:
    """The name of the step `index` of a bar: "1", "2&", or "2.3" for a step without syllable."""
    steps_in_bar(meter, step)
    return place_name(meter, step, index * step)


def count_said(meter: Meter, step: Fraction, index: int) -> str:
    """The same of a step that may lie in a later bar: "2&", "2& of bar 3"."""
    bar = index // steps_in_bar(meter, step)
    return count_name(meter, step, index) + (f" of bar {bar + 1}" if bar else "")


def count_index(meter: Meter, step: Fraction, text: str) -> int:
    """The step of the bar that a count names: "2&", "2.3"; "a" alone is that of beat 1."""
    match = re.fullmatch(r"([0-9]{1,3})?(?:([e&a+])|\.([0-9]{1,3}))?", text.strip())
    if not match or not text.strip():
        raise MidiforgeError(f"{quoted(text)} is not a count", hint="such as 1, 2e, 3&, 4a or 2.3")
    number, syllable, within = match.groups()
    beat = int(number or 1)
    if not 1 <= beat <= len(meter.groups):
        raise MidiforgeError(
            f"{quoted(text)}: a bar of {meter} has no beat {beat}", hint=f"1 to {len(meter.groups)}"
        )
    size = int(meter.beat_lengths[beat - 1] / step)
    offset = 0
    if syllable:
        syllable = syllable.replace("+", "&")
        said = syllables(meter.groups[beat - 1], size)
        if syllable not in said:
            raise MidiforgeError(
                f"{quoted(text)}: no {syllable!r} among {size} steps to the beat",
                hint=f"count steps instead: {beat}.1 to {beat}.{size}",
            )
        offset = said.index(syllable)
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
    beat, start, length = beat_of(meter, within)
    share, on_the_grid = (within - start) / length, (within / step).denominator == 1
    if on_the_grid:
        steps_in_bar(meter, step)
    size = int(length / step) if on_the_grid else share.denominator
    place = int(share * size)
    said = syllables(meter.groups[beat - 1], size)[place]
    name = f"{beat}.{place + 1}" if said == UNNAMED else f"{beat}{said}"
    return name if on_the_grid else f"{name}/{size}"


def spoken(count: str) -> str:
    """A count in words: "the e of 1", "2", "step 3 of beat 2"."""
    if count.isdigit():
        return count
    beat, dot, step = count.partition(".")
    if dot:
        return f"step {step} of beat {beat}"
    return f"the {count[-1]} of {count[:-1]}" if count[-1:] in ("e", "&", "a") else count
