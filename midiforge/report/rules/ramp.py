"""An exercise that gets faster: up to where it holds."""

from midiforge.printable import many
from midiforge.report.rules.case import (
    GOOD,
    LOOSE,
    MISSED,
    STEADY_MS,
    STEADY_PERCENT,
    Case,
)
from midiforge.report.words import ms, percent, pulses


def tempo(case: Case) -> str:
    """An exercise that gets faster: up to where it holds."""
    tempos = case.review.tempos
    bad = [each for each in tempos if not _holds(each.tally.clean, each.timing.deviation_percent,
                                                 each.timing.deviation_ms)]  # fmt: skip
    if not bad or len(tempos) < 2:
        return ""
    good = [each.tempo for each in tempos if each.tempo < min(each.tempo for each in bad)]
    first = min(bad, key=lambda each: each.tempo)
    missed = first.tally.missed / first.tally.expected
    why = (
        f"{percent(missed)} missed"
        if missed > 1 - GOOD
        else f"{ms(first.timing.deviation_ms)} to either side"
        if first.tally.extra <= (1 - GOOD) * first.tally.expected
        else f"{many(first.tally.extra, 'stroke')} too many"
    )
    if not good:
        return (
            f"It does not hold at {pulses(first.tempo)} yet ({why}): find the stroke that goes "
            "first, and play about it alone."
        )
    return (
        f"It holds up to {pulses(max(good))} and falls apart from {pulses(first.tempo)} on "
        f"({why}): find the stroke that goes first there, and play about it alone."
    )


def _holds(share: float, spread_percent: float | None, spread_ms: float | None) -> bool:
    loose = (spread_percent or 0) > LOOSE * STEADY_PERCENT and (spread_ms or 0) > STEADY_MS
    return share >= 1 - MISSED and not loose
