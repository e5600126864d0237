"""Accents, ghost notes, and the two hands against each other."""

from collections.abc import Sequence
from statistics import fmean

from midiforge.hear.limits import (
    ACCENT_RATIO,
    FEWEST_STROKES,
    GHOST_RATIO,
    OVERLAP,
    are_flat,
    flattest,
    strongest_ghosts,
)
from midiforge.model.hit import HANDS, Limb, Strength
from midiforge.report.rules.case import SOUND, Case, Finding
from midiforge.report.words import percent

# Of one hand's taps to the other's on the same pad: as of the second stroke of a double; common
# practice. Pads are set to different levels, so that nothing is said of two.
EVEN = 0.80
_AS_LOUD = 1.1  # where an accent is written, louder than others by more: it is there; ours
_CLEARER = 0.05  # by so much must accents from a later bar on be louder; ours


def accents(case: Case) -> Finding | None:
    """Accents that do not stand out: a limb's, or those of all on one voice."""
    for limb in _told(case):
        levels = flattest(case.review.loudness, limb)
        if levels is None or levels.ratio is None or not are_flat(levels.ratio, levels.overlap):
            continue
        overlap = levels.overlap or 0.0
        often = f", and {percent(overlap)} of taps are as loud as an accent"
        return Finding(
            f"Your {_whose(limb)}accents do not stand out ({levels.ratio:.2f} times the velocity "
            f"of taps{often if overlap >= 0.01 else ''}): keep the taps low.",
            SOUND * max(ACCENT_RATIO / levels.ratio, overlap / OVERLAP),
            frozenset({("accents",)}),
        )
    return None


def accents_moved(case: Case) -> Finding | None:
    """Accents that are there, one stroke of the hands early or late; from a bar on, or all."""
    if not case.view.has_dynamics:
        return None
    strokes = [
        (judged.due.bar, judged.due.hit.strength is Strength.ACCENT, judged.velocity or 0)
        for judged in case.review.judged
        if judged.kind == "hit" and judged.due and judged.due.hit.limb in HANDS
    ]
    bars = sorted({bar for bar, *_ in strokes})
    if not bars or not _are_on_one_drum(case):
        return None
    up_to = {way: _up_to(strokes, bars, way) for way in (-1, 0, 1)}
    nothing, everything = up_to[0][0], {way: sums[-1] for way, sums in up_to.items()}
    if _louder(nothing, everything[0]) >= ACCENT_RATIO:
        return None
    # From which bar on, and which way, accents are told most clearly: so, and before as written.
    best, told = 0.0, None
    for i, bar in enumerate(bars):
        before = _louder(nothing, up_to[0][i])
        since = {way: _louder(up_to[way][i], everything[way]) for way in up_to}
        way = max(since, key=lambda way: since[way])
        if (
            way == 0
            or since[way] < ACCENT_RATIO
            or since[0] >= _AS_LOUD
            or (i and before < ACCENT_RATIO)
        ):
            continue
        if since[way] + before > best + _CLEARER:
            best, told = since[way] + before, (way, bar if i else 0)
    if told is None:
        return None
    way, bar = told
    return Finding(
        f"Your accents come one stroke {'early' if way < 0 else 'late'}"
        f"{f' from bar {bar} on' if bar else ''}: say the sticking aloud, louder where it is "
        "written, then play it.",
        SOUND / OVERLAP,  # as much as accents can lack
        frozenset({("accents",), ("ghosts",), ("hands",), *(("double", hand) for hand in HANDS)}),
    )


def _are_on_one_drum(case: Case) -> bool:
    """Whether there are taps on a drum of the accents: only there one can tell them."""
    by: dict[Strength, set[str]] = {}
    for judged in case.review.judged:
        if judged.kind == "hit" and judged.due and judged.due.hit.limb in HANDS:
            by.setdefault(judged.due.hit.strength, set()).add(judged.due.pad)
    return bool(by.get(Strength.ACCENT, set()) & by.get(Strength.TAP, set()))


# Velocities added up and their number, of strokes that lie so many behind an accent, and others.
_Sums = tuple[int, int, int, int]


def _up_to(strokes: Sequence[tuple[int, bool, int]], bars: Sequence[int], way: int) -> list[_Sums]:
    """The sums before each of the bars, and those of all."""
    of_bar = {bar: [0, 0, 0, 0] for bar in bars}
    for i, (bar, _, velocity) in enumerate(strokes):
        if 0 <= i - way < len(strokes):
            at = 0 if strokes[i - way][1] else 2
            of_bar[bar][at] += velocity
            of_bar[bar][at + 1] += 1
    sums = [(0, 0, 0, 0)]
    for a, b, c, d in of_bar.values():
        loud, louds, soft, softs = sums[-1]
        sums.append((loud + a, louds + b, soft + c, softs + d))
    return sums


def _louder(before: _Sums, after: _Sums) -> float:
    """How much louder the one strokes are than the others, between two moments; 0 of few."""
    loud, louds, soft, softs = (two - one for one, two in zip(before, after, strict=True))
    if min(louds, softs) < FEWEST_STROKES:
        return 0.0
    return loud / louds / max(soft / softs, 1.0)


def ghosts(case: Case) -> Finding | None:
    for limb in _told(case):
        ratio = strongest_ghosts(case.review.loudness, limb)
        if ratio is not None and ratio > GHOST_RATIO:
            return Finding(
                f"Your {_whose(limb)}ghost notes are {percent(ratio)} as strong as other strokes: "
                "play them from a hand's breadth, no higher.",
                SOUND * ratio / GHOST_RATIO,
                frozenset({("ghosts",)}),
            )
    return None


def _told(case: Case) -> tuple[Limb | None, ...]:
    """Whose strokes are judged: limbs that MIDI tells apart, and all together."""
    limbs = [limb.limb for limb in case.review.limbs if limb.limb not in case.view.uncertain]
    return (*limbs, None) if case.view.has_dynamics else ()


def _whose(limb: Limb | None) -> str:
    return f"{limb.title}'s " if limb else ""


def hands_unequal(case: Case) -> Finding | None:
    taps: dict[str, dict[str, list[int]]] = {}
    for stroke in case.review.judged if case.view.has_dynamics else ():
        if stroke.kind != "hit" or stroke.due is None or len(stroke.due.hits) > 1:
            continue
        hit = stroke.due.hit
        if hit.limb in HANDS and hit.strength is Strength.TAP and stroke.velocity:
            taps.setdefault(stroke.voice, {}).setdefault(hit.limb, []).append(stroke.velocity)
    for of_pad in taps.values():
        if len(of_pad) < len(HANDS) or min(map(len, of_pad.values())) < FEWEST_STROKES:
            continue
        soft, loud = sorted(HANDS, key=lambda hand: fmean(of_pad[hand]))
        share = fmean(of_pad[soft]) / fmean(of_pad[loud])
        if share < EVEN:
            return Finding(
                case.by_sticking(
                    HANDS,
                    f"your {soft.title}'s taps are {percent(share)} as strong as your "
                    f"{loud.title}'s: bring both sticks to the same height and let the louder hand "
                    "come down.",
                ),
                SOUND * EVEN / share,
                frozenset({("hands",)}),
            )
    return None
