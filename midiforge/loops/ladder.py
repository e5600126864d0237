"""A ladder: one loop at rising tempos, in one long track."""

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from math import ceil

from midiforge.model.exercise import Exercise, Section
from midiforge.model.rounds import unrolled
from midiforge.model.tempo import TempoMap, plain


def ladder(exercise: Exercise, tempos: Sequence[Fraction], bars: int = 0) -> Exercise:
    """The loop at each tempo in turn, for at least `bars` bars each, whole times round.

    exercise: a bare loop. tempos: pulses a minute.
    """
    rounds = max(1, ceil(bars / exercise.bars))
    step = rounds * exercise.bars * exercise.meter.bar
    whole = unrolled(exercise, rounds * len(tempos))
    return replace(
        whole,
        tempo=TempoMap(whole.tempo.pulse, tuple((i * step, t) for i, t in enumerate(tempos))),
        sections=tuple(
            Section("tempo", f"{plain(t)} bpm", i * step, step) for i, t in enumerate(tempos)
        ),
    )
