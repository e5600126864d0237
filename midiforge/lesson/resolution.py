"""How finely a lesson divides time."""

from dataclasses import replace
from fractions import Fraction
from math import lcm

from midiforge.drill.drill import Drill
from midiforge.model.swing import Swing
from midiforge.moves.grid import own_steps
from midiforge.phrase.cycle import meet
from midiforge.phrase.material import Line


def parts_of_a_quarter(drill: Drill) -> int:
    """Into how many equal parts a quarter note must be divided for every time of the drill's
    exercises, as played with its swing, to fall on a whole part."""
    wishes = {sticking.steps for sticking in drill.stickings} or {0}
    wishes |= {0} if drill.every else set()
    grids = drill.steps or tuple(own_steps(drill.meter, wish) for wish in wishes)
    lines: list[Line] = [*drill.feet, *drill.layers]
    lines += [line for stage in drill.stages for line in stage.groove]
    lines += drill.band.lines
    style = drill.band.style
    figures = (style.bass, style.comp) if style else ()
    parts = drill.meter.bar.denominator
    for step in {drill.meter.beat / each for each in grids}:
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
