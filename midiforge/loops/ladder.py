"""A ladder: one loop at rising tempos, in one long track."""

from collections.abc import Sequence
from fractions import Fraction
from math import ceil

from midiforge.errors import MidiforgeError
from midiforge.model.exercise import Exercise
from midiforge.model.piece import Section, SectionKind
from midiforge.model.rounds import unrolled
from midiforge.model.tempo import TempoMap, plain

MOST_BARS = 4096  # of a whole ladder


def ladder(
    exercise: Exercise, tempos: Sequence[Fraction], bars: int = 0, minutes: float = 0
) -> Exercise:
    """The loop at each tempo in turn, for at least `bars` bars each, whole times round.

    exercise: a bare loop. tempos: pulses a minute. minutes: how long all of it lasts at least.
    Raises MidiforgeError if it would have too many bars.
    """
    once = sum(60 * exercise.length / (tempo * exercise.tempo.pulse) for tempo in tempos)
    rounds = max(1, ceil(bars / exercise.bars), ceil(Fraction(str(minutes)) * 60 / once))
    if rounds * exercise.bars * len(tempos) > MOST_BARS:
        raise MidiforgeError(
            f"the ladder would have {rounds * exercise.bars * len(tempos):,} bars",
            hint=f"up to {MOST_BARS:,}; fewer tempos, bars or minutes",
        )
    step = rounds * exercise.bars * exercise.meter.bar
    whole = unrolled(exercise, rounds * len(tempos))
    return whole.changed(
        tempo=TempoMap(whole.tempo.pulse, tuple((i * step, t) for i, t in enumerate(tempos))),
        sections=tuple(
            Section(SectionKind.TEMPO, f"{plain(t)} bpm", i * step, step)
            for i, t in enumerate(tempos)
        ),
    )
