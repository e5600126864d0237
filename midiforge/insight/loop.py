"""The part of an exercise that comes round again: what the player strikes in it, and together."""

from collections.abc import Iterable, Iterator
from fractions import Fraction

from midiforge.frozen import frozen
from midiforge.model.counts import place_name
from midiforge.model.exercise import Exercise
from midiforge.model.hit import FEET, HANDS, Hit, Limb
from midiforge.model.spelling import together

_PLACE = {limb: place for place, limb in enumerate(Limb)}


@frozen
class Moment:
    """What the player strikes at one time; `hits` in the order of limbs, hands first."""

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
        strokes: list[tuple[Limb, ...]] = []
        for moment in self.moments:
            ornaments = (hit.ornament for hit in moment.hits if hit.ornament)
            grace = dict.fromkeys(before.limb for before in ornaments if before.grace_notes)
            strokes += (tuple(filter(None, grace)), moment.hands)
        return tuple(filter(None, strokes))

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


@frozen
class Meeting:
    """Limbs that strike together.

    time: in quarter notes from the exercise's first downbeat.
    bar: its bar, the first being 1.
    count: its place in the bar, as `place_name` has it.
    limbs: hands first.
    """

    time: Fraction
    bar: int
    count: str
    limbs: tuple[Limb, ...]

    @property
    def letters(self) -> str:
        """The limbs as a sticking writes them: "R+K"."""
        return together(self.limbs)


def meetings(exercise: Exercise, loop: Loop | None = None) -> tuple[Meeting, ...]:
    """The meetings of one time round, in order of time; see `loop_of`.

    loop: that, if already known.
    """
    meter, step = exercise.meter, exercise.step
    return tuple(
        Meeting(
            moment.time,
            int(moment.time // meter.bar) + 1,
            place_name(meter, step, moment.time),
            moment.limbs,
        )
        for moment in (loop or loop_of(exercise)).moments
        if len(moment.limbs) > 1
    )


def hands_and_feet(met: Iterable[Meeting]) -> dict[tuple[Limb, Limb], tuple[Meeting, ...]]:
    """For each hand and foot, where they meet; all four pairs, also those that never do."""
    table: dict[tuple[Limb, Limb], list[Meeting]] = {
        (hand, foot): [] for hand in HANDS for foot in FEET
    }
    for meeting in met:
        for hand, foot in table:
            if hand in meeting.limbs and foot in meeting.limbs:
                table[hand, foot].append(meeting)
    return {pair: tuple(places) for pair, places in table.items()}
