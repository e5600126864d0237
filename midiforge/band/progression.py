"""A chord progression: bars of chords that go round."""

from fractions import Fraction
from typing import NamedTuple

from midiforge.band.chord import Chord, read_chord
from midiforge.errors import MidiforgeError
from midiforge.frozen import frozen
from midiforge.model.meter import Meter

MOST_BARS = 256
_REPEAT = "%"  # the bar before once more, as it is written by hand
_GOES_ON = (_REPEAT, "/")  # within a bar: the chord before for its share of the beats


class Change(NamedTuple):
    """A chord from its first moment, in quarter notes; None for no chord."""

    time: Fraction
    chord: Chord | None
    symbol: str


@frozen
class Progression:
    """Chords that go round.

    bars: how many, of `bar` quarter notes. changes: from time 0 on, rising.
    """

    bars: int
    bar: Fraction
    changes: tuple[Change, ...]

    @property
    def length(self) -> Fraction:
        return self.bars * self.bar


def read_progression(text: str, meter: Meter) -> Progression:
    """A progression from chord symbols, bars divided by |, such as "Dm7 | G7 | Cmaj7 | % ".

    Several chords in a bar share its beats as evenly as they can, the earlier ones longer; %
    repeats the bar before, within a bar % or / goes on with the chord before; N.C. is no chord.
    Raises MidiforgeError that names bar and chord.
    """
    if ":" in text:
        raise MidiforgeError(
            "repeat signs are not read", hint="the whole goes round; write out what comes twice"
        )
    bars = [part.split() for part in text.strip().strip("|").split("|")]
    if not any(bars):
        raise MidiforgeError("there are no chords", hint="such as 'Dm7 | G7 | Cmaj7 | A7'")
    if len(bars) > MOST_BARS:
        raise MidiforgeError(f"the progression has {len(bars)} bars", hint=f"up to {MOST_BARS}")
    changes: list[Change] = []
    before: list[str] = []
    for number, symbols in enumerate(bars, start=1):
        place = f"bar {number}"
        if symbols == [_REPEAT]:
            if not before:
                raise MidiforgeError("there is no bar before to repeat", place)
            symbols = before
        if not symbols:
            raise MidiforgeError("the bar is empty", place, hint="% repeats the bar before")
        beats = meter.beats
        if len(symbols) > len(beats):
            raise MidiforgeError(
                f"{len(symbols)} chords in a bar of {len(beats)} beats",
                place,
                hint="at most one a beat",
            )
        before = symbols
        for i, symbol in enumerate(symbols):
            if symbol in _GOES_ON and changes:
                continue
            beat = -(-i * len(beats) // len(symbols))
            try:
                chord = read_chord(symbol)
            except MidiforgeError as error:
                raise error.within(place) from None
            time = (number - 1) * meter.bar + beats[beat]
            changes.append(Change(time, chord, symbol if chord else ""))
    return Progression(len(bars), meter.bar, tuple(changes))
