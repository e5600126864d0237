"""Which limbs meet where: every moment at which two or more strike together."""

from collections.abc import Iterable
from fractions import Fraction

from midiforge.frozen import frozen
from midiforge.insight.loop import Loop, loop_of
from midiforge.insight.places import place_name
from midiforge.model.exercise import Exercise
from midiforge.model.hit import FEET, HANDS, Limb
from midiforge.model.spelling import together


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
    return {pair: tuple(each) for pair, each in table.items()}
