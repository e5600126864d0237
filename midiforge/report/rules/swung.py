"""Pairs that are played long and short where they are written even, and the other way round."""

from fractions import Fraction
from statistics import fmean, median

from midiforge.hear.limits import LEAST_TIMES, NOTICED, NOTICED_MS
from midiforge.model.hit import Limb
from midiforge.model.swing import STRAIGHT, Swing
from midiforge.report.rules.case import TIME, Case, Finding

# So far from the written share of a pair somebody swings, or does not: 57 to 43 is heard as long
# and short. Each count and limb does, at least so much as all. Ours.
SWUNG, _EACH = 0.07, 0.5
_OF_ONE = 0.09  # where one limb has all second notes: less is that limb's lateness; ours
_STRAIGHT = 0.54  # a first note's share up to which a pair is straight; ours


def swung(case: Case) -> Finding | None:
    review = case.review
    exercise, swing = review.exercise, review.exercise.swing
    pair = 2 * exercise.step if swing.is_straight else swing.pair
    half = pair / 2
    if (1 / half).denominator != 1 or (1 / half).numerator & ((1 / half).numerator - 1):
        return None  # nobody swings triplets
    firsts: list[float] = []
    seconds: dict[tuple[Limb, Fraction], list[float]] = {}
    for lane in case.view.lanes:
        at = lane.place % pair
        if at in (0, half):
            where = seconds.setdefault((lane.limbs[0], lane.place % 1), []) if at else firsts
            where += lane.offs
    # A stroke that is late by more may be taken for one of another place.
    for judged in review.judged if review.tally.pulled else ():
        if judged.kind == "pulled" and judged.due and judged.off_ms is not None:
            at, limb = judged.due.place % pair, judged.due.hit.limb
            if at == half and limb:
                seconds.setdefault((limb, judged.due.place % 1), []).append(judged.off_ms)
    some = {key: offs for key, offs in seconds.items() if len(offs) >= LEAST_TIMES}
    if len(firsts) < LEAST_TIMES or not some:
        return None
    base = median(firsts)
    late = fmean(off - base for offs in some.values() for off in offs)
    pair_ms = review.step_ms * float(pair / exercise.step)
    apart = late / pair_ms
    alike = all((median(offs) - base) / late >= _EACH for offs in some.values()) if late else False
    written = swing.share if not swing.is_straight else STRAIGHT
    share = float(written) + apart
    alone = len({limb for limb, _ in some}) == 1
    if abs(apart) < (_OF_ONE if alone else SWUNG) or not alike or not 0.45 < share < 0.9:
        return None
    limit = max(2 * NOTICED_MS, 2 * NOTICED * review.step_ms)
    limbs = [limb.limb for limb in review.limbs]
    return Finding(
        _text(swing, share),
        TIME * abs(late) / limit,
        frozenset(
            (kind, limb) for kind in ("double", "spread", "place", "pulled") for limb in limbs
        )
        | {("meeting", meeting.limbs) for meeting in case.view.meetings},
    )


def _text(swing: Swing, share: float) -> str:
    ratio = f"{share / (1 - share):.1f}:1"
    if swing.is_straight:
        return (
            f"You swing what is written straight, about {ratio} long to short: say the counts "
            "evenly aloud, with a click on the smallest of them."
        )
    wanted = f"{float(swing.share / (1 - swing.share)):.1f}:1".replace(".0:", ":")
    if share <= _STRAIGHT:
        return (
            f"You play straight what is written swung ({wanted} long to short): sing triplets, and "
            "put the second note of each pair on the last."
        )
    return (
        f"You swing about {ratio} long to short, where {wanted} is written: listen to the second "
        "note of each pair, and move that alone."
    )
