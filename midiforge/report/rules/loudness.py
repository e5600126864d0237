"""Accents and ghost notes."""

from midiforge.report.rules.case import (
    FEWEST_STROKES,
    Case,
    by_sticking,
)
from midiforge.report.words import percent

# Accents: a quarter more velocity is heard as louder on most modules; common practice.
ACCENT_RATIO, OVERLAP, GHOST_RATIO = 1.25, 0.10, 0.85


def accents(case: Case) -> str:
    if not case.view.has_dynamics:
        return ""
    for each in case.review.limbs:
        levels = each.levels
        if each.tally.hit < FEWEST_STROKES or levels.ratio is None or levels.overlap is None:
            continue
        if levels.ratio >= ACCENT_RATIO and levels.overlap <= OVERLAP:
            continue
        often = f", and {percent(levels.overlap)} of taps are as loud as an accent"
        return by_sticking(
            case,
            (each.limb,),
            f"your {each.limb.title}'s accents do not stand out ({levels.ratio:.2f} times the "
            f"velocity of taps{often if levels.overlap >= 0.01 else ''}): keep the taps low.",
        )
    return ""


def ghosts(case: Case) -> str:
    if not case.view.has_dynamics:
        return ""
    for each in case.review.limbs:
        ghost, tap = each.levels.ghost, each.levels.tap or each.levels.accent
        if ghost and tap and each.tally.hit >= FEWEST_STROKES and ghost > GHOST_RATIO * tap:
            return by_sticking(
                case,
                (each.limb,),
                f"your {each.limb.title}'s ghost notes are {percent(ghost / tap)} as strong as "
                "its other strokes: play them from a hand's breadth, no higher.",
            )
    return ""
