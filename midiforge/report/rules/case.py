"""What every rule is asked about and gives, and what several share."""

from collections.abc import Sequence

from midiforge.frozen import frozen
from midiforge.hear.known import Known, Other
from midiforge.hear.review import Review
from midiforge.model.hit import HANDS, Limb
from midiforge.report.view import View

# Of a limb's strokes, or of all: common practice calls a take good from about 95 % on and sends
# a student back from about 90 % down.
MISSED, GOOD, LEAST_MISSED = 0.10, 0.95, 3
LOOSE = 1.6  # so many times the usual spread is a count's own
# How much more what is taught first counts than what is taught later, where both are as far over
# their limits: the right strokes, then in time, then well sounding. The order is common practice,
# the figures are ours.
STROKES, TIME, SOUND = 2.0, 1.25, 1.0
GENERAL = 0.4  # and what only sums up, beside what names a cause

# One thing that went wrong: anything that says which.
Fault = tuple[object, ...]


@frozen
class Finding:
    """What a rule has to say.

    text: one sentence: what happened, and behind a colon, where there is anything to do about it,
    what to work on. weight: how far it is over its limit, as a multiple, times `STROKES`,
    `TIME` or `SOUND`. explains: what went wrong that it tells the cause of.
    """

    text: str
    weight: float = 0.0
    explains: frozenset[Fault] = frozenset()

    @property
    def happened(self) -> str:
        """What happened, as a sentence of its own."""
        return f"{self.text.removesuffix('.').partition(': ')[0]}."

    @property
    def work_on(self) -> str:
        """What to work on, without a full stop; "" for nothing."""
        return self.text.removesuffix(".").partition(": ")[2]


@frozen
class Case:
    """A review as rules look at it, and what is known besides."""

    view: View
    known: Known

    @property
    def others(self) -> Sequence[Other]:
        return self.known.others

    @property
    def review(self) -> Review:
        return self.view.review

    def by_sticking(self, limbs: Sequence[Limb], text: str) -> str:
        """A sentence; says where a hand is known from the sticking only."""
        if any(limb in self.view.uncertain and limb in HANDS for limb in limbs):
            return f"By the sticking, {text}"
        return f"{text[:1].upper()}{text[1:]}"

    def of_strokes(self, faults: int, of_limb: int = 0) -> float:
        """The weight of so many faults: against all strokes, or those of the limb they are of."""
        shares = [faults / max(self.review.tally.expected, 1) / (1 - GOOD)]
        if of_limb:
            shares.append(faults / of_limb / MISSED)
        return STROKES * max(shares)
