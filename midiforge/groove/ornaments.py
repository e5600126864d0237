"""Strokes of one pad that follow each other so fast that they belong together.

Flams, drags and ruffs (weaker strokes before a louder one), buzzes (a stroke and its fading
bounces), and triggers that rang twice. What is in equal steps or equally loud is a roll, and
stays what it is: strokes.
"""

from collections.abc import Iterator, Sequence
from itertools import pairwise
from math import inf
from operator import attrgetter
from typing import NamedTuple

from midiforge.frozen import frozen
from midiforge.groove.source import Struck
from midiforge.hear.expected import pad_of

# Grace notes are 10 to 70 ms apart (common practice of flams and drags).
_FASTEST, _SLOWEST = 0.010, 0.070
_BOUNCE = 0.060  # from one bounce of a buzz to the next, at most
_DOUBLE = 0.030  # a trigger that rings twice does so within this time
_GRACE_SOFTER, _DOUBLE_SOFTER, _BOUNCE_SOFTER = 0.8, 0.75, 0.9
_PRESSED_AGAIN = 1.3  # so much louder than the bounce before is a new stroke
_MOST_GRACE_NOTES = 3
_CLOSER = 1.4  # nearer to its stroke than others of the pad, or it is a step of a roll
# A beater that is left to itself comes back at the same time at any tempo, and softer (recordings:
# of 5,850 strokes within 85 ms, 5,290 at up to half the velocity, 56 to 62 ms later at 60 as at
# 150 a minute; of those at half or more, most within 40 ms, which no foot plays).
BASS_DRUM, _NO_FOOT, _BEATER, _BEATER_SOFTER = "bass-drum", 0.040, 0.085, 0.5
_TOGETHER = 0.0005  # struck at once, s


class Stroke(NamedTuple):
    """A stroke with what belongs to it.

    beside: 1 for the second sound of a pad that is struck at the same moment, else 0.
    grace_voice: of its grace notes, where it is another.
    """

    struck: Struck
    pad: str
    grace: int = 0
    buzz: bool = False
    beside: int = 0
    grace_voice: str = ""


@frozen
class Gathered:
    """strokes: in order of time. doubles: second triggers, left out."""

    strokes: tuple[Stroke, ...]
    doubles: tuple[Struck, ...]


def gather(struck: Sequence[Struck], plain: bool = False, end: float = inf) -> Gathered:
    """Every stroke once, its grace notes and bounces with it.

    plain: everything lies on a grid: what follows fast is meant so, and only the same note at
        the same moment is a second trigger.
    end: where the file comes round, in seconds: grace notes before it belong to its very first
        stroke.
    """
    by_pad: dict[str, list[Struck]] = {}
    pads: dict[str, str] = {}
    for each in struck:
        pad = pads.get(each.voice)
        if pad is None:
            pad = pads[each.voice] = pad_of(each.voice)
            by_pad.setdefault(pad, [])
        by_pad[pad].append(each)
    strokes: list[Stroke] = []
    doubles: list[Struck] = []
    for pad, heard in by_pad.items():
        if pad == BASS_DRUM and not plain:
            heard, bounced = _without_bounces(heard)
            doubles += bounced
        chains = _chains(heard, 0.0 if plain else _SLOWEST)
        last = -inf
        at_seam = 0
        if not plain and _wraps(chains, struck[0], end):
            at_seam = len(chains.pop())
        for i, chain in enumerate(chains):
            if len(chain) == 1:
                strokes.append(Stroke(chain[0], pad, 0 if i else at_seam))
            else:
                following = chains[i + 1][0].time if i + 1 < len(chains) else inf
                room = min(chain[0].time - last, following - chain[-1].time)
                _explain(chain, pad, strokes, doubles, plain, room)
            last = chain[-1].time
    strokes.sort(key=attrgetter("struck.time"))
    doubles.sort(key=lambda each: each.time)
    return Gathered(tuple(strokes), tuple(doubles))


def _without_bounces(heard: Sequence[Struck]) -> tuple[list[Struck], list[Struck]]:
    """The strokes of a bass drum, and those that were the beater coming back by itself."""
    kept: list[Struck] = []
    bounced: list[Struck] = []
    for each in heard:
        gap = each.time - kept[-1].time if kept else inf
        softer = each.velocity / kept[-1].velocity if kept else 1.0
        longest = _BEATER if softer <= _BEATER_SOFTER else _NO_FOOT
        back = _TOGETHER < gap <= longest
        (bounced if back else kept).append(each)
    return kept, bounced


def _wraps(chains: Sequence[Sequence[Struck]], first: Struck, end: float) -> bool:
    """Whether the last strokes of a pad are grace notes of its first, across a loop's seam."""
    last, main = chains[-1], chains[0][0]
    return (
        len(chains) > 1
        and main.time - first.time <= _TOGETHER
        and len(last) <= _MOST_GRACE_NOTES
        and 0 < end - last[-1].time <= _SLOWEST
        and all(each.velocity <= _GRACE_SOFTER * main.velocity for each in last)
    )


def _chains(heard: Sequence[Struck], longest: float) -> list[list[Struck]]:
    """Strokes that follow each other within `longest` seconds."""
    times = [each.time for each in heard]
    cuts = [0]
    cuts += [
        i for i, (time, later) in enumerate(pairwise(times), start=1) if later - time > longest
    ]
    cuts.append(len(times))
    return [list(heard[start:end]) for start, end in pairwise(cuts)]


def _explain(
    chain: list[Struck],
    pad: str,
    strokes: list[Stroke],
    doubles: list[Struck],
    plain: bool,
    room: float,
) -> None:
    """Adds what a chain is; `room`: seconds to the pad's strokes before and after it."""
    alone: list[Struck] = []
    for moment in _chains(chain, _TOGETHER):
        loud = max(moment, key=lambda each: each.velocity)
        alone.append(loud)
        others = {each.voice: each for each in moment if each.voice != loud.voice}
        second = max(others.values(), key=lambda each: each.velocity) if others else None
        if second is not None:
            strokes.append(Stroke(second, pad, beside=1))
        doubles += [each for each in moment if each is not loud and each is not second]
    if plain or len(alone) == 1:
        strokes += [Stroke(each, pad) for each in alone]
        return
    for part in _pressed(alone):
        _ornament(part, pad, strokes, doubles, room)


def _pressed(chain: list[Struck]) -> Iterator[list[Struck]]:
    """A chain cut where the stick is pressed anew: at a rise after at least two that fall."""
    part: list[Struck] = []
    falling = 0
    for each in chain:
        if part:
            before = part[-1].velocity
            if falling >= 2 and each.velocity >= _PRESSED_AGAIN * before:
                yield part
                part, falling = [], 0
            else:
                falling = falling + 1 if each.velocity < before else 0
        part.append(each)
    yield part


def _ornament(
    chain: list[Struck], pad: str, strokes: list[Stroke], doubles: list[Struck], room: float
) -> None:
    """One stroke with what belongs to it, or the strokes of a roll."""
    main = max(range(len(chain)), key=lambda i: (chain[i].velocity, -i))
    loud = chain[main].velocity
    before, after = chain[:main], chain[main + 1 :]
    gaps = [later.time - each.time for each, later in pairwise(chain)]
    graces = bool(before) and (
        len(before) <= _MOST_GRACE_NOTES
        and all(each.velocity <= _GRACE_SOFTER * loud for each in before)
        and all(gap >= _FASTEST for gap in gaps[:main])
        and max(gaps[:main]) * _CLOSER <= room
    )
    buzz = len(after) >= 2 and (
        all(each.velocity <= _BOUNCE_SOFTER * loud for each in after)
        and max(gaps[main:]) <= _BOUNCE
        and after[-1].velocity < after[0].velocity
    )
    rest: list[Struck] = []
    if before and not graces:
        if len(before) == 1 and gaps[0] < _FASTEST:
            doubles += before
        else:
            rest += before
    if after and not buzz:
        softer = after[0].velocity <= _DOUBLE_SOFTER * loud
        if softer and gaps[main] <= _DOUBLE:
            doubles.append(after[0])
            rest += after[1:]
        else:
            rest += after
    strokes.append(Stroke(chain[main], pad, len(before) if graces else 0, buzz))
    strokes += [Stroke(each, pad) for each in rest]
