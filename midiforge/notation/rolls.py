"""Measured rolls: doubles in thirty-seconds, which are written as slashes through a longer note.

Written so is a run of strokes that is all of doubles from hand to hand, but for the release at its
end (Percussive Arts Society, International Drum Rudiments, from memory). Thirty-seconds in singles
or paradiddles are no roll, and each of their strokes is a note.
"""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import groupby, pairwise
from operator import attrgetter

from midiforge.frozen import frozen
from midiforge.model.hit import HANDS, Hit, Strength
from midiforge.notation.rhythm import FINEST

_DOUBLE = 2  # strokes
_HANDS_ALONE = frozenset(HANDS)


@frozen
class Roll:
    """A measured roll.

    strokes: in order of time, an even number.
    is_released: whether a tie leads to the stroke right behind it, on the same surface. A single
        double has none: it is a stroke made two.
    """

    strokes: tuple[Hit, ...]
    is_released: bool

    @property
    def start(self) -> Fraction:
        """When it begins."""
        return self.strokes[0].time

    @property
    def end(self) -> Fraction:
        """Up to when it lasts."""
        return self.strokes[-1].time + FINEST

    def within(self, start: Fraction, end: Fraction) -> tuple[Hit, ...]:
        """Its strokes after `start` and before `end`."""
        return tuple(hit for hit in self.strokes if start < hit.time < end)


def rolls(hits: Sequence[Hit]) -> Iterator[Roll]:
    """The measured rolls among the hits of one voice, which are in order of time."""
    at_once = [[*some] for _, some in groupby(hits, key=attrgetter("time"))]
    runs: list[list[list[Hit]]] = []
    for together in at_once:
        if not runs or together[0].time - runs[-1][-1][0].time != FINEST:
            runs.append([])
        runs[-1].append(together)
    for run in runs:
        doubles = len(run) // _DOUBLE * _DOUBLE
        if all(len(together) == 1 for together in run[:doubles]):
            strokes = [hit for [hit] in run[:doubles]]
            if _is_rolled(strokes):
                release = [hit.voice for together in run[doubles:] for hit in together]
                released = doubles > _DOUBLE and release == [strokes[-1].voice]
                yield Roll(tuple(strokes), released)


def _is_rolled(strokes: Sequence[Hit]) -> bool:
    """Whether strokes are doubles from hand to hand on one surface, with no accent but the first,
    and begin where a sixteenth can."""
    if not strokes or (strokes[0].time / (_DOUBLE * FINEST)).denominator > 1:
        return False
    limbs = [hit.limb for hit in strokes]
    firsts, seconds = limbs[::_DOUBLE], limbs[1::_DOUBLE]
    return (
        _HANDS_ALONE.issuperset(limbs)
        and firsts == seconds
        and all(one is not other for one, other in pairwise(firsts))
        and len({hit.voice for hit in strokes}) == 1
        and strokes[0].strength is not Strength.GHOST
        and all(hit.strength is Strength.TAP for hit in strokes[1:])
        and not any(hit.ornament for hit in strokes)
    )
