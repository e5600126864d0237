"""The two hands against each other."""

from statistics import fmean

from midiforge.model.hit import HANDS, Strength
from midiforge.report.rules.case import FEWEST_STROKES, Case, by_sticking
from midiforge.report.words import percent

# Of one hand's taps to the other's on the same pad: as of the second stroke of a double; common
# practice. Pads are set to different levels, so that nothing is said of two.
EVEN = 0.80


def hands_unequal(case: Case) -> str:
    if not case.view.has_dynamics:
        return ""
    taps: dict[str, dict[str, list[int]]] = {}
    for stroke in case.review.judged:
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
            return by_sticking(
                case,
                HANDS,
                f"your {soft.title}'s taps are {percent(share)} as strong as your {loud.title}'s: "
                "bring both sticks to the same height and let the louder hand come down.",
            )
    return ""
