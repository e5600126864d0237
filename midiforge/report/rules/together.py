"""Limbs that land together, and a limb that is early or late everywhere."""

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from math import sqrt
from statistics import fmean

from midiforge.hear.figures import Meeting
from midiforge.hear.limits import (
    FEWEST_STROKES,
    LEAST_TIMES,
    LOOSE_GAP_MS,
    PEDAL_MS,
    TOGETHER_MS,
    Place,
    beside,
    is_sure,
    near_ms,
)
from midiforge.model.hit import FEET, HANDS, Limb
from midiforge.printable import listed
from midiforge.report.rules.case import TIME, Case, Fault, Finding
from midiforge.report.rules.evenness import unsteady
from midiforge.report.words import ms

EVERYWHERE = 0.5  # so much of what a limb is off by, it is on each of its counts; ours


def apart(case: Case) -> Finding | None:
    """Limbs that should land together and do not, told of the one that is off."""
    # Who is off everywhere is told so, and not by those whom he meets.
    off = dict(_everywhere(case))
    far = [meeting for meeting in _far(case) if not off.keys() & {*meeting.limbs}]
    if not far:
        return None
    limb = _off(case, far)
    mine = [meeting for meeting in far if limb in meeting.limbs]
    partners = {other for meeting in mine for other in meeting.limbs} - {limb}
    if len(partners) == 1:
        worst = max(mine, key=lambda meeting: abs(meeting.gap_ms))
        gap, where = _after(worst, limb), _at(worst)
        said = f"the {next(iter(partners)).title}{where}"
        do = "play these two alone, slowly, until they sound as one"
    else:
        times = sum(meeting.times for meeting in mine)
        gap = sum(meeting.times * _after(meeting, limb) for meeting in mine) / times
        others = [other.title for other in Limb if other in partners]
        said = f"the {listed(others)}"
        do = "play it with each of them alone, slowly, until the two sound as one"
    return Finding(
        case.by_sticking(
            (limb, *partners),
            f"your {limb.title} lands {ms(gap)} {'before' if gap < 0 else 'after'} {said}: {do}.",
        ),
        TIME * abs(gap) / near_ms(limb, *partners),
        frozenset(_meeting(meeting) for meeting in mine) | {("place", limb)},
    )


def _far(case: Case) -> Iterator[Meeting]:
    """Meetings that are surely too far apart: those of their counts that are, or all together."""
    for meeting in case.view.meetings:
        if meeting.times < LEAST_TIMES:
            continue
        near = near_ms(*meeting.limbs)
        own = [count for count in case.review.together if count.limbs == meeting.limbs]
        wide = [
            count
            for count in own
            if count.times >= LEAST_TIMES
            # Counts are many, so that one is told only if it is surely as far.
            and abs(count.gap_ms) - (count.deviation_ms or 0.0) / sqrt(count.times) >= near
            and is_sure(count.gap_ms, count.deviation_ms or 0.0, count.times)
        ]
        times = sum(count.times for count in wide)
        middle = sum(count.gap_ms * count.times for count in wide) / max(times, 1)
        if len(wide) < len(own) and abs(middle) >= near:
            counts = tuple(count.count for count in wide)
            yield Meeting(meeting.limbs, counts, times, middle, 0.0)
        elif abs(meeting.gap_ms) >= near and is_sure(
            meeting.gap_ms, meeting.deviation_ms, meeting.times
        ):
            yield meeting


def _off(case: Case, far: Sequence[Meeting]) -> Limb:
    """The limb that most of these gaps are of; of two alike, the one farther from its place."""
    gaps: Counter[Limb] = Counter()
    for meeting in far:
        for limb in meeting.limbs:
            gaps[limb] += 1
    means = {limb.limb: abs(limb.timing.mean_ms or 0.0) for limb in case.review.limbs}
    return max(gaps, key=lambda limb: (gaps[limb], means.get(limb, 0.0)))


def _after(meeting: Meeting, limb: Limb) -> float:
    """By how much later than the other one a limb lands, in ms; below 0 earlier."""
    return meeting.gap_ms if meeting.limbs[1] is limb else -meeting.gap_ms


def _meeting(meeting: Meeting) -> Fault:
    return ("meeting", meeting.limbs)


def early_or_late(case: Case) -> Finding | None:
    """A limb that is early or late everywhere; or both hands, or both feet."""
    off = dict(_everywhere(case))
    for limbs, others in ((HANDS, FEET), (FEET, HANDS)):
        gaps = [off[limb] for limb in limbs if limb in off]
        if len(gaps) == len(limbs) and min(gaps) * max(gaps) > 0 and not off.keys() & {*others}:
            who, whom = ("hands", "feet") if limbs is HANDS else ("feet", "hands")
            gap = fmean(gaps)
            text = (
                f"your {who} come {ms(gap)} {'before' if gap < 0 else 'after'} the {whom} "
                "everywhere: play one hand with one foot, slowly, until the two sound as one, then "
                "add the others."
            )
            return _off_by(case, limbs, gap, text)
    for limb, gap in off.items():
        text = (
            f"your {limb.title} comes {ms(gap)} {'early' if gap < 0 else 'late'} everywhere: "
            "play it alone to the click, then under the others, and listen to it alone."
        )
        return _off_by(case, (limb,), gap, text)
    return None


def _off_by(case: Case, limbs: Sequence[Limb], gap: float, text: str) -> Finding:
    meetings = [meeting for meeting in case.view.meetings if {*limbs} & {*meeting.limbs}]
    return Finding(
        case.by_sticking(limbs, text),
        TIME * abs(gap) / near_ms(*limbs),
        frozenset({*(("place", limb) for limb in limbs), *map(_meeting, meetings)}),
    )


def pedal_off(case: Case) -> float:
    """By how many ms a hi-hat's pedal is off everywhere, though not more than its note may be."""
    off = dict(_everywhere(case, near=lambda _: TOGETHER_MS)).get(Limb.LEFT_FOOT, 0.0)
    return off if abs(off) < PEDAL_MS else 0.0


def _everywhere(
    case: Case, near: Callable[[Limb], float] = near_ms
) -> Iterator[tuple[Limb, float]]:
    """The limbs that are off on all their counts, and by how many ms, the farthest first."""
    places = {
        limb.limb: Place(
            limb.limb,
            limb.timing.strokes,
            limb.timing.mean_ms or 0.0,
            limb.timing.deviation_ms or 0.0,
        )
        for limb in case.review.limbs
        if limb.timing.strokes >= FEWEST_STROKES
    }
    for limb, off in beside(places.values(), near).items():
        others = places[limb].mean_ms - off
        counts = [lane.offs for lane in case.view.lanes_of(limb) if len(lane.offs) >= LEAST_TIMES]
        if all((fmean(offs) - others) / off >= EVERYWHERE for offs in counts):
            yield limb, off


def now_one_now_the_other(case: Case) -> Finding | None:
    """Two limbs whose order changes."""
    some = [meeting for meeting in case.view.meetings if meeting.times >= LEAST_TIMES]
    loose = max(some, key=lambda meeting: meeting.deviation_ms, default=None)
    if loose is None or unsteady(case):
        return None
    if loose.deviation_ms * (1 - 1 / sqrt(2 * loose.times - 2)) < LOOSE_GAP_MS:
        return None  # by its own error it may be less
    one, other = loose.limbs
    return Finding(
        case.by_sticking(
            loose.limbs,
            f"{one.title} and {other.title} land now one, now the other first{_at(loose)}, "
            f"steady to {ms(loose.deviation_ms)}: play these two alone, slowly.",
        ),
        TIME * loose.deviation_ms / LOOSE_GAP_MS,
        frozenset({("spread", one), ("spread", other), _meeting(loose)}),
    )


def _at(meeting: Meeting) -> str:
    return f" on {listed(meeting.counts)}" if len(meeting.counts) <= 4 else ""
