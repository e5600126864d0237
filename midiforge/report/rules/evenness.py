"""Steadiness: of limbs, of counts, of doubles."""

from collections.abc import Sequence
from math import sqrt
from statistics import median

from midiforge.hear.figures import deviation, of_step
from midiforge.hear.limits import (
    FEWEST_STROKES,
    LEAST_TIMES,
    NOTICED,
    NOTICED_MS,
    STEADY_MS,
    STEADY_PERCENT,
)
from midiforge.printable import listed
from midiforge.report.rules.case import LOOSE, SOUND, TIME, Case, Finding
from midiforge.report.view import Lane, View
from midiforge.report.words import ms, percent

SOFTER = 0.80  # the second of a double at least so loud as the first; common practice
LOOSE_SURE = 4.0  # so many standard errors of a standard deviation above it; counts are many


def unsteady(case: Case) -> Finding | None:
    worst = max(
        (limb for limb in case.review.limbs if limb.timing.strokes >= FEWEST_STROKES),
        key=lambda limb: limb.timing.deviation_ms or 0.0,
        default=None,
    )
    if worst is None or worst.timing.deviation_ms is None:
        return None
    spread, share = worst.timing.deviation_ms, worst.timing.deviation_percent or 0.0
    if share <= STEADY_PERCENT or spread <= STEADY_MS:
        return None
    return Finding(
        case.by_sticking(
            (worst.limb,),
            f"your {worst.limb.title} is steady to {ms(spread)} only ({of_step(share)} of "
            "a grid step): count every step aloud and fill the room between.",
        ),
        TIME * min(share / STEADY_PERCENT, spread / STEADY_MS),
        frozenset({("spread", worst.limb)}),
    )


def loose_count(case: Case) -> Finding | None:
    """One count that is looser than the others."""
    usual, lanes = _loose(case.view)
    if not lanes:
        return None
    spread, lane = lanes[0]
    return Finding(
        case.by_sticking(
            lane.limbs,
            f"the {lane.title} on {lane.count} is loose (steady to {ms(spread)}, elsewhere to "
            f"{ms(usual)}): loop the beat it is in, slowly.",
        ),
        TIME * spread / (LOOSE * usual),
        frozenset(("spread", limb) for limb in lane.limbs),
    )


def _loose(view: View) -> tuple[float, list[tuple[float, Lane]]]:
    """The usual spread about a place in the bar, and the places about which it is wider."""
    spreads = [(deviation(lane.offs) or 0.0, lane) for lane in view.lanes if len(lane.offs) >= 6]
    if len(spreads) < 3:
        return 0.0, []
    usual = median(spread for spread, _ in spreads)
    least = max(STEADY_MS, STEADY_PERCENT / 100 * view.review.step_ms)

    def is_wide(spread: float, lane: Lane) -> bool:
        others = max(usual, _elsewhere(lane, spreads, usual))
        sure = 1 + LOOSE_SURE / sqrt(2 * len(lane.offs) - 2)
        return spread >= max(least, others * max(LOOSE, sure))

    wide = [(spread, lane) for spread, lane in spreads if is_wide(spread, lane)]
    return usual, sorted(wide, key=lambda pair: -pair[0])


def _elsewhere(lane: Lane, spreads: Sequence[tuple[float, Lane]], usual: float) -> float:
    """The usual spread of the same limbs on their other counts."""
    others = [spread for spread, it in spreads if it is not lane and it.limbs == lane.limbs]
    return median(others) if others else usual


def loose_counts(view: View) -> list[str]:
    """The places of the bar that are loose, in words, the worst first."""
    return [f"{lane.count} {lane.title}, steady to {ms(spread)}" for spread, lane in
            _loose(view)[1]]  # fmt: skip


def doubles(case: Case) -> Finding | None:
    limit = max(2 * NOTICED_MS, 2 * NOTICED * case.review.step_ms)
    for double in case.review.doubles:
        if double.times < LEAST_TIMES:
            continue
        faults = []
        if double.softer < SOFTER and case.view.has_dynamics:
            faults.append(f"weak ({percent(double.softer)} of the first)")
        if abs(double.late_ms) > limit:
            faults.append(f"{ms(double.late_ms)} {'late' if double.late_ms > 0 else 'early'}")
        if faults:
            return Finding(
                case.by_sticking(
                    (double.limb,),
                    f"the second stroke of your {double.limb.title}'s doubles is {listed(faults)}: "
                    "play doubles slowly, both strokes from the same height.",
                ),
                SOUND * max(SOFTER / max(double.softer, 0.1), abs(double.late_ms) / limit),
                frozenset({("double", double.limb)}),
            )
    return None
