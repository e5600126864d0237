"""Chord symbols over the bars: which stand where, and how they are printed."""

import re
from fractions import Fraction
from math import ceil
from operator import attrgetter

from midiforge.frozen import frozen
from midiforge.model.band import NO_CHORD
from midiforge.model.exercise import Exercise

_SHARP, _FLAT = "♯", "♭"
# A "b" after the letter of a root or bass, or before a number; elsewhere it is a letter.
_TYPED_FLAT = re.compile(r"(?:(?<=^[A-G])|(?<=/[A-G]))b|b(?=\d)")


@frozen
class ChordSign:
    """A chord in a bar.

    time: from the bar line, in quarter notes.
    symbol: as typed; "" for no chord.
    goes_on: whether it is the chord that sounds already, so that it is printed only where a
        reader's eye begins anew.
    """

    time: Fraction
    symbol: str
    goes_on: bool = False

    @property
    def text(self) -> str:
        """As it is printed: with flat and sharp signs."""
        return printed(self.symbol)


def printed(symbol: str) -> str:
    """A chord symbol with flat and sharp signs: "Bb7#9" as "B♭7♯9"; "N.C." for no chord."""
    return _TYPED_FLAT.sub(_FLAT, symbol.replace("#", _SHARP)) or NO_CHORD


def chord_signs(exercise: Exercise) -> list[tuple[ChordSign, ...]]:
    """The chords of every bar of an exercise, in order of time."""
    bar = exercise.meter.bar
    bars: list[list[ChordSign]] = [[] for _ in range(exercise.bars)]
    before, until = "", Fraction(-1)
    for mark in sorted(exercise.chords, key=attrgetter("time")):
        if mark.length <= 0:
            continue
        same = mark.time == until and mark.symbol == before
        before, until = mark.symbol, mark.time + mark.length
        for number in range(int(mark.time // bar), min(ceil(until / bar), exercise.bars)):
            time = max(mark.time - number * bar, Fraction(0))
            began_before = number * bar > mark.time
            if time == 0 or not same:
                sign = ChordSign(time, mark.symbol, goes_on=same or began_before)
                bars[number].append(sign)
    return [*map(tuple, bars)]
