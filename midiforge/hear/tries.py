"""Starts of an exercise in a take, tried: the likeliest of very many."""

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from heapq import heapify, heappop, heappush

from midiforge.frozen import frozen
from midiforge.hear.ceiling import Ceiling
from midiforge.hear.opening import LOUD, Opening, Start

_ANOTHER = 1.03  # tempos so many times as fast as each other are two
_ROUGH, _FINE = 2, 6  # parts of the window by which is told what a try explains at most
_PAIRED = 2


@frozen
class Try:
    """A start that was tried. merit: how likely it is."""

    start: Start
    merit: float = -1.0


def tried(opening: Opening, offset: float, stretch: float, window: float, late: float = 0.0) -> Try:
    """A start, tried; late: what it costs that one does not begin at the beginning."""
    start, loud = opening.explained(offset, stretch, window)
    return Try(start, start.fit + LOUD * loud - late)


@frozen
class _Tempo:
    """The starts that are tried at one tempo: each offset, and what it costs that it is late."""

    stretch: float
    window: float
    starts: list[tuple[float, float]]
    earliest: float


def likeliest(
    opening: Opening,
    window: float,
    stretches: Sequence[float],
    strokes: int,
    dues: int,
    most: int = 1,
) -> list[Try]:
    """The likeliest start, and those of other tempos, the likeliest first: each of the first
    strokes may be each of the first dues.

    What may be likeliest is looked at first, and ever more closely, so that most starts need no
    pairs; what comes out is what pairs of all of them would give.
    """
    tempos = []
    for stretch in stretches:
        near = window * min(stretch, 1.0)
        starts = [*_starts(opening, near, stretch, strokes, dues)]
        tempos.append(_Tempo(stretch, near, starts, min(starts, default=(0.0, 0.0))[0]))
    every = [offset for tempo in tempos for offset, _ in tempo.starts]
    spread = max(every) - min(every) if every else 0.0
    rough, fine = (Ceiling(opening, window, spread, parts) for parts in (_ROUGH, _FINE))
    # Below 0 the merit, at most; how closely it was looked at; which start; its tempo; itself.
    waiting: list[tuple[float, int, int, _Tempo, Try]] = []
    for tempo in tempos:
        at_most = rough.at(tempo.stretch, tempo.window, tempo.earliest)
        for offset, late in tempo.starts:
            each = Try(Start(offset, tempo.stretch, 0.0), late)
            waiting.append((late - at_most(offset), 0, len(waiting), tempo, each))
        never = Try(Start(0.0, tempo.stretch, 0.0))
        waiting.append((-never.merit, _PAIRED, len(waiting), tempo, never))
    heapify(waiting)
    found: list[Try] = []
    while waiting and len(found) < most:
        _, looks, place, tempo, each = heappop(waiting)
        if any(1 / _ANOTHER < one.start.stretch / tempo.stretch < _ANOTHER for one in found):
            continue
        if looks == _PAIRED:
            found.append(each)
        elif looks:
            each = tried(opening, each.start.offset, tempo.stretch, tempo.window, each.merit)
            heappush(waiting, (-each.merit, _PAIRED, place, tempo, each))
        else:
            at_most = fine.at(tempo.stretch, tempo.window, tempo.earliest)
            merit = at_most(each.start.offset) - each.merit
            heappush(waiting, (-merit, 1, place, tempo, each))
    return found


def _starts(
    opening: Opening, window: float, stretch: float, strokes: int, dues: int
) -> Iterator[tuple[float, float]]:
    """Offsets, and what it costs that they are not the first stroke and the first due.

    As a rule one begins at the beginning, with the first stroke that was heard.
    """
    times = opening.part.times
    seen: set[int] = set()
    for number, stroke in enumerate(opening.strokes[:strokes]):
        for due in opening.part.dues[:dues]:
            if due.pad == stroke.pad:
                offset = stroke.time - due.time * stretch
                key = round(offset / (window / 3))
                if key not in seen:
                    seen.add(key)
                    yield offset, 0.004 * number + 0.0005 * bisect_left(times, due.time)
