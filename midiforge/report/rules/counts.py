"""Counts that fall apart: missed, or loose."""

from math import sqrt
from statistics import median

from midiforge.hear.figures import deviation
from midiforge.model.tempo import plain
from midiforge.report.rules.accidents import stands_out
from midiforge.report.rules.case import (
    GOOD,
    LEAST_MISSED,
    LEAST_TIMES,
    LOOSE,
    STEADY_MS,
    STEADY_PERCENT,
    Case,
    by_sticking,
)
from midiforge.report.rules.misses import dropping
from midiforge.report.view import Lane, View
from midiforge.report.words import ms, percent

COUNT_MISSED = 0.20  # a count is hit every time or nearly; one of five is no accident
LOOSE_SURE = 4.0  # and so many standard errors of a standard deviation above it; counts are many


def count_falls_apart(case: Case) -> str:
    view = case.view
    limb = dropping(case)  # what is said of a limb is not said of its counts again
    lanes = [
        lane
        for lane in view.lanes
        if lane.tally.expected >= LEAST_TIMES and not (limb and limb.limb in lane.limbs)
    ]
    missed = sum(len(lane.missed) for lane in lanes)
    expected = sum(lane.tally.expected for lane in lanes)
    for lane in sorted(lanes, key=lambda each: each.tally.clean):
        share = len(lane.missed) / lane.tally.expected
        others = (missed - len(lane.missed)) / max(expected - lane.tally.expected, 1)
        if share < COUNT_MISSED:
            break
        if len(lane.missed) >= LEAST_MISSED and stands_out(
            len(lane.missed), lane.tally.expected, others, len(lanes)
        ):
            since = _from_tempo(case, lane)
            return by_sticking(
                case,
                lane.limbs,
                f"the {lane.title} on {lane.count} falls apart ({len(lane.missed):,} of "
                f"{lane.tally.expected:,} missed{since}): loop the beat it is in, slowly.",
            )
    usual, loose = _loose(view)
    if not loose:
        return ""
    spread, lane = loose[0]
    return by_sticking(
        case,
        lane.limbs,
        f"the {lane.title} on {lane.count} is loose ({ms(spread)} to either side, elsewhere "
        f"{ms(usual)}): loop the beat it is in, slowly.",
    )


def _loose(view: View) -> tuple[float, list[tuple[float, Lane]]]:
    """The usual spread about a place in the bar, and the places about which it is wider."""
    spreads = [(deviation(lane.offs) or 0.0, lane) for lane in view.lanes if len(lane.offs) >= 6]
    if len(spreads) < 3:
        return 0.0, []
    usual = median(spread for spread, _ in spreads)
    least = max(STEADY_MS, STEADY_PERCENT / 100 * view.review.step_ms, LOOSE * usual)
    found = [
        (spread, lane)
        for spread, lane in spreads
        if spread >= max(least, usual * (1 + LOOSE_SURE / sqrt(2 * len(lane.offs) - 2)))
    ]
    return usual, sorted(found, key=lambda each: -each[0])


def falling_apart(view: View) -> list[str]:
    """The places of the bar that are missed or loose, in words, the worst first."""
    missed = [
        (len(lane.missed) / lane.tally.expected, lane)
        for lane in view.lanes
        if len(lane.missed) >= LEAST_MISSED
    ]
    said = [
        f"{lane.count} {lane.title}, {percent(share)} missed"
        for share, lane in sorted(missed, key=lambda each: -each[0])
        if share >= COUNT_MISSED
    ]
    return said + [
        f"{lane.count} {lane.title}, {ms(spread)} to either side"
        for spread, lane in _loose(view)[1]
    ]


def _from_tempo(case: Case, lane: Lane) -> str:
    """ "; from 84 on": the tempo from which most of the misses of a count are."""
    tempos = case.review.tempos
    if len(tempos) < 2:
        return ""
    exercise = case.review.exercise
    starts = [int(time // exercise.meter.bar) + 1 for time, _ in exercise.tempo.changes]
    for start, (_, tempo) in zip(starts[1:], exercise.tempo.changes[1:], strict=True):
        before = sum(1 for bar in lane.missed if bar < start)
        if before <= (1 - GOOD) * sum(1 for bar in (*lane.bars, *lane.missed) if bar < start):
            later = sum(1 for bar in (*lane.bars, *lane.missed) if bar >= start)
            if later and (len(lane.missed) - before) >= COUNT_MISSED * later:
                return f", from {plain(tempo)} on"
    return ""
