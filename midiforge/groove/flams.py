"""Grace notes of one hand before a louder stroke of the other, on another voice."""

from collections.abc import Mapping, Sequence
from math import inf

from midiforge.groove.limbs import FEET_VOICES
from midiforge.groove.source import Struck
from midiforge.hear.expected import pad_of

_FASTEST, _SLOWEST = 0.010, 0.070  # s, to what follows (common practice of flams and drags)
_SOFTER = 0.8
_MOST_GRACE_NOTES = 3
_MOST_LEADING = 32  # of the strokes that come so soon; nobody plays more
_LEADING = _MOST_GRACE_NOTES * _SLOWEST  # the first stroke comes so soon after its own

Graces = Mapping[int, tuple[int, ...]]  # places in the list: of a stroke, of its grace notes


def between_hands(struck: Sequence[Struck], end: float = inf) -> Graces:
    """Which strokes may be grace notes of another voice's.

    struck: in order of time. end: where the file comes round, in seconds: grace notes before it
        belong to its first stroke.
    """
    found: dict[int, list[int]] = {}
    hands = [i for i, each in enumerate(struck) if each.voice not in FEET_VOICES]
    first = [i for i in hands if struck[i].time - struck[hands[0]].time <= _LEADING]
    first = first[:_MOST_LEADING]
    mains: dict[int, int] = {}
    for at in range(len(hands) - 1, -1, -1):
        i = hands[at]
        own = struck[i]
        following = [(j, struck[j].time) for j in hands[at + 1 : at + 6]]
        if end - own.time <= _SLOWEST:
            following += [(j, end) for j in first if own.time > struck[j].time]
        near = [j for j, time in following if _FASTEST <= time - own.time <= _SLOWEST]
        louder = [j for j in near if own.velocity <= _SOFTER * struck[j].velocity]
        others = [j for j in louder if pad_of(struck[j].voice) != pad_of(own.voice)]
        own_pad = {struck[j].tick for j in louder if j not in others}
        others = [j for j in others if struck[j].tick not in own_pad]
        again = [mains[j] for j in near if j in mains and struck[j].voice == own.voice]
        again = [j for j in again if len(found[j]) < 2 * _MOST_GRACE_NOTES]  # at the seam too
        if again or others:
            main = again[0] if again else max(others, key=lambda j: struck[j].velocity)
            mains[i] = main
            found.setdefault(main, []).append(i)
    return {main: tuple(graces) for main, graces in found.items() if main not in mains}
