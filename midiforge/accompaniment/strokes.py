"""A figure's strokes over a loop, before they have a pitch."""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import accumulate
from math import ceil
from typing import NamedTuple

from midiforge.accompaniment.progression import Progression
from midiforge.library.players import Figure
from midiforge.model.meter import Meter

REST, HOLD = ".", "-"


class Stroke(NamedTuple):
    """One stroke of a figure: when, for how long (quarter notes), and its mark.

    goes_on: whether it is the rest of one that a change of chord broke.
    """

    time: Fraction
    length: Fraction
    mark: str
    goes_on: bool = False

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


def over(figure: Figure, progression: Progression, length: Fraction) -> Iterator[Stroke]:
    """A figure again and again, up to `length`; what it has for the last bar of the progression
    there, if that has several.

    What would be held over the end is ended there, and struck anew at 0: so a loop closes in
    every player of files, and the top of the form can be heard.
    """
    whole = strokes(_written_out(figure, progression, length), figure.step)
    if not whole:
        return
    left = whole[-1].end - length
    if left > 0 and whole[0].time > 0:
        yield Stroke(Fraction(0), min(left, whole[0].time, length), whole[-1].mark)
    for stroke in whole:
        yield stroke._replace(length=min(stroke.length, length - stroke.time))


def _written_out(figure: Figure, progression: Progression, length: Fraction) -> str:
    """The marks of a figure over `length`."""
    size = ceil(length / figure.step)
    marks = (figure.pattern * (size // len(figure.pattern) + 1))[:size]
    form = int(progression.length / figure.step)
    if figure.last and progression.bars > 1:
        for end in range(form, size + 1, form):
            marks = marks[: end - len(figure.last)] + figure.last + marks[end:]
    return marks


def struck_again(played: Sequence[Stroke], times: Sequence[Fraction]) -> Iterator[Stroke]:
    """The strokes, each broken at those of `times` that lie within it."""
    i = 0
    for stroke in played:
        while i < len(times) and times[i] <= stroke.time:
            i += 1
        time, j = stroke.time, i
        while j < len(times) and times[j] < stroke.end:
            yield Stroke(time, times[j] - time, stroke.mark, time > stroke.time)
            time, j = times[j], j + 1
        yield Stroke(time, stroke.end - time, stroke.mark, time > stroke.time)


def next_beat(meter: Meter, time: Fraction) -> Fraction:
    """The first beat after a time, in quarter notes."""
    bar, within = divmod(time, meter.bar)
    ends = accumulate(meter.beat_lengths)
    return bar * meter.bar + next(end for end in ends if end > within)
