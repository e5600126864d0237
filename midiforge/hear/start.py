"""Where in the take the exercise begins.

It is found by trying: each of the first strokes may be each of the first expected ones; the try
that explains most and most closely wins, the fewest missing before it, the accents where they are
loud. Dense strokes meet something at any tempo; only at the right one do they meet it closely.
"""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import pairwise
from operator import attrgetter

from midiforge.hear.expected import Due
from midiforge.hear.opening import Heard, Opening, Part, Start, Wanted
from midiforge.hear.tries import Try, likeliest, tried
from midiforge.model.hit import Strength

_FIRST_STROKES, _FIRST_SECONDS = 48, 20.0  # looked at to find the start
_LONGEST_LOOK = 120.0  # seconds, however few strokes that are
_TEMPO_STROKES = 4  # fewer do not tell a tempo
_TRIED_STROKES, _TRIED_DUES = 16, 96
# Explains so much, and so closely (as a share of the window): no other tempo is tried.
_GOOD, _CLOSE = 0.75, 0.25
_SLOWEST, _FASTEST, _RATIO = 0.55, 1.8, 1.012
_LOOKED_INTO = 5  # tempos
_BETTER = 0.03  # so much better must another tempo be


def find_start(dues: Sequence[Due], strokes: Sequence[Heard], window: float) -> Start:
    """The likeliest beginning; its share is small where the take is of something else."""
    if not dues or not strokes:
        return Start(strokes[0].time if strokes else 0.0, 1.0, 0.0)
    wanted = {due.pad for due in dues}
    many = 2 * _strokes_to_see(dues)
    known = [stroke for stroke in strokes if stroke.pad in wanted][:many]
    if not known:
        return Start(strokes[0].time, 1.0, 0.0)
    soon = known[0].time + _LONGEST_LOOK
    known = known[: max(bisect_right(known, soon, key=lambda each: each.time), 1)]
    # Strokes on pads that the exercise does not use speak against it.
    among = sum(1 for stroke in strokes if known[0].time <= stroke.time <= known[-1].time)
    asked = (
        Wanted(due.time, due.pad, due.hit.strength is Strength.ACCENT, due.call) for due in dues
    )
    found = _start(tuple(asked), tuple(known), window)
    return replace(found, share=found.share * len(known) / among)


def due_time(due: Due) -> float:
    return due.time


def _strokes_to_see(dues: Sequence[Due | Wanted]) -> int:
    """How many strokes it takes; a call alone does not tell itself from its answer."""
    calls = [i for i, (one, two) in enumerate(pairwise(dues)) if two.call and not one.call]
    return max(_FIRST_STROKES, calls[0] + 1) if calls else _FIRST_STROKES


@lru_cache(maxsize=64)  # much of a drill is alike on the pads that were struck
def _start(dues: tuple[Wanted, ...], known: tuple[Heard, ...], window: float) -> Start:
    part, many = Part(dues), _strokes_to_see(dues)
    opening = _seen(part, known, many)
    found = likeliest(opening, window, [1.0], _TRIED_STROKES, _TRIED_DUES)[0]
    good = found.start.share >= _GOOD and found.start.apart <= _CLOSE
    if good or len(known) < _TEMPO_STROKES:
        return found.start
    opening = _seen(part, known[:32], many)
    likely = likeliest(opening, window, _stretches(), 5, 10, _LOOKED_INTO)
    refined = (_refined(part, known, many, window, each) for each in likely)
    other = max(refined, key=attrgetter("merit"))
    return (other if other.merit > found.merit + _BETTER else found).start


def _stretches() -> list[float]:
    stretch, found = _SLOWEST, []
    while stretch <= _FASTEST:
        found.append(stretch)
        stretch *= _RATIO
    return found


def _seen(part: Part, strokes: Sequence[Heard], many: int) -> Opening:
    """The strokes by which a start is told."""
    soon = bisect_right(strokes, strokes[0].time + _FIRST_SECONDS, key=lambda each: each.time)
    return Opening(part, strokes[: min(many, max(soon, 4)) if many == _FIRST_STROKES else many])


def _refined(part: Part, strokes: Sequence[Heard], many: int, window: float, rough: Try) -> Try:
    """The tempo by a straight line through the pairs that a rough start gives."""
    best, start = rough, rough.start
    seen = Opening(part, strokes[:many])
    for used in (32, _FIRST_STROKES, len(strokes), len(strokes)):
        pairs = Opening(part, strokes[:used]).pairs(
            start.offset, start.stretch, window * min(start.stretch, 1.0)
        )
        if len(pairs) < 4:
            break
        mean_due = sum(due for due, _ in pairs) / len(pairs)
        mean_time = sum(time for _, time in pairs) / len(pairs)
        spread = sum((due - mean_due) ** 2 for due, _ in pairs)
        if spread <= 0:
            break
        stretch = sum((due - mean_due) * (time - mean_time) for due, time in pairs) / spread
        if not _SLOWEST * 0.9 <= stretch <= _FASTEST * 1.1:
            break
        offset = mean_time - stretch * mean_due
        best = tried(seen, offset, stretch, window)
        start = best.start
    return best
