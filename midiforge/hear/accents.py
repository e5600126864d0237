"""Which of several exercises a take is of whose strokes are the same, or as like it: by how hard
the strokes are over the whole take, pad by pad.

An exercise tells the velocities the better, the less they differ among its accents, among its
taps and among its ghost notes. What that is worth is Schwarz's criterion (G. Schwarz, Estimating
the dimension of a model, Ann. Statist. 6, 1978), so that an exercise with accents is not likelier
only because it has more to say; from 10 on a difference is called very strong (R. E. Kass and
A. E. Raftery, Bayes factors, J. Am. Stat. Assoc. 90, 1995).
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from math import log
from statistics import fmean

from midiforge.errors import MidiforgeError
from midiforge.frozen import frozen
from midiforge.hear.asked import kept
from midiforge.hear.expected import Due, expected
from midiforge.hear.review import review
from midiforge.hear.take import Take
from midiforge.kits.kit import Kit
from midiforge.model.exercise import Exercise
from midiforge.model.hit import Hit, Strength

VERY_STRONG = 10.0
# What a stroke that is not as written counts against an exercise, and what counts for one whose
# tempo is the one that was played: either alone decides; ours.
A_STROKE, ITS_TEMPO = 5.0, 15.0
SAME_TEMPO = 0.02  # as a share; nobody keeps another exercise's tempo as closely by accident; ours
_EVEN = 0.05  # a deviation of velocities, as a share, that nobody's is below; ours
_ROUNDS = 8  # until levels and effects fit each other
_COMPARED = 20.0  # seconds by which exercises are the same
_MOST_KEPT = 1000  # exercises whose strokes are kept
_ORDER = (Strength.GHOST, Strength.TAP, Strength.ACCENT)

Strokes = tuple[tuple[float, str, str], ...]


@kept(_MOST_KEPT)
def strokes(exercise: Exercise, kit: Kit) -> Strokes:
    """What is struck when, in quarter notes, and how it is decorated, but not how hard: the same
    of exercises that differ in hands on one pad, or in accents, alone."""
    quarter = float(exercise.tempo.quarter(Fraction(1)))
    return tuple(
        (round(due.time / quarter, 4), due.pad, _ornaments(due))
        for due in expected(exercise, kit, _COMPARED * quarter)
    )


def _ornaments(due: Due) -> str:
    ornaments = [hit.ornament for hit in due.hits if hit.ornament]
    return ",".join(sorted(f"{each.kind} {each.grace_notes}" for each in ornaments))


@frozen
class Played:
    """What a take has of an exercise's strokes, whoever plays them and however hard.

    velocities: by when they are due, and pad. faults: how many strokes are not as written.
    tempo: pulses a minute. last: when the last is due.
    """

    velocities: Mapping[tuple[float, str], int]
    faults: int
    tempo: float
    last: float


def played(take: Take, exercise: Exercise, kit: Kit) -> Played | None:
    """None for a take that has nothing of it."""

    def plain(hits: Iterable[Hit]) -> tuple[Hit, ...]:
        return tuple(replace(hit, strength=Strength.TAP) for hit in hits)

    changed = exercise.changed(hits=plain(exercise.hits), answers=plain(exercise.answers))
    try:
        found = review(take, changed, kit)
    except MidiforgeError:
        return None
    hits = [each for each in found.judged if each.kind == "hit" and each.due and each.velocity]
    tally = found.tally
    return Played(
        {(each.due.time, each.due.pad): each.velocity or 0 for each in hits if each.due},
        tally.expected - tally.hit + tally.extra + tally.added,
        found.played_tempo,
        max((each.due.time for each in hits if each.due), default=0.0),
    )


def gain(of: Played, exercise: Exercise, kit: Kit) -> float:
    """How much better the velocities are told by the exercise than by each pad's own level alone.

    Told by the level of each pad and by how much louder accents, and softer ghost notes, are than
    taps, which is one on all pads: who has accents on one drum and not on the other plays those.
    """
    cells: dict[tuple[str, Strength], list[float]] = defaultdict(list)
    for due in expected(exercise, kit, of.last + 1e-6):
        velocity = of.velocities.get((due.time, due.pad))
        if velocity is not None:
            strength = max((hit.strength for hit in due.hits), key=_ORDER.index)
            cells[due.pad, strength].append(log(velocity))
    strengths = {strength for _, strength in cells}
    count = sum(map(len, cells.values()))
    cost = (len(strengths) - 1) * log(count or 1)
    effects = dict.fromkeys(_ORDER, 0.0)
    alone = _unexplained(cells, effects)
    for _ in range(_ROUNDS):
        levels = _levels(cells, effects)
        for strength in strengths - {Strength.TAP}:
            effects[strength] = _mean(
                (len(some), fmean(some) - levels[pad])
                for (pad, other), some in cells.items()
                if other is strength
            )
    if not effects[Strength.GHOST] <= 0 <= effects[Strength.ACCENT]:
        return -cost
    even = count * _EVEN**2
    return count * log((alone + even) / (_unexplained(cells, effects) + even)) - cost


Cells = Mapping[tuple[str, Strength], Sequence[float]]


def _levels(cells: Cells, effects: Mapping[Strength, float]) -> dict[str, float]:
    """The level of each pad, accents and ghost notes taken for taps."""
    by_pad: dict[str, list[tuple[int, float]]] = defaultdict(list)
    for (pad, strength), some in cells.items():
        by_pad[pad].append((len(some), fmean(some) - effects[strength]))
    return {pad: _mean(parts) for pad, parts in by_pad.items()}


def _mean(parts: Iterable[tuple[int, float]]) -> float:
    """Of means of so many values each."""
    parts = [*parts]
    return sum(times * value for times, value in parts) / sum(times for times, _ in parts)


def _unexplained(cells: Cells, effects: Mapping[Strength, float]) -> float:
    levels = _levels(cells, effects)
    return sum(
        (value - levels[pad] - effects[strength]) ** 2
        for (pad, strength), some in cells.items()
        for value in some
    )
