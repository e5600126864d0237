"""All strokes there: bars, limbs and strokes that are missing."""

from collections.abc import Sequence

from midiforge.hear.figures import LimbFigures
from midiforge.insight.words import bars_named, listed
from midiforge.report.rules.accidents import stands_out
from midiforge.report.rules.case import (
    LEAST_MISSED,
    MISSED,
    Case,
    by_sticking,
)
from midiforge.report.rules.ramp import tempo
from midiforge.report.view import Lane

ONE_COUNT = 0.75  # so many of a limb's misses on one count are that count's; ours
LEAST_IN_A_BAR = 3  # fewer strokes to a bar, and an empty one is a stroke or two missed; ours


def lost(case: Case) -> str:
    view = case.view
    silent = set(view.silent_bars)
    if view.review.tally.expected < LEAST_IN_A_BAR * view.last_bar:
        silent = set()
    missing = sum(bar in silent for lane in view.lanes for bar in lane.missed)
    if silent and missing >= 0.5 * view.review.tally.missed:
        return (
            f"Nothing is played in {bars_named(silent)}: loop that place from the bar before, "
            "until you get past it."
        )
    starts = view.bar_starts(view.last_bar)
    lost = sorted(
        {sum(1 for each in starts if each <= at + 1e-9) for at, _ in view.review.line.jumps}
    )
    if lost:
        where = (
            f"in {bars_named(lost)}"
            if len(lost) <= 3
            else f"{len(lost)} times, first in bar {lost[0]},"
        )
        return (
            f"You lose the place {where} and go on elsewhere: count aloud, and loop the bars about "
            "it."
        )
    return ""


def dropping(case: Case) -> LimbFigures | None:
    """The limb that misses clearly more than the others, not only on one of several counts."""
    limbs = case.review.limbs
    for each in sorted(limbs, key=lambda limb: limb.tally.hit / limb.tally.expected):
        share = each.tally.missed / each.tally.expected
        rest = [other.tally for other in limbs if other is not each]
        others = sum(tally.missed for tally in rest) / max(sum(t.expected for t in rest), 1)
        if not rest or each.tally.missed < LEAST_MISSED or share < MISSED:
            continue
        lanes = [lane for lane in case.view.lanes if each.limb in lane.limbs]
        worst = max(len(lane.missed) for lane in lanes)
        if len(lanes) > 1 and worst >= ONE_COUNT * each.tally.missed:
            continue
        if stands_out(each.tally.missed, each.tally.expected, others, len(limbs)):
            return each
    return None


def limb_drops_out(case: Case) -> str:
    each = dropping(case)
    if each is None:
        return ""
    where = _most_missed([lane for lane in case.view.lanes if each.limb in lane.limbs])
    return by_sticking(
        case,
        (each.limb,),
        f"your {each.limb.title} drops out ({each.tally.missed:,} of {each.tally.expected:,} "
        f"strokes missed{where}): play it alone, then with all the others.",
    )


def _most_missed(lanes: Sequence[Lane]) -> str:
    """ ", most on 2 and 4": the counts that have more of the misses than their share."""
    missed = sum(len(lane.missed) for lane in lanes)
    usual = missed / max(len(lanes), 1)
    worst = sorted(lanes, key=lambda lane: -len(lane.missed))[:3]
    names = [lane.count for lane in worst if len(lane.missed) >= max(1.25 * usual, 2)]
    if not names or len(lanes) < 2:
        return ""
    most = sum(len(lane.missed) for lane in worst[: len(names)])
    if most < 0.5 * missed:
        return ""
    order = {lane.count: lane.place for lane in lanes}
    return f", most on {listed(sorted(names, key=lambda name: order[name]))}"


def strokes_missing(case: Case) -> str:
    tally = case.review.tally
    share = tally.missed / max(tally.expected, 1)
    if tally.missed < LEAST_MISSED or share < MISSED or dropping(case) or tempo(case):
        return ""
    if case.view.silent_bars and lost(case):
        return ""
    where = _most_missed(_by_count(case.view.lanes))
    return (
        f"{tally.missed:,} of {tally.expected:,} strokes are missing{where}: sing them "
        "while you play, and leave none out."
    )


def _by_count(lanes: Sequence[Lane]) -> list[Lane]:
    """The lanes of each count in one."""
    found: dict[str, Lane] = {}
    for lane in lanes:
        whole = found.setdefault(lane.count, Lane(lane.count, lane.place, lane.limbs))
        whole.missed.extend(lane.missed)
        whole.offs.extend(lane.offs)
    return list(found.values())
