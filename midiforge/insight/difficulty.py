"""From easy to hard: a score made of named parts.

A rule of thumb of our own, built from published or common measures; it ranks what one drill
makes, and does not claim to measure how hard something is for a person. Every part is 0 or more
and never lowers the score, so adding a difficulty can only move an exercise up:

    score = sum over PARTS of weight * value

    part          value
    combinations  different sets of limbs that strike together, beyond the first
                  (R, L, R+K are three, so 2; common practice: how many must be learnt)
    crossing      strokes of the feet between two hand strokes, not with one, as a share of all
                  strokes of the feet; 0 without hands or feet
    syncopation   mean of a bar, over the accents of the hands and each foot
                  (Longuet-Higgins and Lee 1984, see `syncopation`); a foot that keeps to the
                  beats counts 0 and one whose strokes are evenly spaced at most 1 (common
                  practice: both go by themselves); moved feet count no less than at home
    moved feet    1 if the feet begin late and do not come out the same; else 0
    run           strokes of the longest run in one hand beyond the first, up to 4; 0 if only
                  one hand plays; grace notes are one stroke of their hand before the main one
    doubles       hand strokes, grace notes as in a run, that follow one of the same hand, as a
                  share; 0 if only one plays
    grace notes   hand strokes with a flam, drag, ruff or buzz, as a share
    two grids     strokes off the exercise's grid, as a share (three against four)
    cycle         how often the bars until everything returns can be halved (log2)
    speed         the fastest limb against its limit: the larger of sustained and peak rate,
                  each divided by `LIMITS`; the only part that the tempo changes

The weights bring each part to a like size in ordinary exercises. Equal scores keep their order.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from fractions import Fraction
from itertools import pairwise
from math import log2
from typing import TypeVar

from midiforge.frozen import frozen
from midiforge.insight.demands import LIMITS, Demands, demands
from midiforge.insight.loop import Loop, loop_of
from midiforge.insight.syncopation import ACCENTS, Syncopation, syncopation, syncopations
from midiforge.model.exercise import Exercise
from midiforge.model.hit import FEET, Limb
from midiforge.model.meter import Meter
from midiforge.model.spelling import together
from midiforge.printable import listed

T = TypeVar("T")

LONGEST_RUN_COUNTED = 4

# name -> weight
PARTS: dict[str, float] = {
    "combinations": 1.0,
    "crossing": 4.0,
    "syncopation": 0.5,
    "moved feet": 2.0,
    "run": 1.0,
    "doubles": 2.0,
    "grace notes": 3.0,
    "two grids": 6.0,
    "cycle": 0.5,
    "speed": 4.0,
}


@frozen
class Part:
    """One named part of a score.

    value: as the table above defines it.
    points: what it adds to the score, the value times its weight.
    why: in words, for the player; "" where the value is 0.
    """

    name: str
    value: float
    points: float
    why: str


@frozen
class Difficulty:
    """A score from easy (0) to hard, without an upper end, and its parts by name, in the table's
    order."""

    score: float
    parts: Mapping[str, Part]

    @property
    def hardest(self) -> tuple[Part, ...]:
        """The parts that add to the score, those that add most first."""
        adding = [part for part in self.parts.values() if part.points > 0]
        return tuple(sorted(adding, key=lambda part: -part.points))


def difficulty(
    exercise: Exercise,
    asked: Demands | None = None,
    off_beat: Syncopation | None = None,
    loop: Loop | None = None,
) -> Difficulty:
    """How hard an exercise is, by the rule of thumb above.

    asked, off_beat, loop: its demands, its syncopation and one time round it, if already known.
    """
    loop = loop or loop_of(exercise)
    asked = asked or demands(exercise, loop)
    off_beat = off_beat or syncopation(exercise, loop)
    values = (
        _combinations(loop),
        _crossing(loop),
        _off_beat(loop, exercise, off_beat),
        _moved_feet(loop, exercise),
        _run(asked),
        _doubles(loop, asked),
        _grace_notes(loop),
        _two_grids(loop, exercise.step),
        _cycle(exercise),
        _speed(asked),
    )
    parts = {
        name: Part(name, value, value * weight, why if value > 0 else "")
        for (name, weight), (value, why) in zip(PARTS.items(), values, strict=True)
    }
    return Difficulty(sum(part.points for part in parts.values()), parts)


def easiest_first(materials: Iterable[T], full: Callable[[T], Exercise | None]) -> list[T]:
    """The materials from easy to hard; those equally hard keep their order.

    full: the exercise to judge a material by, None for one that has nothing to play (easiest).
    """

    def score(material: T) -> float:
        exercise = full(material)
        return difficulty(exercise).score if exercise else 0.0

    return sorted(materials, key=score)


def _combinations(loop: Loop) -> tuple[float, str]:
    sets = dict.fromkeys(moment.limbs for moment in loop.moments)
    names = map(together, sets)
    return max(len(sets) - 1, 0), f"{len(sets)} combinations of limbs ({', '.join(names)})"


def _crossing(loop: Loop) -> tuple[float, str]:
    strokes = sum(len(moment.feet) for moment in loop.moments)
    if not strokes or not any(moment.hands for moment in loop.moments):
        return 0, ""
    alone = sum(len(moment.feet) for moment in loop.moments if not moment.hands)
    return alone / strokes, f"{alone} of {strokes} foot strokes fall between the hands"


def _off_beat(loop: Loop, exercise: Exercise, off_beat: Syncopation) -> tuple[float, str]:
    total, names = Fraction(0), []
    for line in off_beat.lines:
        here = home = Fraction(0)
        if line.name == ACCENTS:
            here = line.per_bar
        elif line.limb in FEET:
            times, at_home = _here_and_at_home(loop, exercise, line.limb)
            here = _of_a_foot(times, exercise.meter, loop.length, line.per_bar)
            home = here if times == at_home else _of_a_foot(at_home, exercise.meter, loop.length)
        total += max(here, home)
        names += [line.name] if here else []
    return float(total), f"syncopation of {listed(names) or 'the feet at home'}"


def _of_a_foot(
    times: Sequence[Fraction], meter: Meter, length: Fraction, per_bar: Fraction | None = None
) -> Fraction:
    """What a foot's syncopation counts in a bar; times are from the loop's start, in order.

    per_bar: its syncopation, if already known.
    """
    if all(time % meter.bar in meter.beats for time in times):
        return Fraction(0)
    if per_bar is None:
        total = sum(strength for _, strength in syncopations(times, meter, length))
        per_bar = total / (length / meter.bar)
    gaps = {later - earlier for earlier, later in pairwise((*times, times[0] + length))}
    return min(per_bar, Fraction(1)) if len(gaps) == 1 else per_bar


def _here_and_at_home(
    loop: Loop, exercise: Exercise, limb: Limb
) -> tuple[list[Fraction], list[Fraction]]:
    """When a foot strikes from the loop's start, and when it would if the feet were not moved."""
    late = _late(exercise) * exercise.step
    here = [hit.time - loop.start for hit in loop.of(limb)]
    return here, sorted((time - late) % loop.length for time in here)


def _late(exercise: Exercise) -> int:
    """Grid steps by which the feet start later."""
    late = exercise.variant.moved("feet placement").value
    return late if isinstance(late, int) else 0


def _moved_feet(loop: Loop, exercise: Exercise) -> tuple[float, str]:
    late = _late(exercise)
    feet = (_here_and_at_home(loop, exercise, limb) for limb in FEET)
    moved = any(here != home for here, home in feet)
    return int(moved), f"feet begun {late} {'step' if late == 1 else 'steps'} late"


def _run(asked: Demands) -> tuple[float, str]:
    if asked.endless or asked.run_hand is None:
        return 0, ""
    value = min(asked.longest_run - 1, LONGEST_RUN_COUNTED)
    return value, f"{asked.longest_run} in a row with the {asked.run_hand.title}"


def _doubles(loop: Loop, asked: Demands) -> tuple[float, str]:
    hands = loop.hand_strokes
    if asked.endless or not hands:
        return 0, ""
    pairs = zip([*hands[-1:], *hands[:-1]], hands, strict=True)
    again = sum(not set(before).isdisjoint(after) for before, after in pairs)
    graced = any(demand.grace_notes for demand in asked.limbs)
    strokes = "hand strokes and grace notes" if graced else "hand strokes"
    return again / len(hands), f"{again} of {len(hands)} {strokes} repeat the hand"


def _grace_notes(loop: Loop) -> tuple[float, str]:
    hits = [hit for hit in loop.hits if hit.limb is not None and hit.limb.is_hand]
    if not hits:
        return 0, ""
    adorned = [hit.ornament.kind.value for hit in hits if hit.ornament]
    kinds = [f"{kind}s" if kind != "buzz" else "buzzes" for kind in dict.fromkeys(adorned)]
    share = len(adorned) / len(hits)
    return share, f"{listed(kinds)} on {len(adorned)} of {len(hits)} hand strokes"


def _two_grids(loop: Loop, step: Fraction) -> tuple[float, str]:
    limbs = [
        (limb, (moment.time / step).denominator > 1)
        for moment in loop.moments
        for limb in moment.limbs
    ]
    off = [limb.title for limb, is_off in limbs if is_off]
    names = listed(list(dict.fromkeys(off)))
    return (len(off) / len(limbs) if limbs else 0), f"{names} on a grid of its own"


def _cycle(exercise: Exercise) -> tuple[float, str]:
    bars = exercise.returns_after_bars
    return log2(bars) if bars > 1 else 0, f"repeats only every {bars} bars"


def _speed(asked: Demands) -> tuple[float, str]:
    best: tuple[Fraction, str] = (Fraction(0), "")
    for demand in asked.limbs:
        limit, who = LIMITS[demand.limb], demand.limb.title
        sustained, peak = demand.sustained / limit.sustained, demand.peak / limit.peak
        if sustained > best[0]:
            best = (sustained, f"{who} keeps up {float(demand.sustained):.1f} strokes a second")
        if peak > best[0]:
            best = (peak, f"{who} at up to {float(demand.peak):.1f} strokes a second")
    return float(best[0]), best[1]
