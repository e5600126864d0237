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
    """Accents that are there, one stroke of the hands early or late."""
    if not case.view.has_dynamics:
        return None
    strokes = [
        (judged.due.hit.strength is Strength.ACCENT, judged.velocity or 0)
        for judged in case.review.judged
        if judged.kind == "hit" and judged.due and judged.due.hit.limb in HANDS
    ]
    loud = {way: _louder(strokes, way) for way in (-1, 0, 1)}
    way = max(loud, key=lambda way: loud[way])
    if way == 0 or loud[way] < ACCENT_RATIO or loud[0] >= 1:
        return None
    return Finding(
        f"Your accents come one stroke {'early' if way < 0 else 'late'}: say the sticking aloud, "
        "louder where it is written, then play it.",
        SOUND / OVERLAP,  # as much as accents can lack
        frozenset({("accents",)}),
    )


def _louder(strokes: Sequence[tuple[bool, int]], way: int) -> float:
    """How much louder the strokes are that lie so many behind an accent than all others."""
    loud: dict[bool, list[int]] = {True: [], False: []}
    for i, (_, velocity) in enumerate(strokes):
        if 0 <= i - way < len(strokes):
            loud[strokes[i - way][0]].append(velocity)
    if min(map(len, loud.values())) < FEWEST_STROKES:
        return 0.0
    return fmean(loud[True]) / max(fmean(loud[False]), 1.0)


def ghosts(case: Case) -> Finding | None:
    for limb in _told(case):
        ratio = strongest_ghosts(case.review.loudness, limb)
        if ratio is not None and ratio > GHOST_RATIO:
            return Finding(
                f"Your {_whose(limb)}ghost notes are {percent(ratio)} as strong as other strokes: "
                "play them from a hand's breadth, no higher.",
                SOUND * ratio / GHOST_RATIO,
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
            )
    return None
