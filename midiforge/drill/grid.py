"""How many grid steps to a beat, where a drill does not say."""

from midiforge.drill.values import MOST_STEPS
from midiforge.model.meter import Meter


def own_steps(meter: Meter, wish: int) -> int:
    """Grid steps to a beat for `wish` to a quarter note; sixteenths for no wish, or if none fit."""
    found = meter.beat * (wish or 4)
    if found.denominator == 1 and 1 <= found <= MOST_STEPS:
        return int(found)
    sixteenths = meter.beat * 4
    return int(sixteenths) if 1 <= sixteenths <= MOST_STEPS else 1
