"""Where in the take the exercise begins.

It is found by trying: each of the first strokes may be each of the first expected ones; the try
that explains most and most closely wins, the fewest missing before it, the accents where they are
loud. Dense strokes meet something at any tempo; only at the right one do they meet it closely.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from heapq import heapify, heappop, heappush
from itertools import pairwise

from midiforge.model.hit import Strength
from midiforge.takes.expected import Due
from midiforge.takes.opening import APART, LOUD, Ceiling, Heard, Opening, Part, Wanted

_FIRST_STROKES, _FIRST_SECONDS = 48, 20.0  # looked at to find the start
_LONGEST_LOOK = 120.0  # seconds, however few strokes that are
_TEMPO_STROKES = 4  # fewer do not tell a tempo
_TRIED_STROKES, _TRIED_DUES = 16, 96
# Explains so much, and so closely (as a share of the window): no other tempo is tried.
_GOOD, _CLOSE = 0.75, 0.25
_SLOWEST, _FASTEST, _RATIO = 0.55, 1.8, 1.012
_LOOKED_INTO, _ANOTHER = 5, 1.03  # tempos looked into, so many times as fast as each other
_BETTER = 0.03  # so much better must another tempo be


@dataclass(frozen=True, slots=True)
class Start:
    """How the take lies on the exercise at its beginning.

    offset: when the first downbeat is, in seconds of the take.
    stretch: seconds of the take to a second of the exercise; 1 where the tempo is right.
    share: how much of the first strokes it explains, 0 to 1.
    apart: how far those lie from where they are due, as a share of the window.
    """

    offset: float
    stretch: float
    share: float
    apart: float = 1.0

    @property
    def fit(self) -> float:
        """How much it explains, and how closely; 1 at best."""
        return self.share - APART * self.apart


@dataclass(frozen=True, slots=True)
class _Try:
    """A start that was tried. merit: how likely it is."""

    start: Start
    merit: float = -1.0


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
    found = _likeliest(tuple(asked), tuple(known), window)
    return replace(found, share=found.share * len(known) / among)


def due_time(due: Due) -> float:
    return due.time


def _strokes_to_see(dues: Sequence[Due | Wanted]) -> int:
    """How many strokes it takes; a call alone does not tell itself from its answer."""
    calls = [i for i, (one, two) in enumerate(pairwise(dues)) if two.call and not one.call]
    return max(_FIRST_STROKES, calls[0] + 1) if calls else _FIRST_STROKES


@lru_cache(maxsize=64)  # much of a drill is alike on the pads that were struck
def _likeliest(dues: tuple[Wanted, ...], known: tuple[Heard, ...], window: float) -> Start:
    part, many = Part(dues), _strokes_to_see(dues)
    opening = _seen(part, known, many)
    found = _best_tries(opening, window, [1.0], _TRIED_STROKES, _TRIED_DUES, 1)[0]
    good = found.start.share >= _GOOD and found.start.apart <= _CLOSE
    if good or len(known) < _TEMPO_STROKES:
        return found.start
    opening = _seen(part, known[:32], many)
    likely = _best_tries(opening, window, _stretches(), 5, 10, _LOOKED_INTO)
    other = max((_refined(part, known, many, window, each) for each in likely), key=merit_of)
    return (other if other.merit > found.merit + _BETTER else found).start


def _stretches() -> list[float]:
    stretch, found = _SLOWEST, []
    while stretch <= _FASTEST:
        found.append(stretch)
        stretch *= _RATIO
    return found


def merit_of(tried: _Try) -> float:
    return tried.merit


def _seen(part: Part, strokes: Sequence[Heard], many: int) -> Opening:
    """The strokes by which a start is told."""
    soon = bisect_right(strokes, strokes[0].time + _FIRST_SECONDS, key=lambda each: each.time)
    return Opening(part, strokes[: min(many, max(soon, 4)) if many == _FIRST_STROKES else many])


def _best_tries(
    opening: Opening,
    window: float,
    stretches: Sequence[float],
    tried_strokes: int,
    tried_dues: int,
    most: int,
) -> list[_Try]:
    """The likeliest try, and those of other tempos, the likeliest first.

    What may be likeliest is looked at first, so that most tries need not be.
    """
    ceiling, waiting = Ceiling(opening, window), []
    for number, stretch in enumerate(stretches):
        near = window * min(stretch, 1.0)
        tries = _tries(opening, near, stretch, tried_strokes, tried_dues)
        highest = ceiling.merits([offset for offset, _ in tries], stretch, near)
        for (offset, early), merit in zip(tries, highest, strict=True):
            tried = _Try(Start(offset, stretch, 0.0), early)
            waiting.append((early - merit, False, len(waiting), tried))
        waiting.append((1.0, True, len(waiting), _Try(Start(0.0, stretch, 0.0))))
    heapify(waiting)
    found: list[_Try] = []
    while waiting and len(found) < most:
        _, known, place, tried = heappop(waiting)
        offset, stretch = tried.start.offset, tried.start.stretch
        if any(1 / _ANOTHER < each.start.stretch / stretch < _ANOTHER for each in found):
            continue
        if known:
            found.append(tried)
            continue
        share, loud, apart = opening.explained(offset, stretch, window * min(stretch, 1.0))
        start = Start(offset, stretch, share, apart)
        merit = start.fit + LOUD * loud - tried.merit
        heappush(waiting, (-merit, True, place, _Try(start, merit)))
    return found


def _tries(
    opening: Opening, window: float, stretch: float, tried_strokes: int, tried_dues: int
) -> list[tuple[float, float]]:
    """Offsets that are tried at a tempo, and what it costs that they are early or late.

    As a rule one begins at the beginning, with the first stroke that was heard.
    """
    times = opening.part.times
    seen: set[int] = set()
    found = []
    for number, stroke in enumerate(opening.strokes[:tried_strokes]):
        for due in opening.part.dues[:tried_dues]:
            if due.pad != stroke.pad:
                continue
            offset = stroke.time - due.time * stretch
            key = round(offset / (window / 3))
            if key not in seen:
                seen.add(key)
                found.append((offset, 0.004 * number + 0.0005 * bisect_left(times, due.time)))
    return found


def _refined(
    part: Part, strokes: Sequence[Heard], many: int, window: float, rough: _Try
) -> _Try:
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
        share, loud, apart = seen.explained(offset, stretch, window)
        start = Start(offset, stretch, share, apart)
        best = _Try(start, start.fit + LOUD * loud)
    return best
