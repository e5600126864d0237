"""How many exercises a drill can come to, and how many are too many."""

from collections.abc import Iterator, Mapping
from math import prod

from midiforge.drill.drill import Drill
from midiforge.errors import MidiforgeError
from midiforge.moves import MOVES
from midiforge.moves.grid import own_steps
from midiforge.moves.move import Material

MOST = 100_000


def most_exercises(drill: Drill) -> int:
    """As many as its moves multiply to, before any that come out the same are left out."""
    return most_pieces(drill) * (1 if drill.ramp else len(drill.tempos))


def most_pieces(drill: Drill) -> int:
    """The same, an exercise at all its tempos being one.

    Raises MidiforgeError for a placement that the drill's bar does not have.
    """
    if drill.running:
        return len(drill.running)
    try:
        variants = sum(times * prod(many.values()) for times, many in _ways(drill))
    except MidiforgeError as error:
        raise error.within(drill.source) from None
    return max(1, variants) * len(drill.stages)


def check_size(drill: Drill) -> None:
    """Raises MidiforgeError, naming the keys that make them, if a drill comes to more exercises
    than `MOST`."""
    many = most_exercises(drill)
    if many > MOST:
        most = max((ways for _, ways in _ways(drill)), key=lambda ways: prod(ways.values()))
        keys = {
            "sticking": sum(times for times, _ in _ways(drill)),
            **most,
            "steps": len(drill.steps),
            "stages": len(drill.stages),
            "tempos": 1 if drill.ramp else len(drill.tempos),
        }
        by = sorted(keys.items(), key=lambda key: -key[1])
        said = ", ".join(f"{key} {count:,}" for key, count in by if count > 1)
        raise MidiforgeError(
            f"the drill comes to {many:,} exercises", hint=f"up to {MOST:,}: {said}"
        )


def _ways(drill: Drill) -> Iterator[tuple[int, Mapping[str, int]]]:
    """How many stickings, on a grid, and how many ways each move has with each of them."""
    sizes = [(each.steps, len(each.phrase), 1) for each in drill.stickings]
    if drill.every:
        sizes.append((0, drill.every.strokes, sum(1 for _ in drill.every.words())))
    for wish, size, times in sizes:
        for steps in drill.steps or (own_steps(drill.meter, wish),):
            material = Material(drill.meter, "", "", None, size, steps, drill.feet)
            ways: dict[str, int] = {}
            for move in MOVES:
                if move.name != "grid":
                    ways |= move.many(material, drill.moves[move.name])
            yield times, ways
