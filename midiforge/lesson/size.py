"""How many exercises a drill can come to, and how many are too many."""

from collections.abc import Iterator

from midiforge.drill.drill import Drill
from midiforge.drill.grid import own_steps
from midiforge.errors import MidiforgeError
from midiforge.lesson.variants import resolved


def most_exercises(drill: Drill) -> int:
    """As many as its axes multiply to, before any that come out the same are dropped."""
    return most_pieces(drill) * (1 if drill.ramp else len(drill.tempos))


MOST = 100_000


def check_size(drill: Drill) -> None:
    """Raises MidiforgeError, naming the keys that make them, if a drill comes to more exercises
    than `MOST`."""
    many = most_exercises(drill)
    if many > MOST:
        by = sorted(_factors(drill).items(), key=lambda factor: -factor[1])
        keys = ", ".join(f"{key} {count:,}" for key, count in by if count > 1)
        raise MidiforgeError(
            f"the drill comes to {many:,} exercises", hint=f"up to {MOST:,}: {keys}"
        )


def _factors(drill: Drill) -> dict[str, int]:
    """How many each key makes at most; their product is about what the drill comes to."""
    sizes = list(_phrases(drill))
    wish, size = max(sizes, key=lambda each: each[1], default=(0, 1))
    step = drill.meter.beat / max(drill.steps or (own_steps(drill.meter, wish),))
    places = {
        "placements": drill.placements,
        "feet_placements": drill.feet_placements,
        "accent_placements": drill.accent_placements,
    }
    return {
        "sticking": len(sizes),
        "steps": len(drill.steps),
        "direction": len(drill.directions),
        "lead": len(drill.leads),
        "accents": len(drill.accents),
        "stages": len(drill.stages),
        "tempos": 1 if drill.ramp else len(drill.tempos),
        **{key: len(resolved(drill, p, step, size, key)) for key, p in places.items() if p},
    }


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
