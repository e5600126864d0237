"""Accents, ghost notes, and the two hands against each other."""

from statistics import fmean

from midiforge.hear.limits import ACCENT_RATIO, GHOST_RATIO, OVERLAP
from midiforge.model.hit import HANDS, Strength
from midiforge.report.rules.case import FEWEST_STROKES, SOUND, Case, Finding
from midiforge.report.words import percent

# Of one hand's taps to the other's on the same pad: as of the second stroke of a double; common
# practice. Pads are set to different levels, so that nothing is said of two.
EVEN = 0.80


def accents(case: Case) -> Finding | None:
    for limb in case.review.limbs if case.view.has_dynamics else ():
        levels = limb.levels
        if limb.tally.hit < FEWEST_STROKES or levels.ratio is None or levels.overlap is None:
            continue
        if levels.ratio >= ACCENT_RATIO and levels.overlap <= OVERLAP:
            continue
        often = f", and {percent(levels.overlap)} of taps are as loud as an accent"
        return Finding(
            case.by_sticking(
                (limb.limb,),
                f"your {limb.limb.title}'s accents do not stand out ({levels.ratio:.2f} times the "
                f"velocity of taps{often if levels.overlap >= 0.01 else ''}): keep the taps low.",
            ),
            SOUND * max(ACCENT_RATIO / levels.ratio, levels.overlap / OVERLAP),
        )
    return None


def ghosts(case: Case) -> Finding | None:
    for limb in case.review.limbs if case.view.has_dynamics else ():
        ghost, tap = limb.levels.ghost, limb.levels.tap or limb.levels.accent
        if ghost and tap and limb.tally.hit >= FEWEST_STROKES and ghost > GHOST_RATIO * tap:
            return Finding(
                case.by_sticking(
                    (limb.limb,),
                    f"your {limb.limb.title}'s ghost notes are {percent(ghost / tap)} as strong as "
                    "its other strokes: play them from a hand's breadth, no higher.",
                ),
                SOUND * ghost / tap / GHOST_RATIO,
            )
    return None


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
