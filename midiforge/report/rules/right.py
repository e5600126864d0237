"""The right exercise, and enough of it."""

from math import inf

from midiforge.hear.known import is_hardly, likelier
from midiforge.hear.limits import FEWEST_STROKES
from midiforge.model.hit import HANDS
from midiforge.printable import many
from midiforge.report.rules.case import Case, Finding


def short(case: Case) -> Finding | None:
    tally = case.review.tally
    hit, struck = tally.hit, tally.hit + tally.moved + tally.pulled + tally.extra + tally.added
    another = likelier(case.review, case.others) and struck >= FEWEST_STROKES
    if hit >= FEWEST_STROKES or another:
        return None
    return Finding(
        f"Too short to judge, with {many(hit, 'stroke')} of the exercise: record four bars."
    )


def other_kit(case: Case) -> Finding | None:
    kit = case.known.likelier_kit
    if not kit:
        return None
    return Finding(
        f"This looks like another kit: {kit} looks likelier than the drill's; review it with "
        f"the kit {kit}, then go on."
    )


def hands_changed_over(case: Case) -> Finding | None:
    exercise = case.known.changed_over
    if exercise is None:
        return None
    first = min((hit for hit in exercise.hits if hit.limb in HANDS), key=lambda hit: hit.time)
    lead = f"begin with the {first.limb.title}" if first.limb else ""
    return Finding(
        f"You play exercise {exercise.number} with the hands changed over, each what is written "
        f'for the other: {lead}, or write lead = "swapped" in the drill and review it again.'
    )


def other_exercise(case: Case) -> Finding | None:
    review, number = case.review, case.review.exercise.number
    other = likelier(review, case.others)
    if other:
        return Finding(
            f"This looks like another exercise: exercise {other.number} looks likelier "
            f"({other.title}); review it as that, then go on."
        )
    tally = review.tally
    if not is_hardly(review):
        return None
    besides = f" and {tally.extra:,} extra" if tally.extra else ""
    return Finding(
        f"This is hardly exercise {number}, with {tally.hit:,} of "
        f"{many(tally.expected, 'stroke')} found{besides}: look at drill, number and kit."
    )


def unsure(case: Case) -> Finding | None:
    """Nothing says which of several exercises it is."""
    others = case.known.unsure
    if not others:
        return None
    own, other = case.review.exercise, others[0]
    numbers = [str(exercise.number.whole) for exercise in (own, other)]
    besides = f", or {many(len(others) - 1, 'other')}" if len(others) > 1 else ""
    return Finding(
        f"This may be exercise {numbers[0]} ({own.title}) or {numbers[1]} ({other.title})"
        f"{besides}, for nothing in the take tells them apart: say which (--exercise "
        f"{numbers[0]} or --exercise {numbers[1]}).",
        inf,
    )
