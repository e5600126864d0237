"""What is known of a take besides its review."""

from collections.abc import Sequence

from midiforge.frozen import frozen
from midiforge.hear.placing import LIKE
from midiforge.hear.review import Review
from midiforge.model.exercise import Exercise

# Another exercise is likelier if it explains so much more of the take's beginning; ours, from
# takes of one exercise held against its neighbours in a drill, which stay below.
LIKELIER_BY = 0.10
UNLIKE_CLEAN = 0.4  # less of all strokes is right: hardly this exercise, however it was played


@frozen
class Other:
    """Another exercise that the take may be of; like: how much of it that explains, 0 to 1."""

    exercise: Exercise
    like: float


@frozen
class Known:
    """What is known besides the review.

    others: exercises that the take may be of instead.
    likelier_kit: the name of a kit that knows more of the take's notes; "" for none.
    chosen: how the exercise was found, in words; "" if it was named.
    unsure: other exercises that the take is as likely of, where it was not named.
    changed_over: the exercise that the take looks more like with its hands changed over, if any.
    """

    others: Sequence[Other] = ()
    likelier_kit: str = ""
    chosen: str = ""
    unsure: Sequence[Exercise] = ()
    changed_over: Exercise | None = None


NOTHING = Known()


def is_hardly(review: Review) -> bool:
    """Whether a take is hardly of the exercise it was reviewed as."""
    return review.tally.clean < UNLIKE_CLEAN


def likelier(review: Review, others: Sequence[Other]) -> Exercise | None:
    """The exercise that a take looks more like than the one it was reviewed as, if any."""
    best = max(others, key=lambda each: each.like, default=None)
    if best is None or best.like < max(review.like + LIKELIER_BY, LIKE):
        return None
    return best.exercise
