"""Strokes that went elsewhere, and strokes besides."""

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction

from midiforge.hear.expected import Due
from midiforge.hear.limits import LEAST_TIMES
from midiforge.hear.review import Judged
from midiforge.insight.words import bars_named
from midiforge.model.hit import Limb
from midiforge.printable import listed, many
from midiforge.report.rules.case import (
    GENERAL,
    LEAST_MISSED,
    MISSED,
    STROKES,
    Case,
    Fault,
    Finding,
)
from midiforge.report.rules.missing import missed_in
from midiforge.report.rules.swung import swung

EXTRA = 0.05
# So much that is not as written, and so much besides, and somebody plays another thing: ours.
FREE_MISSED, FREE_BESIDES = 0.10, 0.25
# So much of an exercise is never as written, and at most so much of that is one limb's, which has
# its own rules: ours.
OTHERWISE, ONE_LIMB = 0.15, 0.75
ADDED = 0.10  # ornaments and fills are music; so many are another exercise. Ours
MOST_FILLS = 0.34  # of the bars; where there are more, it is no fill. Ours
_MOST_COUNTS = 4  # more are not named
_MOST_WAYS = 3  # that are named of a limb that is pulled from several counts
BESIDES: Fault = ("besides",)
TRIGGERS = 0.05  # of all strokes; fewer happen on every kit. Ours


def pulled(case: Case) -> Finding | None:
    """A limb that goes with another one or with the beat, instead of where it is written."""
    strokes = [judged for judged in case.review.judged if judged.kind == "pulled" and judged.due]
    by_limb: dict[Limb, list[Judged]] = {}
    for judged in strokes:
        for hit in judged.due.hits if judged.due else ():
            if hit.limb:
                by_limb.setdefault(hit.limb, []).append(judged)
    for limb in sorted(by_limb, key=lambda limb: -len(by_limb[limb])):
        mine = by_limb[limb]
        expected = sum(lane.tally.expected for lane in case.view.lanes_of(limb))
        if len(mine) < LEAST_MISSED or len(mine) < EXTRA * expected:
            continue
        where, do = _pull(case, limb, mine)
        return Finding(
            case.by_sticking(
                (limb,),
                f"your {limb.title} is pulled{where} ({len(mine):,} of {expected:,} strokes): "
                f"{do}, so slowly that you hear each come by itself.",
            ),
            case.of_strokes(len(mine), expected),
            frozenset({("pulled", limb)}),
        )
    return None


def _pull(case: Case, limb: Limb, strokes: Sequence[Judged]) -> tuple[str, str]:
    """ " from 2a to 3, where the right hand is": where most of them went; and what to play."""
    view = case.view
    exercise = view.review.exercise
    ways = Counter(
        (judged.due.place, round((judged.off_ms or 0.0) / view.review.step_ms))
        for judged in strokes
        if judged.due
    )

    def there(place: Fraction, steps: int) -> Fraction:
        return (place + steps * exercise.step) % exercise.meter.bar

    way, times = ways.most_common(1)[0]
    if 2 * times < len(strokes):
        some = sorted(way for way, _ in ways.most_common(_MOST_WAYS))
        said = [f"from {view.count(way[0])} to {view.count(there(*way))}" for way in some]
        most = " " if len(some) == len(ways) else ", most "
        return f"{most}{listed(said)}", "loop these counts"
    others = [it for lane in view.lanes if lane.place == there(*way) for it in lane.limbs]
    others = [it for it in dict.fromkeys(others) if it != limb]
    who = listed([it.title for it in others])
    where = f", where the {who} {'are' if len(others) > 1 else 'is'}" if others else ""
    do = f"play it with the {who} alone" if others else "play it alone"
    return f" from {view.count(way[0])} to {view.count(there(*way))}{where}", do


def moved(case: Case) -> Finding | None:
    """A hand that plays in time, on another pad than the written one."""
    ways: Counter[tuple[Limb, str, str]] = Counter(
        (judged.due.hit.limb, judged.due.hit.voice, judged.voice)
        for judged in case.review.judged
        if judged.kind == "moved" and judged.due and judged.due.hit.limb
    )
    if not ways:
        return None
    (limb, written, struck), times = ways.most_common(1)[0]
    expected = sum(lane.tally.expected for lane in case.view.lanes_of(limb))
    if times < LEAST_MISSED or times < MISSED * expected:
        return None
    return Finding(
        f"Your {limb.title} plays {many(times, 'stroke')} in time, but on {struck} instead of "
        f"{written}: go back to {written}, or write the exercise as you play it.",
        GENERAL * case.of_strokes(times, expected),
        frozenset({("moved", limb)}),
    )


def otherwise(case: Case) -> Finding | None:
    """The same strokes of the exercise otherwise, time after time: another one, or one learnt
    wrongly."""
    review, tally = case.review, case.review.tally
    strokes: dict[int, list[tuple[Due, str]]] = {}  # by stroke of the music, time after time
    for judged in review.judged:
        if judged.due:
            strokes.setdefault(id(judged.due.hits), []).append((judged.due, judged.kind))
    never = [
        some
        for some in strokes.values()
        if len(some) >= LEAST_TIMES and sum(kind == "hit" for _, kind in some) <= MISSED * len(some)
    ]
    limbs: Counter[Limb] = Counter()
    for (due, _), *others in never:
        if due.hit.limb:
            limbs[due.hit.limb] += 1 + len(others)
    gone = sum(limbs.values())
    if gone < OTHERWISE * tally.expected or max(limbs.values()) > ONE_LIMB * gone or swung(case):
        return None
    places = sorted({some[0][0].place for some in never})
    where = f" on {listed([*map(case.view.count, places)])}" if len(places) <= _MOST_COUNTS else ""
    return Finding(
        f"You play something else than exercise {review.exercise.number} has{where} ({len(never)} "
        f"of its {len(strokes)} strokes, every time): look at drill and number, and if they are "
        "right, say what is written there aloud before you play it.",
        case.of_strokes(tally.expected - tally.hit + tally.extra + tally.added),
        missed_in(case.view.lanes)
        | {BESIDES, ("accents",)}
        | {(kind, limb) for kind in ("pulled", "moved", "double", "spread") for limb in limbs},
    )


def free(case: Case) -> Finding | None:
    """Playing around what is written: what is missing was not forgotten."""
    tally = case.review.tally
    away, besides = tally.expected - tally.hit, tally.extra + tally.added
    if away < FREE_MISSED * tally.expected or besides < FREE_BESIDES * tally.expected:
        return None
    return Finding(
        f"You play around what is written: of {tally.expected:,} strokes {tally.hit:,} are "
        f"clean, {away:,} are not, and {besides:,} came besides: play it as it is written, "
        "slowly, before anything else is judged.",
        case.of_strokes(away + besides),
        missed_in(case.view.lanes) | {BESIDES},
    )


def fills(case: Case) -> Finding | None:
    """A few bars in which something else is played than in all others."""
    view, tally = case.view, case.review.tally
    away = Counter(bar for lane in view.lanes for bar in lane.missed)
    besides = Counter(view.bars_of_besides())
    bars = {bar for bar in away if min(away[bar], besides[bar]) >= LEAST_MISSED}
    gone = sum(away[bar] for bar in bars)
    if not bars or len(bars) > MOST_FILLS * view.last_bar:
        return None
    if gone < 0.6 * sum(away.values()):
        return None
    return Finding(
        f"You play something else in {bars_named(bars)}, fills perhaps ({gone:,} written strokes "
        "are not there): to prove the exercise, go on with it.",
        max(case.of_strokes(tally.expected - tally.hit), STROKES),
        frozenset(fault for fault in missed_in(view.lanes) if fault[3] in bars) | {BESIDES},
    )


def extras(case: Case) -> Finding | None:
    tally, view = case.review.tally, case.view
    if tally.extra < LEAST_MISSED or tally.extra < EXTRA * tally.expected:
        return None
    where = f", most about {listed(view.extra_counts)}" if view.extra_counts else ""
    pad, times = Counter(judged.voice for judged in view.extras).most_common(1)[0]
    on = f", {times:,} of them on {pad}" if times > 0.5 * tally.extra else ""
    return Finding(
        f"{many(tally.extra, 'extra stroke')}{where}{on}: leave them out, and play what is "
        "written so slowly that nothing else slips in.",
        STROKES * tally.extra / (EXTRA * tally.expected),
        frozenset({BESIDES}),
    )


def added(case: Case) -> Finding | None:
    """Ornaments and fills, where the exercise has none."""
    tally = case.review.tally
    if tally.added < max(LEAST_MISSED, ADDED * tally.expected):
        return None
    return Finding(
        f"You add {many(tally.added, 'stroke')} to what is written, ornaments or fills, good music "
        "perhaps: to prove the exercise, leave them out.",
        tally.added / (ADDED * tally.expected),
        frozenset({BESIDES}),
    )


def triggers(case: Case) -> Finding | None:
    """A pad that rings twice, or when its neighbour is struck."""
    kinds, tally = case.review.kinds, case.review.tally
    times = kinds.get("double trigger", 0) + kinds.get("crosstalk", 0)
    if times < max(LEAST_MISSED, TRIGGERS * tally.expected):
        return None
    pads = Counter(
        judged.voice
        for judged in case.review.judged
        if judged.kind in ("double trigger", "crosstalk")
    )
    pad, most = pads.most_common(1)[0]
    rings = f"{pad} rings" if 2 * most > times else "Pads ring"
    return Finding(
        f"{rings[:1].upper()}{rings[1:]} where nobody struck ({many(times, 'stroke')}, not "
        "counted): turn sensitivity down, or the retrigger time up.",
        times / (TRIGGERS * tally.expected),
    )
