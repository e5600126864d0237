"""How many exercises a drill can come to."""

from collections.abc import Iterator

from midiforge.drill.drill import Drill
from midiforge.drill.grid import own_steps
from midiforge.errors import MidiforgeError
from midiforge.lesson.variants import resolved


def most_exercises(drill: Drill) -> int:
    """As many as its axes multiply to, before any that come out the same are dropped."""
    return most_pieces(drill) * (1 if drill.ramp else len(drill.tempos))


def most_pieces(drill: Drill) -> int:
    """The same, an exercise at all its tempos being one.

    Raises MidiforgeError for a placement that the drill's bar does not have.
    """
    if drill.running:
        return len(drill.running)
    meter = drill.meter
    variants = 0
    try:
        for wish, size in _phrases(drill):
            for steps in drill.steps or (own_steps(meter, wish),):
                step = meter.beat / steps
                count = len(drill.directions) * len(drill.leads) * len(drill.accents)
                count *= len(resolved(drill, drill.placements, step, size, "placements"))
                count *= len(resolved(drill, drill.feet_placements, step, size, "feet_placements"))
                if drill.accent_placements is not None:
                    places = drill.accent_placements
                    count *= len(resolved(drill, places, step, size, "accent_placements"))
                variants += count
    except MidiforgeError as error:
        raise error.within(drill.source) from None
    return max(1, variants) * len(drill.stages)


def _phrases(drill: Drill) -> Iterator[tuple[int, int]]:
    """For each sticking its wish for a grid, and its steps."""
    for sticking in drill.stickings:
        yield sticking.steps, len(sticking.phrase)
    if drill.every:
        for word in drill.every.words():
            yield 0, len(word)
