"""A figure's strokes over a loop, before they have a pitch."""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import accumulate
from math import ceil
from typing import NamedTuple

from midiforge.library.band import Figure
from midiforge.model.meter import Meter

REST, HOLD = ".", "-"


class Stroke(NamedTuple):
    """One stroke of a figure: when, for how long (quarter notes), and its mark.

    goes_on: whether it is the rest of one that a change of chord broke.
    at_top: whether it is the rest of one that the seam broke: of the chord that begins there,
    whatever its mark says.
    """

    time: Fraction
    length: Fraction
    mark: str
    goes_on: bool = False
    at_top: bool = False

    @property
    def end(self) -> Fraction:
        return self.time + self.length


def strokes(pattern: str, step: Fraction) -> tuple[Stroke, ...]:
    """The strokes of one time through a pattern of one character a step.

    What is held at its beginning is the end of its last stroke, which goes round.
    """
    size = len(pattern)
    found = []
    for i, mark in enumerate(pattern):
        if mark in (REST, HOLD):
            continue
        held = 1
        while held < size and pattern[(i + held) % size] == HOLD:
            held += 1
        found.append(Stroke(i * step, held * step, mark))
    return tuple(found)


def over(figure: Figure, form: Fraction, length: Fraction) -> Iterator[Stroke]:
    """A figure again and again, up to `length`, begun anew with every form and ended with what it
    has for the last bar of one.

    form: how long a form is, in quarter notes.
    What would be held over the end is ended there. Unless the figure rests at the top it is
    struck anew at 0: so the top of the form can be heard, and the first time has it too.
    """
    whole = strokes(_written_out(figure, form, length), figure.step)
    if not whole:
        return
    left = whole[-1].end - length
    if left > 0 and whole[0].time > 0 and not figure.rests_at_top:
        held = min(left, whole[0].time, length)
        yield Stroke(Fraction(0), held, whole[-1].mark, at_top=True)
    for stroke in whole:
        yield stroke._replace(length=min(stroke.length, length - stroke.time))


def _written_out(figure: Figure, form: Fraction, length: Fraction) -> str:
    """The marks of a figure over `length`."""
    size = ceil(form / figure.step)
    once = (figure.pattern * (size // len(figure.pattern) + 1))[: size - len(figure.last)]
    once += figure.last
    steps = ceil(length / figure.step)
    return (once * (steps // size + 1))[:steps]


def struck_again(played: Sequence[Stroke], times: Sequence[Fraction]) -> Iterator[Stroke]:
    """The strokes, each broken at those of `times` that lie within it."""
    i = 0
    for stroke in played:
        while i < len(times) and times[i] <= stroke.time:
            i += 1
        time, j = stroke.time, i
        while j < len(times) and times[j] < stroke.end:
            yield stroke._replace(time=time, length=times[j] - time, goes_on=time > stroke.time)
            time, j = times[j], j + 1
        yield stroke._replace(time=time, length=stroke.end - time, goes_on=time > stroke.time)


def next_beat(meter: Meter, time: Fraction) -> Fraction:
    """The first beat after a time, in quarter notes."""
    bar, within = divmod(time, meter.bar)
    ends = accumulate(meter.beat_lengths)
    return bar * meter.bar + next(end for end in ends if end > within)
