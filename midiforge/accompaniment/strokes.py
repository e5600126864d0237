"""A figure's strokes over a loop, before they have a pitch."""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import accumulate
from typing import NamedTuple

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


def over(pattern: str, step: Fraction, length: Fraction) -> Iterator[Stroke]:
    """A pattern again and again, up to `length`.

    What would be held over the end is ended there, and struck anew at 0: so a loop closes in
    every player of files, and the top of the form can be heard.
    """
    once = strokes(pattern, step)
    if not once:
        return
    turn, period = Fraction(0), len(pattern) * step
    left = max(stroke.end for stroke in once) - period
    if left > 0 and once[0].time > 0:
        yield Stroke(Fraction(0), min(left, once[0].time, length), once[-1].mark)
    while turn < length:
        for stroke in once:
            time = turn + stroke.time
            if time < length:
                yield Stroke(time, min(stroke.length, length - time), stroke.mark)
        turn += period


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
