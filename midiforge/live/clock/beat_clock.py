"""MIDI beat clock: 24 clocks a quarter note, start, stop, continue and song position.

MIDI 1.0 Detailed Specification, System Real Time and Song Position Pointer messages.
"""

from collections.abc import Iterator
from fractions import Fraction
from math import ceil

from midiforge.midi.message import SONG_POSITION

CLOCKS = 24  # a quarter note
SIXTEENTH = CLOCKS // 4  # what song positions are counted in

_MOST_SIXTEENTHS = 0x3FFF


def clocks_in(position: Fraction, length: Fraction) -> Iterator[float]:
    """Where clocks fall in a stretch of `length` quarter notes that begins `position` quarter
    notes after the first clock, in quarter notes from the stretch's beginning."""
    number = ceil(position * CLOCKS)
    while Fraction(number, CLOCKS) < position + length:
        yield float(Fraction(number, CLOCKS) - position)
        number += 1


def song_position(position: Fraction) -> bytes:
    """The message for a place in the song, in quarter notes: sixteenths in 14 bits."""
    sixteenths = int(position * 4) & _MOST_SIXTEENTHS
    return SONG_POSITION + bytes((sixteenths & 0x7F, sixteenths >> 7))
