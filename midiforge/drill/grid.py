"""How many grid steps to a beat, where a drill does not say."""

from midiforge.drill.values import MOST_STEPS
from midiforge.model.meter import Meter


def own_steps(meter: Meter, wish: int) -> int:
    """Grid steps to a beat for a sticking that is usually written in `wish` to a quarter note.

    What is in threes is at home in dotted beats: triplets become their eighths, sextuplets their
    sixteenths. Sixteenths for no wish, or if none fits.
    """
    if meter.is_compound and wish and wish % 3 == 0:
        return wish
    for each in (wish or 4, 2 * wish, 4):
        found = meter.beat * each
        if found.denominator == 1 and 1 <= found <= MOST_STEPS:
            return int(found)
    return 1
