"""What a player should do next, in one sentence, and up to five more.

RULES is the whole of it: the first rule that has something to say gives the sentence, the next
ones the points. The order is that of teaching: the right exercise, then all strokes there, then
nothing besides, then together, in time, with accents, even, steady; then faster.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import exp, lgamma, log, log1p, sqrt
from statistics import median

from midiforge.insight.words import bars_named, listed
from midiforge.model.hit import HANDS, Limb
from midiforge.model.tempo import plain
from midiforge.printable import printable
from midiforge.report.view import Lane, Meeting, View
from midiforge.report.words import many, ms, percent, pulses
from midiforge.takes.figures import LimbFigures, deviation
from midiforge.takes.known import NOTHING, Known, Other, likelier
from midiforge.takes.review import Review

# A take is judged from so many strokes on; fewer say nothing of a habit. Ours.
FEWEST_STROKES = 8
UNLIKE_CLEAN = 0.4  # less of all strokes is right: hardly this exercise, however it was played
# Of a limb's strokes, or of all: common practice calls a take good from about 95 % on and sends
# a student back from about 90 % down.
MISSED, GOOD, LEAST_MISSED = 0.10, 0.95, 3
STANDS_OUT = 2.0  # so many times the others' share of misses is one limb's, or one count's, own
# And of a hundred takes with nothing but accidents, five may be told of one: the usual measure,
# shared out among all limbs, or counts, that are compared.
ACCIDENT = 0.05
ONE_COUNT = 0.75  # so many of a limb's misses on one count are that count's; ours
COUNT_MISSED = 0.20  # a count is hit every time or nearly; one of five is no accident
LEAST_IN_A_BAR = 3  # fewer strokes to a bar, and an empty one is a stroke or two missed; ours
EXTRA = 0.05
# About the least gap at which one hears which of two sounds comes first: I. J. Hirsh, Auditory
# perception of temporal order, J. Acoust. Soc. Am. 31, 1959 (about 20 ms; from memory).
TOGETHER_MS, LEAST_TIMES = 20.0, 4
LOOSE_GAP_MS = 25.0  # with this deviation four of ten meetings are that far apart
# A steady tempo's change is noticed from about 2.5 % of the interval on: A. Friberg and
# J. Sundberg, Time discrimination in a monotonic, isochronous sequence, J. Acoust. Soc. Am. 98,
# 1995 (2.5 %, and 6 ms below 240 ms; from memory). Tempo is judged at that, doubles at twice.
NOTICED, NOTICED_MS = 0.025, 6.0
# Beside a click that one hears: from where two strokes are told apart.
OFF_THE_CLICK_MS = 20.0
TO_THE_CLICK = 0.006  # nearer to the written tempo than this, somebody played to a click
# Accents: a quarter more velocity is heard as louder on most modules; common practice.
ACCENT_RATIO, OVERLAP, GHOST_RATIO = 1.25, 0.10, 0.85
SOFTER = 0.80  # the second of a double at least so loud as the first; common practice
# Steady within 8 % of a grid step (a thirty-second of it to either side of the stroke and a bit
# more): common practice; below 12 ms nobody is asked to be steadier, as modules and USB add some.
STEADY_PERCENT, STEADY_MS = 8.0, 12.0
LOOSE = 1.6  # so many times the usual spread is a count's own
LOOSE_SURE = 4.0  # and so many standard errors of a standard deviation above it; counts are many
# Where it breaks one goes down by 10 to 20 %; common practice.
SLOWER, MUCH_SLOWER, BADLY = 0.85, 0.70, 0.30
MOST_POINTS = 5


@dataclass(frozen=True, slots=True)
class _Case:
    view: View
    known: Known

    @property
    def others(self) -> Sequence[Other]:
        return self.known.others

    @property
    def review(self) -> Review:
        return self.view.review


@dataclass(frozen=True, slots=True)
class Rule:
    """One thing there may be to say.

    name: in a word. says: "" for nothing. is_all: where it speaks, nothing that comes after it is
    of use.
    """

    name: str
    says: Callable[[_Case], str]
    is_all: bool = False


def sentences(review: Review, known: Known = NOTHING) -> list[str]:
    """What to act on, in one sentence, and up to five more on what else there is to say."""
    first, points = advice(View(review), known)
    return [first, *points]


def advice(view: View, known: Known = NOTHING) -> tuple[str, list[str]]:
    """The sentence and the points."""
    (_, first), *rest = said(view, known)
    return first, [text for _, text in rest[:MOST_POINTS]]


def said(view: View, known: Known = NOTHING) -> list[tuple["Rule", str]]:
    """Every rule that has something to say, and what it says; one at least."""
    case = _Case(view, known)
    found: list[tuple[Rule, str]] = []
    for rule in RULES:
        text = rule.says(case) if not found or rule is not RULES[-1] else ""
        if text:
            found.append((rule, text))
            if rule.is_all:
                break
    return found


# The right exercise


def _short(case: _Case) -> str:
    hit = case.review.tally.hit
    if hit >= FEWEST_STROKES or likelier(case.review, case.others):
        return ""
    return f"Too short to judge, with {many(hit, 'stroke')} of the exercise: record four bars."


def _other_kit(case: _Case) -> str:
    kit = printable(case.known.likelier_kit)
    if not kit:
        return ""
    return (
        f"This looks like another kit: {kit} looks likelier than the drill's; review it with "
        f"the kit {kit}, then go on."
    )


def _other_exercise(case: _Case) -> str:
    review, number = case.review, case.review.exercise.order
    other = likelier(review, case.others)
    if other:
        return (
            f"This looks like another exercise: exercise {other.order} looks likelier "
            f"({printable(other.title)}); review it as that, then go on."
        )
    tally = review.tally
    if tally.clean < UNLIKE_CLEAN:
        besides = f" and {tally.extra:,} besides" if tally.extra else ""
        return (
            f"This is hardly exercise {number}, with {tally.hit:,} of "
            f"{many(tally.expected, 'stroke')} found{besides}: look at drill, number and kit."
        )
    return ""


# All strokes there


def _lost(case: _Case) -> str:
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


def _dropping(case: _Case) -> LimbFigures | None:
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
        if _stands_out(each.tally.missed, each.tally.expected, others, len(limbs)):
            return each
    return None


def _stands_out(missed: int, expected: int, usual: float, compared: int) -> bool:
    """Whether so many misses are more than accidents at the usual share make."""
    if missed < STANDS_OUT * usual * expected:
        return False
    return _at_least(missed, expected, usual) < ACCIDENT / compared


def _at_least(times: int, of: int, chance: float) -> float:
    """How likely at least so many times are (binomial)."""
    if not 0 < chance < 1:
        return float(chance >= 1)
    found = 0.0
    for i in range(times, of + 1):
        ways = lgamma(of + 1) - lgamma(i + 1) - lgamma(of - i + 1)
        found += (each := exp(ways + i * log(chance) + (of - i) * log1p(-chance)))
        if i > of * chance and each < 1e-12:
            break
    return found


def _limb_drops_out(case: _Case) -> str:
    each = _dropping(case)
    if each is None:
        return ""
    where = _most_missed([lane for lane in case.view.lanes if each.limb in lane.limbs])
    return _by_sticking(
        case,
        (each.limb,),
        f"your {each.limb.title} drops out ({each.tally.missed:,} of {each.tally.expected:,} "
        f"strokes missed{where}): play it alone, then everything at "
        f"{_slower(case, each.tally.missed / each.tally.expected)}.",
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


def _strokes_missing(case: _Case) -> str:
    tally = case.review.tally
    share = tally.missed / max(tally.expected, 1)
    if tally.missed < LEAST_MISSED or share < MISSED or _dropping(case) or _tempo(case):
        return ""
    if case.view.silent_bars and _lost(case):
        return ""
    where = _most_missed(_by_count(case.view.lanes))
    return (
        f"{tally.missed:,} of {tally.expected:,} strokes are missing{where}: slow down to "
        f"{_slower(case, share)}."
    )


def _by_count(lanes: Sequence[Lane]) -> list[Lane]:
    """The lanes of each count in one."""
    found: dict[str, Lane] = {}
    for lane in lanes:
        whole = found.setdefault(lane.count, Lane(lane.count, lane.place, lane.limbs))
        whole.missed.extend(lane.missed)
        whole.offs.extend(lane.offs)
    return list(found.values())


def _tempo(case: _Case) -> str:
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
            f"It does not hold at {pulses(first.tempo)} yet ({why}): begin at "
            f"{pulses(round(SLOWER * first.tempo))}."
        )
    return (
        f"It holds up to {pulses(max(good))} and falls apart from {pulses(first.tempo)} on "
        f"({why}): stay at {pulses(max(good))} until it is easy."
    )


def _holds(share: float, spread_percent: float | None, spread_ms: float | None) -> bool:
    loose = (spread_percent or 0) > LOOSE * STEADY_PERCENT and (spread_ms or 0) > STEADY_MS
    return share >= 1 - MISSED and not loose


def _count_falls_apart(case: _Case) -> str:
    view = case.view
    limb = _dropping(case)  # what is said of a limb is not said of its counts again
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
        if len(lane.missed) < LEAST_MISSED or share < COUNT_MISSED:
            break
        if _stands_out(len(lane.missed), lane.tally.expected, others, len(lanes)):
            since = _from_tempo(case, lane)
            return _by_sticking(
                case,
                lane.limbs,
                f"the {lane.title} on {lane.count} falls apart ({len(lane.missed):,} of "
                f"{lane.tally.expected:,} missed{since}): loop the beat it is in, slowly.",
            )
    usual, loose = _loose(view)
    if not loose:
        return ""
    spread, lane = loose[0]
    return _by_sticking(
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


def _from_tempo(case: _Case, lane: Lane) -> str:
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


# Nothing besides


def _extras(case: _Case) -> str:
    tally, view = case.review.tally, case.view
    if tally.extra < LEAST_MISSED or tally.extra < EXTRA * tally.expected:
        return ""
    where = f", most about {listed(view.extra_counts)}" if view.extra_counts else ""
    pads: dict[str, int] = {}
    for each in view.extras:
        pads[each.voice] = pads.get(each.voice, 0) + 1
    pad = max(pads, key=lambda name: pads[name])
    on = f", {pads[pad]:,} of them on {printable(pad)}" if pads[pad] > 0.5 * tally.extra else ""
    return (
        f"{many(tally.extra, 'stroke')} too many{where}{on}: leave them out; if you did not play "
        "them, turn that pad's sensitivity down."
    )


# Together


def _apart(case: _Case) -> str:
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
    if loose and loose.deviation_ms >= LOOSE_GAP_MS and not _unsteady(case):
        one, other = loose.limbs
        return _by_sticking(
            case,
            loose.limbs,
            f"{one.title} and {other.title} land now one, now the other first{_at(loose)}, "
            f"{ms(loose.deviation_ms)} to either side: play these two alone, slowly.",
        )
    return ""


def _is_sure(gap_ms: float, deviation_ms: float, times: int) -> bool:
    """Whether a gap is no accident: twice its standard error, the usual measure."""
    return abs(gap_ms) >= 2 * deviation_ms / sqrt(times)


def _together(case: _Case, meeting: Meeting) -> str:
    one, other = meeting.limbs
    first, second = (one, other) if meeting.gap_ms > 0 else (other, one)
    return _by_sticking(
        case,
        meeting.limbs,
        f"your {first.title} lands {ms(meeting.gap_ms)} before the {second.title}"
        f"{_at(meeting)}: play these two alone, slowly, until they sound as one.",
    )


def _at(meeting: Meeting) -> str:
    return f" on {listed(meeting.counts)}" if len(meeting.counts) <= 4 else ""


# In time


def _pace(case: _Case) -> str:
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


def _off_the_click(case: _Case) -> str:
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


# With accents


def _accents(case: _Case) -> str:
    if not case.view.has_dynamics:
        return ""
    for each in case.review.limbs:
        levels = each.levels
        if each.tally.hit < FEWEST_STROKES or levels.ratio is None or levels.overlap is None:
            continue
        if levels.ratio >= ACCENT_RATIO and levels.overlap <= OVERLAP:
            continue
        often = f", and {percent(levels.overlap)} of taps are as loud as an accent"
        return _by_sticking(
            case,
            (each.limb,),
            f"your {each.limb.title}'s accents do not stand out ({levels.ratio:.2f} times the "
            f"velocity of taps{often if levels.overlap >= 0.01 else ''}): keep the taps low.",
        )
    return ""


def _ghosts(case: _Case) -> str:
    if not case.view.has_dynamics:
        return ""
    for each in case.review.limbs:
        ghost, tap = each.levels.ghost, each.levels.tap or each.levels.accent
        if ghost and tap and each.tally.hit >= FEWEST_STROKES and ghost > GHOST_RATIO * tap:
            return _by_sticking(
                case,
                (each.limb,),
                f"your {each.limb.title}'s ghost notes are {percent(ghost / tap)} as strong as "
                "its other strokes: play them from a hand's breadth, no higher.",
            )
    return ""


# Even, steady


def _doubles(case: _Case) -> str:
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
            return _by_sticking(
                case,
                (each.limb,),
                f"the second stroke of your {each.limb.title}'s doubles is {listed(faults)}: play "
                "doubles slowly, both strokes from the same height.",
            )
    return ""


def _unsteady(case: _Case) -> str:
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
    return _by_sticking(
        case,
        (worst.limb,),
        f"your {worst.limb.title} is uneven, {ms(spread)} to either side ({share:.0f} % of a grid "
        f"step): count every step aloud at {_slower(case, 0.0)} and fill the room between.",
    )


# Clean


def _clean(case: _Case) -> str:
    review = case.review
    tally = review.tally
    spreads = [each.timing.deviation_ms for each in review.limbs if each.timing.deviation_ms]
    steady = f", steady to {ms(max(spreads))}" if spreads else ""
    if tally.hit < tally.expected or tally.extra:
        extra = f" and {many(tally.extra, 'stroke')} too many" if tally.extra else ""
        again = "once more at this tempo" if tally.clean >= GOOD else (
            f"once more at {_slower(case, 0.0)}"
        )  # fmt: skip
        return f"Nearly clean: {tally.hit:,} of {tally.expected:,} strokes{extra}{steady}; {again}."
    up = f"go up to {pulses(case.known.next_tempo)}" if case.known.next_tempo else "go up"
    return f"Clean: all {many(tally.expected, 'stroke')}{steady}; {up}."


def _slower(case: _Case, missed: float) -> str:
    """The tempo to go down to."""
    down = MUCH_SLOWER if missed >= BADLY else SLOWER
    return pulses(max(round(down * min(case.review.played_tempo, 500.0)), 1))


def _by_sticking(case: _Case, limbs: Sequence[Limb], text: str) -> str:
    """Says where a hand is known from the sticking only."""
    if any(limb in case.view.uncertain and limb in HANDS for limb in limbs):
        return f"By the sticking, {text}"
    return f"{text[:1].upper()}{text[1:]}"


RULES = (
    Rule("short", _short, True),
    Rule("other kit", _other_kit, True),
    Rule("other exercise", _other_exercise, True),
    Rule("lost", _lost),
    Rule("limb drops out", _limb_drops_out),
    Rule("tempo", _tempo),
    Rule("strokes missing", _strokes_missing),
    Rule("count falls apart", _count_falls_apart),
    Rule("extras", _extras),
    Rule("apart", _apart),
    Rule("pace", _pace),
    Rule("off the click", _off_the_click),
    Rule("accents", _accents),
    Rule("ghosts", _ghosts),
    Rule("doubles", _doubles),
    Rule("unsteady", _unsteady),
    Rule("clean", _clean),
)
