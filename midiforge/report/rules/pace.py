"""In time: with the click, with oneself, and up to which tempo."""

from midiforge.hear.figures import TempoFigures
from midiforge.hear.limits import NOTICED, OFF_THE_CLICK_MS, STEADY_MS, STEADY_PERCENT
from midiforge.printable import many
from midiforge.report.rules.case import GOOD, LOOSE, MISSED, STROKES, TIME, Case, Finding
from midiforge.report.words import drifts, ms, percent, pulses

HALF = 0.5  # as a share of the written tempo
TO_THE_CLICK = 0.006  # nearer to the written tempo than this, somebody played to a click


def pace(case: Case) -> Finding | None:
    review = case.review
    begin, end = review.thirds or (1.0, 1.0)
    change = abs(end / begin - 1)
    if change >= NOTICED:
        return Finding(
            f"You {'rush' if end > begin else 'drag'}, from {pulses(begin)} to {pulses(end)} "
            "through the take: play it to a click, then with the click silent every other two "
            "bars.",
            TIME * change / NOTICED,
        )
    drift = review.drift_ms_per_bar
    by_a_click = abs(review.played_tempo / review.tempo - 1) <= TO_THE_CLICK or review.tempos
    if drift is None or not by_a_click:
        return None
    over = drifts(review)
    if not over:
        return None
    word, way = ("rush", "sooner") if drift < 0 else ("drag", "later")
    return Finding(
        f"You {word}, each bar {abs(drift):.1f} ms {way}, {ms(drift * review.bars)} by the "
        "end: play it with the click silent every other two bars, and listen where it comes back.",
        TIME * over,
    )


def half_or_double(case: Case) -> Finding | None:
    """Everything right, at another tempo by a factor that one does not hear oneself."""
    review = case.review
    ratio, played = review.tempo_ratio, review.played_tempo / review.tempo
    if ratio == 1 and not (played < HALF or played > 1 / HALF):
        return None
    word = "half" if played < 1 else "twice"
    if ratio == 1:
        word = f"{'less' if played < 1 else 'more'} than {word}"
    return Finding(
        f"You play at {word} the tempo that is written, {pulses(review.played_tempo)} instead of "
        f"{pulses(review.tempo)}: count the beat aloud before you begin.",
        STROKES * 2,
    )


def off_the_click(case: Case) -> Finding | None:
    own = case.review.own_ms
    if own is None or abs(own) < OFF_THE_CLICK_MS:
        return None
    return Finding(
        f"You play {ms(own)} {'ahead of' if own < 0 else 'behind'} the click, the delay you gave "
        "taken off: play quarters with it until your strokes cover it.",
        TIME * abs(own) / OFF_THE_CLICK_MS,
    )


def ramp(case: Case) -> Finding | None:
    """An exercise that gets faster: up to where it holds."""
    tempos = case.review.tempos
    bad = [figures for figures in tempos if not _holds(figures)]
    if not bad or len(tempos) < 2:
        return None
    first = min(bad, key=lambda figures: figures.tempo)
    good = [figures.tempo for figures in tempos if figures.tempo < first.tempo]
    missed = first.tally.missed / first.tally.expected
    why = (
        f"{percent(missed)} missed"
        if missed > 1 - GOOD
        else f"steady to {ms(first.timing.deviation_ms)}"
        if first.tally.extra <= (1 - GOOD) * first.tally.expected
        else f"{many(first.tally.extra, 'extra stroke')}"
    )
    weight = case.of_strokes(case.review.tally.missed + case.review.tally.extra)
    if not good:
        return Finding(
            f"It does not hold at {pulses(first.tempo)} yet ({why}): find the stroke that goes "
            "first, and play about it alone.",
            weight,
        )
    return Finding(
        f"It holds up to {pulses(max(good))} and falls apart from {pulses(first.tempo)} on "
        f"({why}): find the stroke that goes first there, and play about it alone.",
        weight,
    )


def _holds(figures: TempoFigures) -> bool:
    timing = figures.timing
    loose = (timing.deviation_percent or 0) > LOOSE * STEADY_PERCENT
    return figures.tally.clean >= 1 - MISSED and not (
        loose and (timing.deviation_ms or 0) > STEADY_MS
    )
