"""Where in the take the exercise begins.

It is found by trying: each of the first strokes may be each of the first expected ones; the try
that explains most and most closely wins, the fewest missing before it, the accents where they are
loud. Dense strokes meet something at any tempo; only at the right one do they meet it closely.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from midiforge.model.hit import Strength
from midiforge.takes.expected import Due
from midiforge.takes.match import match

_FIRST_STROKES, _FIRST_SECONDS = 48, 20.0  # looked at to find the start
_LONGEST_LOOK = 120.0  # seconds, however few strokes that are
_TEMPO_STROKES = 4  # fewer do not tell a tempo
_TRIED_STROKES, _TRIED_DUES = 16, 96
# Explains so much, and so closely (as a share of the window): no other tempo is tried.
_GOOD, _CLOSE = 0.75, 0.25
_SLOWEST, _FASTEST, _RATIO = 0.55, 1.8, 1.012
_LOOKED_INTO, _ANOTHER = 5, 1.03  # tempos looked into, so many times as fast as each other
_BETTER = 0.03  # so much better must another tempo be
_LOUD = 0.05  # what it is worth if accents are louder
_APART = 0.3  # what it costs if strokes lie a whole window from their dues


@dataclass(frozen=True, slots=True)
class Heard:
    """A played stroke on a known pad. time: seconds; index: in the take's strokes."""

    time: float
    pad: str
    velocity: int
    index: int


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
        return self.share - _APART * self.apart


@dataclass(frozen=True, slots=True)
class _Try:
    """A start that was tried. merit: how likely it is."""

    start: Start
    merit: float = -1.0


def by_pad(strokes: Iterable[Heard]) -> dict[str, list[Heard]]:
    found: dict[str, list[Heard]] = {}
    for stroke in strokes:
        found.setdefault(stroke.pad, []).append(stroke)
    return found


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
    found = _likeliest(dues, known, window)
    return replace(found, share=found.share * len(known) / among)


def _strokes_to_see(dues: Sequence[Due]) -> int:
    """How many strokes it takes; a call alone does not tell itself from its answer."""
    calls = [i for i, (one, two) in enumerate(pairwise(dues)) if two.call and not one.call]
    return max(_FIRST_STROKES, calls[0] + 1) if calls else _FIRST_STROKES


def _likeliest(dues: Sequence[Due], known: Sequence[Heard], window: float) -> Start:
    found = _best_start(dues, known, window, 1.0, _TRIED_STROKES, _TRIED_DUES)
    good = found.start.share >= _GOOD and found.start.apart <= _CLOSE
    if good or len(known) < _TEMPO_STROKES:
        return found.start
    stretch = _SLOWEST
    tries = []
    while stretch <= _FASTEST:
        tries.append(_best_start(dues, known[:32], window * min(stretch, 1.0), stretch, 5, 10))
        stretch *= _RATIO
    tries.sort(key=merit_of, reverse=True)
    likely: list[_Try] = []
    for each in tries:
        tempos = (other.start.stretch / each.start.stretch for other in likely)
        if all(not 1 / _ANOTHER < tempo < _ANOTHER for tempo in tempos):
            likely.append(each)
        if len(likely) == _LOOKED_INTO:
            break
    other = max((_refined(dues, known, window, each) for each in likely), key=merit_of)
    return (other if other.merit > found.merit + _BETTER else found).start


def merit_of(tried: _Try) -> float:
    return tried.merit


def _best_start(
    dues: Sequence[Due],
    strokes: Sequence[Heard],
    window: float,
    stretch: float,
    tried_strokes: int,
    tried_dues: int,
) -> _Try:
    soon = bisect_right(strokes, strokes[0].time + _FIRST_SECONDS, key=lambda each: each.time)
    many = _strokes_to_see(dues)
    some = strokes[: min(many, max(soon, 4)) if many == _FIRST_STROKES else many]
    seen: set[int] = set()
    best = _Try(Start(0.0, stretch, 0.0))
    for number, stroke in enumerate(some[:tried_strokes]):
        for due in dues[:tried_dues]:
            if due.pad != stroke.pad:
                continue
            offset = stroke.time - due.time * stretch
            key = round(offset / (window / 3))
            if key in seen:
                continue
            seen.add(key)
            share, loud, apart = _explained(dues, some, offset, stretch, window)
            # As a rule one begins at the beginning, with the first stroke that was heard.
            early = 0.004 * number + 0.0005 * bisect_left(dues, due.time, key=due_time)
            start = Start(offset, stretch, share, apart)
            merit = start.fit + _LOUD * loud - early
            if merit > best.merit:
                best = _Try(start, merit)
    return best


def due_time(due: Due) -> float:
    return due.time


def _explained(
    dues: Sequence[Due], strokes: Sequence[Heard], offset: float, stretch: float, window: float
) -> tuple[float, float, float]:
    """How much of strokes and dues meet (0 to 1), whether accents are the louder ones, how near."""
    last = bisect_right(dues, (strokes[-1].time - offset + window) / stretch, key=due_time)
    at: dict[str, list[tuple[float, Due]]] = {}
    total = len(strokes)
    for due in dues[:last]:
        total += not due.call
        at.setdefault(due.pad, []).append((due.time * stretch + offset, due))
    met, apart = 0, 0.0
    loud: list[int] = []
    soft: list[int] = []
    for pad, heard in by_pad(strokes).items():
        lines = at.get(pad, [])
        pairs = match([time for time, _ in lines], [each.time for each in heard], window)
        met += len(pairs)
        for i, j in pairs:
            time, due = lines[i]
            apart += abs(heard[j].time - time)
            total += due.call  # asked of who plays it
            accent = due.hit.strength is Strength.ACCENT
            (loud if accent else soft).append(heard[j].velocity)
    share = 2 * met / total if total else 0.0
    apart = apart / (met * window) if met else 1.0
    if not loud or not soft:
        return share, 0.0, apart
    difference = sum(loud) / len(loud) - sum(soft) / len(soft)
    return share, max(-1.0, min(1.0, difference / 40)), apart


def _refined(dues: Sequence[Due], strokes: Sequence[Heard], window: float, rough: _Try) -> _Try:
    """The tempo by a straight line through the pairs that a rough start gives."""
    best, start = rough, rough.start
    many = _strokes_to_see(dues)
    for used in (32, _FIRST_STROKES, len(strokes), len(strokes)):
        pairs = _pairs(dues, strokes[:used], start, window * min(start.stretch, 1.0))
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
        share, loud, apart = _explained(dues, strokes[:many], offset, stretch, window)
        start = Start(offset, stretch, share, apart)
        best = _Try(start, start.fit + _LOUD * loud)
    return best


def _pairs(
    dues: Sequence[Due], strokes: Sequence[Heard], start: Start, window: float
) -> list[tuple[float, float]]:
    end = (strokes[-1].time - start.offset + window) / start.stretch
    near = dues[: bisect_right(dues, end, key=due_time)]
    at: dict[str, list[float]] = {}
    for due in near:
        at.setdefault(due.pad, []).append(due.time)
    found = []
    for pad, heard in by_pad(strokes).items():
        lines = at.get(pad, [])
        moved = [time * start.stretch + start.offset for time in lines]
        for i, j in match(moved, [each.time for each in heard], window):
            found.append((lines[i], heard[j].time))
    return found
