"""How many grid steps to a beat, where a drill does not say."""

from midiforge.drill.drill import Sticking
from midiforge.drill.values import MOST_STEPS
from midiforge.model.meter import Meter


def usual_steps(meter: Meter, stickings: tuple[Sticking, ...]) -> int:
    """Grid steps to a beat where the drill names none: the first sticking's, or sixteenths."""
    wish = stickings[0].steps if stickings else 0
    return own_steps(meter, wish)


def own_steps(meter: Meter, wish: int) -> int:
    """Grid steps to a beat nearest to `wish` to a quarter note; sixteenths for no wish."""
    found = meter.beat * (wish or 4)
    if found.denominator == 1 and 1 <= found <= MOST_STEPS:
        return int(found)
    sixteenths = meter.beat * 4
    return int(sixteenths) if 1 <= sixteenths <= MOST_STEPS else 1
