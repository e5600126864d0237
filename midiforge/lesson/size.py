"""How many exercises a drill can come to."""

from midiforge.drill.drill import Drill
from midiforge.drill.grid import own_steps
from midiforge.drill.values import resolve_places


def most_exercises(drill: Drill) -> int:
    """As many as its axes multiply to, before any that come out the same are dropped."""
    meter = drill.meter
    variants = 0
    for sticking in drill.material():
        for steps in drill.steps or (own_steps(meter, sticking.steps),):
            step, size = meter.beat / steps, len(sticking.phrase)
            count = len(drill.directions) * len(drill.leads) * len(drill.accents)
            for places in (drill.placements, drill.feet_placements, drill.accent_placements):
                if places is not None:
                    count *= len(resolve_places(places, meter, step, size))
            variants += count
    tempos = 1 if drill.ramp else len(drill.tempos)
    return max(1, variants) * len(drill.stages) * tempos
