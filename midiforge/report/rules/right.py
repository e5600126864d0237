"""The right exercise, and enough of it."""

from midiforge.hear.known import is_hardly, likelier
from midiforge.printable import many
from midiforge.report.rules.case import FEWEST_STROKES, Case, Finding


def short(case: Case) -> Finding | None:
    hit = case.review.tally.hit
    if hit >= FEWEST_STROKES or likelier(case.review, case.others):
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
    besides = f" and {tally.extra:,} besides" if tally.extra else ""
    return Finding(
        f"This is hardly exercise {number}, with {tally.hit:,} of "
        f"{many(tally.expected, 'stroke')} found{besides}: look at drill, number and kit."
    )
