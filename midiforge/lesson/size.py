"""How much a drill comes to: exercises, and the parts of a quarter note that they need."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from fractions import Fraction
from math import lcm, prod

from midiforge.drill.drill import Drill
from midiforge.errors import MidiforgeError, within
from midiforge.model.swing import Swing
from midiforge.moves import MOVES
from midiforge.moves.grid import own_steps
from midiforge.moves.move import Material
from midiforge.phrase.cycle import meet
from midiforge.phrase.pattern import Line

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
    with within(drill.source):
        variants = sum(times * prod(many.values()) for times, many in _ways(drill))
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
    sizes = [(sticking.steps, len(sticking.phrase), 1) for sticking in drill.stickings]
    if drill.every:
        sizes.append((0, drill.every.strokes, sum(1 for _ in drill.every.words())))
    for wish, size, times in sizes:
        for steps in drill.steps or (own_steps(drill.meter, wish),):
            material = Material(drill.meter, steps, drill.feet, size=size)
            ways: dict[str, int] = {}
            for move in MOVES:
                ways |= move.many(material, drill.moves[move.name])
            yield times, ways


def grids(drill: Drill) -> tuple[int, ...]:
    """The grids that a drill's stickings are on, each in steps to a beat."""
    wishes = [sticking.steps for sticking in drill.stickings]
    if drill.every or not wishes:
        wishes.append(0)
    return drill.steps or tuple(dict.fromkeys(own_steps(drill.meter, wish) for wish in wishes))


def parts_of_a_quarter(drill: Drill) -> int:
    """Into how many equal parts a quarter note must be divided for every time of the drill's
    exercises, as played with its swing, to fall on a whole part."""
    lines: list[Line] = [*drill.feet, *drill.layers]
    lines += [line for stage in drill.stages for line in stage.groove]
    lines += drill.band.lines
    style = drill.band.style
    figures = (style.bass, style.comp) if style else ()
    parts = drill.meter.bar.denominator
    for step in {drill.meter.beat / steps for steps in grids(drill)}:
        swing = replace(drill.feel, bar=Fraction(0))
        times = {step, *drill.meter.beats}
        # Feet moved by whole grid steps may fall between the steps of their own grid.
        times |= {time for line in lines for time, _ in line.pattern.strokes}
        times |= {figure.step for figure in figures}
        finest = lcm(*(time.denominator for time in times))
        parts = lcm(parts, finest)
        if not swing.is_straight:
            parts = lcm(parts, _swung(Fraction(1, finest), swing))
    return parts


def _swung(unit: Fraction, swing: Swing) -> int:
    pairs = meet(unit, swing.pair)
    return lcm(*(swing.played(i * unit).denominator for i in range(int(pairs / unit))))
