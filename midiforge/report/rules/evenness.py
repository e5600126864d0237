"""Even doubles, and steadiness."""

from midiforge.hear.figures import of_step
from midiforge.insight.words import listed
from midiforge.report.rules.case import (
    FEWEST_STROKES,
    LEAST_TIMES,
    NOTICED,
    NOTICED_MS,
    STEADY_MS,
    STEADY_PERCENT,
    Case,
    by_sticking,
)
from midiforge.report.words import ms, percent

SOFTER = 0.80  # the second of a double at least so loud as the first; common practice


def doubles(case: Case) -> str:
    limit = max(2 * NOTICED_MS, 2 * NOTICED * case.review.step_ms)
    for each in case.review.doubles:
        if each.times < LEAST_TIMES:
            continue
        faults = []
        if each.softer < SOFTER and case.view.has_dynamics:
            faults.append(f"weak ({percent(each.softer)} of the first)")
        if abs(each.late_ms) > limit:
            faults.append(f"{ms(each.late_ms)} {'late' if each.late_ms > 0 else 'early'}")
        if faults:
            return by_sticking(
                case,
                (each.limb,),
                f"the second stroke of your {each.limb.title}'s doubles is {listed(faults)}: play "
                "doubles slowly, both strokes from the same height.",
            )
    return ""


def unsteady(case: Case) -> str:
    worst = max(
        (each for each in case.review.limbs if each.timing.strokes >= FEWEST_STROKES),
        key=lambda each: each.timing.deviation_ms or 0.0,
        default=None,
    )
    if worst is None or worst.timing.deviation_ms is None:
        return ""
    spread, share = worst.timing.deviation_ms, worst.timing.deviation_percent or 0.0
    if share <= STEADY_PERCENT or spread <= STEADY_MS:
        return ""
    return by_sticking(
        case,
        (worst.limb,),
        f"your {worst.limb.title} is uneven, {ms(spread)} to either side ({of_step(share)} of a "
        "grid step): count every step aloud and fill the room between.",
    )
