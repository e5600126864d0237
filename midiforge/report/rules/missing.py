"""All strokes there: bars, limbs, counts and strokes that are missing."""

from collections import Counter
from collections.abc import Iterable, Sequence
from math import exp, lgamma, log, log1p

from midiforge.hear.figures import LimbFigures
from midiforge.hear.limits import LEAST_TIMES
from midiforge.insight.words import bars_named
from midiforge.model.tempo import plain
from midiforge.printable import listed
from midiforge.report.rules.case import (
    GENERAL,
    GOOD,
    LEAST_MISSED,
    MISSED,
    STROKES,
    Case,
    Fault,
    Finding,
)
from midiforge.report.rules.pace import ramp
from midiforge.report.view import Lane, View
from midiforge.report.words import percent

ONE_COUNT = 0.75  # so many of a limb's misses on one count are that count's; ours
LEAST_IN_A_BAR = 3  # fewer strokes to a bar, and an empty one is a stroke or two missed; ours
LOST = 6.0  # the weight of a lost place at least: nothing after it is as it was meant. Ours
COUNT_MISSED = 0.20  # a count is hit every time or nearly; one of five is no accident
MOST_STOPS = 2  # bars in which a limb stops; more of them, and it drops out. Ours
STANDS_OUT = 2.0  # so many times the others' share of misses is one limb's, or one count's, own
# And of a hundred takes with nothing but accidents, five may be told of one: the usual measure,
# shared out among all limbs, or counts, that are compared.
ACCIDENT = 0.05


def stands_out(missed: int, expected: int, usual: float, compared: int) -> bool:
    """Whether so many misses are more than accidents at the usual share make."""
    if missed < STANDS_OUT * usual * expected:
        return False
    return at_least(missed, expected, usual) < ACCIDENT / compared


def at_least(times: int, of: int, chance: float) -> float:
    """How likely at least so many times are (binomial)."""
    if not 0 < chance < 1:
        return float(chance >= 1)
    likely = 0.0
    for i in range(times, of + 1):
        ways = lgamma(of + 1) - lgamma(i + 1) - lgamma(of - i + 1)
        likely += (term := exp(ways + i * log(chance) + (of - i) * log1p(-chance)))
        if i > of * chance and term < 1e-12:
            break
    return likely


def missed_in(lanes: Iterable[Lane]) -> frozenset[Fault]:
    """The misses of some lanes, each by its place and bar."""
    return frozenset(
        ("missed", lane.place, lane.limbs, bar) for lane in lanes for bar in lane.missed
    )


def silent(case: Case) -> Finding | None:
    """Bars in which nothing is played at all."""
    view = case.view
    bars = set(view.silent_bars)
    if not bars or view.review.tally.expected < LEAST_IN_A_BAR * view.last_bar:
        return None
    missing = frozenset(fault for fault in missed_in(view.lanes) if fault[3] in bars)
    if len(missing) < 0.5 * view.review.tally.missed:
        return None
    return Finding(
        f"Nothing is played in {bars_named(bars)}: loop that place from the bar before, "
        "until you get past it.",
        case.of_strokes(len(missing)),
        missing,
    )


def lost(case: Case) -> Finding | None:
    """Bars in which the place is lost."""
    view = case.view
    starts = view.bar_starts(view.last_bar)
    bars = sorted(
        {sum(1 for start in starts if start <= at + 1e-9) for at, _ in view.review.line.jumps}
    )
    if not bars:
        return None
    where = (
        f"in {bars_named(bars)}"
        if len(bars) <= 3
        else f"{len(bars)} times, first in bar {bars[0]},"
    )
    missing = frozenset(fault for fault in missed_in(view.lanes) if fault[3] in bars)
    return Finding(
        f"You lose the place {where} and go on elsewhere: count aloud, and loop the bars about it.",
        max(case.of_strokes(len(missing)), LOST),
        missing,
    )


def dropping(case: Case) -> LimbFigures | None:
    """The limb that misses clearly more than the others, not only on one of several counts."""
    limbs = case.review.limbs
    for limb in sorted(limbs, key=lambda limb: -limb.tally.missed / limb.tally.expected):
        rest = [other.tally for other in limbs if other is not limb]
        others = sum(tally.missed for tally in rest) / max(sum(t.expected for t in rest), 1)
        missed, expected = limb.tally.missed, limb.tally.expected
        if not rest or missed < LEAST_MISSED or missed / expected < MISSED:
            continue
        if expected - missed + _struck_besides(case, limb) > (1 - MISSED) * expected:
            continue  # it plays as much as is written, but something else
        lanes = case.view.lanes_of(limb.limb)
        if len(lanes) > 1 and max(len(lane.missed) for lane in lanes) >= ONE_COUNT * missed:
            continue
        if stands_out(missed, expected, others, len(limbs)):
            return limb
    return None


def stops(case: Case) -> Finding | None:
    """A limb that stops for a bar or two, and is there in all others."""
    nobody = set(case.view.silent_bars) if silent(case) else set[int]()
    for limb in case.review.limbs:
        lanes = case.view.lanes_of(limb.limb)
        missed = Counter(bar for lane in lanes for bar in lane.missed)
        asked = Counter(bar for lane in lanes for bar in (*lane.bars, *lane.missed))
        bars = {bar for bar, times in missed.items() if times >= max(0.6 * asked[bar], 3)} - nobody
        gone = sum(missed[bar] for bar in bars)
        if not bars or len(bars) > MOST_STOPS or gone < 0.6 * limb.tally.missed:
            continue
        return Finding(
            case.by_sticking(
                (limb.limb,),
                f"your {limb.limb.title} stops in {bars_named(bars)} ({gone:,} strokes missed "
                "there): loop that place from the bar before.",
            ),
            # Nothing of it is an accident, however long the take is.
            max(case.of_strokes(gone, limb.tally.expected), STROKES),
            frozenset(fault for fault in missed_in(lanes) if fault[3] in bars),
        )
    return None


def _struck_besides(case: Case, limb: LimbFigures) -> int:
    """How many strokes a limb played besides; of hands that MIDI does not tell apart, both."""
    own = limb.tally.extra + limb.tally.added
    if limb.certain:
        return own
    whole = case.review.tally
    return (
        whole.extra
        + whole.added
        - sum(it.tally.extra + it.tally.added for it in case.review.limbs if it is not limb)
    )


def limb_drops_out(case: Case) -> Finding | None:
    limb = dropping(case)
    if limb is None:
        return None
    lanes = case.view.lanes_of(limb.limb)
    return Finding(
        case.by_sticking(
            (limb.limb,),
            f"your {limb.limb.title} drops out ({limb.tally.missed:,} of "
            f"{limb.tally.expected:,} strokes missed{_most_missed(lanes)}): play it alone, then "
            "with all the others.",
        ),
        case.of_strokes(limb.tally.missed, limb.tally.expected),
        missed_in(lanes),
    )


def _most_missed(lanes: Sequence[Lane]) -> str:
    """ ", most on 2 and 4": the counts that have more of the misses than their share."""
    missed = sum(len(lane.missed) for lane in lanes)
    usual = missed / max(len(lanes), 1)
    worst = sorted(lanes, key=lambda lane: -len(lane.missed))[:3]
    named = [lane for lane in worst if len(lane.missed) >= max(1.25 * usual, 2)]
    if len(lanes) < 2 or not named or sum(len(lane.missed) for lane in named) < 0.5 * missed:
        return ""
    return f", most on {listed([lane.count for lane in sorted(named, key=lambda it: it.place)])}"


def strokes_missing(case: Case) -> Finding | None:
    tally = case.review.tally
    share = tally.missed / max(tally.expected, 1)
    if tally.missed < LEAST_MISSED or share < MISSED or ramp(case):
        return None
    lanes = case.view.lanes
    return Finding(
        f"{tally.missed:,} of {tally.expected:,} strokes are missing"
        f"{_most_missed(_by_count(lanes))}: sing them while you play, and leave none out.",
        GENERAL * case.of_strokes(tally.missed),
        missed_in(lanes),
    )


def _by_count(lanes: Sequence[Lane]) -> list[Lane]:
    """The lanes of each count in one."""
    counts: dict[str, Lane] = {}
    for lane in lanes:
        whole = counts.setdefault(lane.count, Lane(lane.count, lane.place, lane.limbs))
        whole.missed.extend(lane.missed)
        whole.offs.extend(lane.offs)
    return list(counts.values())


def count_falls_apart(case: Case) -> Finding | None:
    """One count that is missed where the others are there."""
    lanes = [lane for lane in case.view.lanes if lane.tally.expected >= LEAST_TIMES]
    missed = sum(len(lane.missed) for lane in lanes)
    expected = sum(lane.tally.expected for lane in lanes)
    for lane in sorted(lanes, key=lambda lane: lane.tally.clean):
        mine, of = len(lane.missed), lane.tally.expected
        others = (missed - mine) / max(expected - of, 1)
        if mine / of < COUNT_MISSED:
            break
        if mine >= LEAST_MISSED and stands_out(mine, of, others, len(lanes)):
            return Finding(
                case.by_sticking(
                    lane.limbs,
                    f"the {lane.title} on {lane.count} falls apart ({mine:,} of {of:,} missed"
                    f"{_from_tempo(case, lane)}): loop the beat it is in, slowly.",
                ),
                case.of_strokes(
                    mine, sum(it.tally.expected for it in lanes if it.limbs == lane.limbs)
                ),
                missed_in([lane]),
            )
    return None


def often_missed(view: View) -> list[str]:
    """The places of the bar that are missed, in words, the worst first."""
    shares = [
        (len(lane.missed) / lane.tally.expected, lane)
        for lane in view.lanes
        if len(lane.missed) >= LEAST_MISSED
    ]
    return [
        f"{lane.count} {lane.title}, {percent(share)} missed"
        for share, lane in sorted(shares, key=lambda pair: -pair[0])
        if share >= COUNT_MISSED
    ]


def _from_tempo(case: Case, lane: Lane) -> str:
    """ ", from 84 on": the tempo from which most of the misses of a count are."""
    exercise = case.review.exercise
    bars = (*lane.bars, *lane.missed)
    for time, tempo in exercise.tempo.changes[1:] if len(case.review.tempos) > 1 else ():
        start = int(time // exercise.meter.bar) + 1
        before = sum(bar < start for bar in lane.missed)
        later = sum(bar >= start for bar in bars)
        if (
            before <= (1 - GOOD) * (len(bars) - later)
            and later
            and len(lane.missed) - before >= COUNT_MISSED * later
        ):
            return f", from {plain(tempo)} on"
    return ""
