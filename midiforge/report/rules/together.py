"""Limbs that land together."""

from math import sqrt

from midiforge.hear.figures import Meeting
from midiforge.insight.words import listed
from midiforge.report.rules.case import (
    LEAST_TIMES,
    Case,
    by_sticking,
)
from midiforge.report.rules.evenness import unsteady
from midiforge.report.words import ms

# About the least gap at which one hears which of two sounds comes first: I. J. Hirsh, Auditory
# perception of temporal order, J. Acoust. Soc. Am. 31, 1959 (about 20 ms; from memory).
TOGETHER_MS = 20.0
LOOSE_GAP_MS = 25.0  # with this deviation four of ten meetings are that far apart


def apart(case: Case) -> str:
    some = [each for each in case.view.meetings if each.times >= LEAST_TIMES]
    sure = [each for each in some if _is_sure(each.gap_ms, each.deviation_ms, each.times)]
    far = max(sure, key=lambda each: abs(each.gap_ms), default=None)
    if far and abs(far.gap_ms) >= TOGETHER_MS:
        return _together(case, far)
    for meeting in some:
        wide = [
            each for each in case.review.together
            if each.limbs == meeting.limbs and each.times >= LEAST_TIMES
            and abs(each.gap_ms) >= TOGETHER_MS
            and _is_sure(each.gap_ms, each.deviation_ms or 0.0, each.times)
        ]  # fmt: skip
        if wide:
            times = sum(each.times for each in wide)
            middle = sum(each.gap_ms * each.times for each in wide) / times
            if abs(middle) >= TOGETHER_MS:
                counts = tuple(each.count for each in wide)
                return _together(case, Meeting(meeting.limbs, counts, times, middle, 0.0))
    loose = max(some, key=lambda each: each.deviation_ms, default=None)
    if loose and loose.deviation_ms >= LOOSE_GAP_MS and not unsteady(case):
        one, other = loose.limbs
        return by_sticking(
            case,
            loose.limbs,
            f"{one.title} and {other.title} land now one, now the other first{_at(loose)}, "
            f"{ms(loose.deviation_ms)} to either side: play these two alone, slowly.",
        )
    return ""


def _is_sure(gap_ms: float, deviation_ms: float, times: int) -> bool:
    """Whether a gap is no accident: twice its standard error, the usual measure."""
    return abs(gap_ms) >= 2 * deviation_ms / sqrt(times)


def _together(case: Case, meeting: Meeting) -> str:
    one, other = meeting.limbs
    first, second = (one, other) if meeting.gap_ms > 0 else (other, one)
    return by_sticking(
        case,
        meeting.limbs,
        f"your {first.title} lands {ms(meeting.gap_ms)} before the {second.title}"
        f"{_at(meeting)}: play these two alone, slowly, until they sound as one.",
    )


def _at(meeting: Meeting) -> str:
    return f" on {listed(meeting.counts)}" if len(meeting.counts) <= 4 else ""
