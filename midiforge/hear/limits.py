"""From where on a figure is a fault: what reviews and the log judge by, each limit once.

A musical limit has its source; "common practice" is teachers', "ours" is from recordings of
professional drummers, who must not fail by what a module and a USB cable add.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from math import sqrt
from statistics import median
from typing import NamedTuple

from midiforge.hear.figures import Levels, LoudnessFigures
from midiforge.model.hit import Limb

# So many strokes of a thing say something of a habit; ours.
FEWEST_STROKES = 8
LEAST_TIMES = 4  # fewer of a thing say nothing of a habit; ours

# A steady tempo's change is noticed from about 2.5 % of the interval on: A. Friberg and
# J. Sundberg, Time discrimination in a monotonic, isochronous sequence, J. Acoust. Soc. Am. 98,
# 1995 (2.5 %, and 6 ms below 240 ms; from memory). Tempo is judged at that, doubles at twice.
NOTICED, NOTICED_MS = 0.025, 6.0
# Steady within 8 % of a grid step (a thirty-second of it to either side of the stroke and a bit
# more): common practice; below 20 ms nobody is asked to be steadier: ours, from recordings, where
# a limb of a professional drummer, its module's jitter with it, spreads by 13 ms in the middle and
# by less than 20 ms in nine of ten cases, whatever the tempo.
STEADY_PERCENT, STEADY_MS = 8.0, 20.0
# Beside a click that one hears: from where two strokes are told apart.
OFF_THE_CLICK_MS = 20.0
# About the least gap at which one hears which of two sounds comes first: I. J. Hirsh, Auditory
# perception of temporal order, J. Acoust. Soc. Am. 31, 1959 (about 20 ms; from memory).
TOGETHER_MS = 20.0
# A hi-hat's pedal sends its note as it closes, not as it sounds; ours, from the same recordings,
# where it comes up to 32 ms from what is struck with it.
PEDAL_MS = 35.0
LOOSE_GAP_MS = 25.0  # with this deviation four of ten meetings are that far apart
# Accents: a quarter more velocity is heard as louder on most modules; common practice. A fifth of
# taps may be as loud as an accent: ours, from the same recordings, where accents that stand out
# have up to 18 %, and such as are none about half.
ACCENT_RATIO, OVERLAP, GHOST_RATIO = 1.25, 0.20, 0.85


class Place(NamedTuple):
    """Where a limb's strokes lie: how many, their mean and their deviation in ms."""

    limb: Limb
    strokes: int
    mean_ms: float
    deviation_ms: float


def near_ms(*limbs: Limb) -> float:
    """From how many ms on limbs are not together."""
    return PEDAL_MS if Limb.LEFT_FOOT in limbs else TOGETHER_MS


def in_time_ms(step_ms: float, *limbs: Limb) -> float:
    """How far a single stroke may be from the click it is played to, at a grid step of `step_ms`:
    as far as its limb may lie beside the others, or as unsteady as nobody is asked not to be."""
    return max(near_ms(*limbs), step_ms * STEADY_PERCENT / 100)


def is_sure(gap_ms: float, deviation_ms: float, times: int) -> bool:
    """Whether a gap is no accident: twice its standard error, the usual measure."""
    return abs(gap_ms) >= 2 * deviation_ms / sqrt(times)


def beside(places: Iterable[Place], near: Callable[[Limb], float] = near_ms) -> dict[Limb, float]:
    """Limbs that lie beside the others, by how many ms: the farthest first, and the rest without
    it, so that nobody is blamed for where another one is. near: from how many ms on a limb does."""
    left = [place for place in places if place.strokes >= LEAST_TIMES]
    off_by: dict[Limb, float] = {}
    while len(left) > 1:
        off = {
            place.limb: place.mean_ms - median(it.mean_ms for it in left if it is not place)
            for place in left
        }
        # Of two the one that is farther from the player's own time, which most strokes make.
        worst = max(left, key=lambda it: (abs(off[it.limb]) / near(it.limb), abs(it.mean_ms)))
        gap = off[worst.limb]
        if abs(gap) < near(worst.limb) or not is_sure(gap, worst.deviation_ms, worst.strokes):
            break
        off_by[worst.limb] = gap
        left.remove(worst)
    return off_by


def flattest(loudness: Sequence[LoudnessFigures], limb: Limb | None = None) -> Levels | None:
    """The accents of all or of a limb that stand out least on their voice; None where there are
    too few, or too few taps beside.

    Where accents have voices of their own, those of all voices together; their `overlap` is None.
    """
    some = [of for of in loudness if of.limb is limb and min(of.levels.times[:2]) >= LEAST_TIMES]
    on_one = [of.levels for of in some if of.voice]
    if on_one:
        return max(on_one, key=lambda levels: levels.overlap or 0.0)
    return next((replace(of.levels, overlap=None) for of in some), None)


def strongest_ghosts(loudness: Iterable[LoudnessFigures], limb: Limb | None = None) -> float | None:
    """Of ghost notes to other strokes, of all or of a limb, where they stand back least; None
    where there are too few."""
    some = [
        of.levels.ghost_ratio
        for of in loudness
        if of.limb is limb and of.levels.times[2] >= LEAST_TIMES
    ]
    return max((ratio for ratio in some if ratio is not None), default=None)


def are_flat(ratio: float | None, overlap: float | None) -> bool:
    """Whether accents do not stand out: `ratio` and `overlap` as in `Levels`, or as `flattest`
    gives them; of accents on voices of their own nothing is known."""
    return ratio is not None and overlap is not None and (ratio < ACCENT_RATIO or overlap > OVERLAP)
