"""In time: with the click, or with oneself."""

from statistics import median

from midiforge.report.rules.case import (
    NOTICED,
    Case,
)
from midiforge.report.words import ms, pulses

# Beside a click that one hears: from where two strokes are told apart.
OFF_THE_CLICK_MS = 20.0
TO_THE_CLICK = 0.006  # nearer to the written tempo than this, somebody played to a click


def pace(case: Case) -> str:
    review = case.review
    drift = review.drift_ms_per_bar
    if drift is None:
        return ""
    word = "rush" if drift < 0 else "drag"
    if abs(review.played_tempo / review.tempo - 1) <= TO_THE_CLICK or review.tempos:
        whole = abs(drift) * review.bars
        if whole < max(OFF_THE_CLICK_MS, 0.25 * review.step_ms):
            return ""
        sooner = "sooner" if drift < 0 else "later"
        return (
            f"You {word}: each bar comes {abs(drift):.1f} ms {sooner}, {ms(whole)} by the end; "
            "play it with the click silent every other two bars, and listen where it comes back."
        )
    columns = [each for each in case.view.columns(30) if each.tempo is not None]
    third = len(columns) // 3
    if not third:
        return ""
    begin, end = (
        median(each.tempo or 0.0 for each in some) for some in (columns[:third], columns[-third:])
    )
    if abs(end / begin - 1) < NOTICED:
        return ""
    return (
        f"You {'rush' if end > begin else 'drag'}, from {pulses(begin)} to {pulses(end)} through "
        "the take: play it to a click, then with the click silent every other two bars."
    )


def off_the_click(case: Case) -> str:
    review = case.review
    if review.delay_ms is None or review.known_delay_ms is None:
        return ""
    own = review.delay_ms - review.known_delay_ms
    if abs(own) < OFF_THE_CLICK_MS:
        return ""
    where = "ahead of" if own < 0 else "behind"
    return (
        f"You play {ms(own)} {where} the click, the delay you gave taken off: play quarters with "
        "it until your strokes cover it."
    )
