"""The part of an exercise that comes round again, and what the player does in it."""

from collections.abc import Iterator
from fractions import Fraction

from midiforge.frozen import frozen
from midiforge.model.exercise import Exercise
from midiforge.model.hit import FEET, HANDS, Hit, Limb

LIMBS: tuple[Limb, ...] = (*HANDS, *FEET)

_PLACE = {limb: place for place, limb in enumerate(LIMBS)}


@frozen
class Moment:
    """What the player strikes at one time; `hits` in the order of `LIMBS`."""

    time: Fraction
    hits: tuple[Hit, ...]

    @property
    def limbs(self) -> tuple[Limb, ...]:
        return tuple(hit.limb for hit in self.hits if hit.limb is not None)

    @property
    def hands(self) -> tuple[Limb, ...]:
        return tuple(limb for limb in self.limbs if limb.is_hand)

    @property
    def feet(self) -> tuple[Limb, ...]:
        return tuple(limb for limb in self.limbs if limb.is_foot)


@frozen
class Loop:
    """One time round.

    start, length: in quarter notes from the exercise's first downbeat.
    moments: in order of time, `start` <= time < `start + length`; what follows the last is the
        first again.
    """

    start: Fraction
    length: Fraction
    moments: tuple[Moment, ...]

    @property
    def hits(self) -> Iterator[Hit]:
        for moment in self.moments:
            yield from moment.hits

    @property
    def hand_strokes(self) -> tuple[tuple[Limb, ...], ...]:
        """The hands that strike, one stroke after the other; both where they strike together.

        Grace notes are one stroke of their hand, just before the stroke they lead to.
        """
        found: list[tuple[Limb, ...]] = []
        for moment in self.moments:
            leading = (hit.ornament for hit in moment.hits)
            grace = dict.fromkeys(each.limb for each in leading if each and each.grace_notes)
            found += (tuple(filter(None, grace)), moment.hands)
        return tuple(filter(None, found))

    def of(self, limb: Limb) -> tuple[Hit, ...]:
        """The strokes of one limb, in order of time."""
        return tuple(hit for hit in self.hits if hit.limb is limb)


def loop_of(exercise: Exercise) -> Loop:
    """One time round an exercise, the player's strokes only.

    What the player answers in bars left to them counts like what is written. An exercise
    written several times over (repeats, gaps of the click, a ramp of tempos) is read once, so
    that facts do not depend on how often it is written. A late entry is left out: the loop
    begins where the seam leads back to.
    """
    start, length = exercise.loop_start, exercise.loop_length
    once = exercise.returns_after_bars * exercise.meter.bar
    if 0 < once < length and (length / once).denominator == 1:
        length = once
    at: dict[Fraction, list[Hit]] = {}
    for hit in (*exercise.hits, *exercise.answers):
        if hit.limb is not None and start <= hit.time < start + length:
            at.setdefault(hit.time, []).append(hit)
    moments = (
        Moment(time, tuple(sorted(at[time], key=lambda hit: _PLACE[hit.limb or Limb.LEFT_FOOT])))
        for time in sorted(at)
    )
    return Loop(start, length, tuple(moments))
