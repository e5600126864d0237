"""Nothing besides."""

from midiforge.insight.words import listed
from midiforge.printable import many
from midiforge.report.rules.case import (
    LEAST_MISSED,
    Case,
)

EXTRA = 0.05


def extras(case: Case) -> str:
    tally, view = case.review.tally, case.view
    if tally.extra < LEAST_MISSED or tally.extra < EXTRA * tally.expected:
        return ""
    where = f", most about {listed(view.extra_counts)}" if view.extra_counts else ""
    pads: dict[str, int] = {}
    for each in view.extras:
        pads[each.voice] = pads.get(each.voice, 0) + 1
    pad = max(pads, key=lambda name: pads[name])
    on = f", {pads[pad]:,} of them on {pad}" if pads[pad] > 0.5 * tally.extra else ""
    return (
        f"{many(tally.extra, 'stroke')} too many{where}{on}: leave them out; if you did not play "
        "them, turn that pad's sensitivity down."
    )
