"""How slow a drill may be: as slow as a MIDI file can say."""

from fractions import Fraction
from math import ceil

from midiforge.errors import MidiforgeError
from midiforge.model.meter import Meter
from midiforge.model.tempo import plain

_LONGEST_QUARTER = Fraction(0xFFFFFF, 1_000_000)  # seconds; three bytes of microseconds


def fast_enough(tempos: tuple[Fraction, ...], meter: Meter) -> tuple[Fraction, ...]:
    """The tempos, if a MIDI file can say how long a quarter note lasts: below 16.8 seconds."""
    for tempo in tempos:
        if 60 / (tempo * meter.pulse) > _LONGEST_QUARTER:
            raise MidiforgeError(
                f"{plain(tempo)} {meter.pulse_name} notes a minute is too slow for a MIDI file",
                hint=f"{slowest_tempo(meter)} or more",
            )
    return tempos


def slowest_tempo(meter: Meter) -> int:
    """The slowest whole tempo that a MIDI file can hold in a meter."""
    return ceil(60 / (_LONGEST_QUARTER * meter.pulse))
