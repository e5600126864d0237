"""Where in the take the exercise begins.

It is found by trying: each of the first strokes may be each of the first expected ones; the try
that explains most and most closely wins, the fewest missing before it, the accents where they are
loud. Dense strokes meet something at any tempo; only at the right one do they meet it closely.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import replace
from operator import attrgetter
from typing import NamedTuple

from midiforge.hear.asked import Asked
from midiforge.hear.entrance import CUT_IN, FEW, Bars, Way, Ways
from midiforge.hear.expected import Due
from midiforge.hear.opening import Heard, Opening, Part, Start
from midiforge.hear.tries import Try, likeliest

_FIRST_STROKES, _FIRST_SECONDS = 48, 20.0  # looked at to find the start
_LOOK, _NEXT_LOOK = 90.0, 60.0  # seconds in which the entrance is looked for; then later ones
_LOOKS = 12
_STRETCHES = 6  # of a look, on which the exercise is laid
_LIKELY = 0.55  # explained from the entrance on: it need not be looked for later
_TEMPO_STROKES = 4  # fewer do not tell a tempo
_TRIED_STROKES, _TRIED_DUES = 8, 512
# Explains so much, and so closely (as a share of the window): no other tempo is tried.
_GOOD, _FAIR, CLOSE = 0.75, 0.5, 0.25
_SURE = 0.92  # explains so much: no other beat of the exercise is tried for the first
SLOWEST, FASTEST, _RATIO = 0.46, 2.6, 1.012
_USUAL = 0.55, 1.8  # slower or faster than this, it is half or double the tempo
_ABOUT_HALF = 0.05  # as a share: so near half the tempo is tried for it
_LOOKED_INTO = 5  # tempos
_BETTER = 0.06  # so much better, as a share of all strokes, must another tempo be


def find_start(
    asked: Asked,
    strokes: Sequence[Heard],
    brief: bool = False,
    stretches: Sequence[float] | None = None,
    line: float | None = None,
) -> Start:
    """The likeliest beginning; its share is small where the take is of something else.

    brief: no longer than the first look.
    stretches: other tempos, as seconds of the take to one of the exercise, that are tried where it
        does not fit at its own; None for all.
    line: when a bar of the take begins, if it says so and keeps the exercise's tempo: an entrance
        is with a bar line then, unless another explains clearly more.
    """
    part = asked.part
    if not part.dues or not strokes:
        return Start(strokes[0].time if strokes else 0.0, 1.0, 0.0)
    best: Start | None = None
    for look in _looks(strokes, part, 1 if brief else _LOOKS):
        start = _entrance(asked, look, brief, stretches, line)
        if best is None or start.share > best.share:
            best = start
        if best.share >= _LIKELY:
            break
    if best is None:
        return Start(strokes[0].time, 1.0, 0.0)
    return _told(part, strokes, asked.rule.window, best)


def explained_of(asked: Asked, strokes: Sequence[Heard], stretches: Sequence[float]) -> float:
    """How much of the first strokes is explained, 0 to 1, wherever the exercise begins, played so
    slowly, in seconds of the take to one of the exercise."""
    part = asked.part
    look = next(_looks(strokes, part, 1), ())
    known = [stroke for stroke in look if stroke.pad in part.lines][: _strokes_to_see(part)]
    if not known or not stretches:
        return 0.0
    among = bisect_right(look, known[-1].time, key=attrgetter("time"))
    opening = Opening(part, known, within=True)
    many = _TRIED_STROKES, _dues_once(part, asked.bars)
    likely, *_ = likeliest(opening, asked.rule.window, stretches, *many)
    return likely.start.share * len(known) / among


def _looks(strokes: Sequence[Heard], part: Part, most: int) -> Iterator[Sequence[Heard]]:
    """The strokes of the take's first minutes, later and later."""
    first = 0
    for _ in range(most):
        while first < len(strokes) and strokes[first].pad not in part.lines:
            first += 1
        if first == len(strokes):
            return
        begin = strokes[first].time
        end = bisect_right(strokes, begin + _LOOK, key=attrgetter("time"))
        yield strokes[first:end]
        if end == len(strokes):
            return
        first = bisect_right(strokes, begin + _NEXT_LOOK, key=attrgetter("time"))


def _entrance(
    asked: Asked,
    look: Sequence[Heard],
    brief: bool,
    stretches: Sequence[float] | None,
    line: float | None,
) -> Start:
    part, bars, window = asked.part, asked.bars, asked.rule.window
    known = [stroke for stroke in look if stroke.pad in part.lines]
    ways, laid = Ways(part, bars, look, window), list[_Laid]()
    openings = [
        Opening(part, some, within=i > 0)
        for i, some in enumerate(_stretches_of(known, _strokes_to_see(part)))
    ]
    for opening in openings:
        guess = likeliest(opening, window, [1.0], _TRIED_STROKES, _dues_once(part, bars))[0]
        laid.append(_laid(ways, guess.start, opening))
        way = max(laid, key=_fit).way
        best, close = way.fit, way.apart
        if best >= _GOOD and close <= CLOSE:
            break
    else:
        if len(known) >= _TEMPO_STROKES and (best < _FAIR or close > CLOSE):
            tempos = _tempos() if stretches is None else stretches
            laid += _at_other_tempos(ways, openings, window, best, tempos)
        elif len(known) >= _TEMPO_STROKES and stretches is None:
            # Strokes in time, and every other one missing, or too many: half the tempo, or double,
            # may explain them all.
            most, least = 0.5 * (1 + _ABOUT_HALF), 2 * (1 - _ABOUT_HALF)
            halves = [each for each in _tempos() if not most < each < least]
            laid += _at_other_tempos(ways, openings[:1], window, best, halves)
    most_likely = max(laid, key=_fit)
    found, where = [each.way for each in laid], most_likely.moment
    if most_likely.way.fit < _SURE:
        found += ways.moved(most_likely.start, where)
    on_lines = [*ways.on_lines(line, where)] if line is not None else []
    likely = ways.preferred(on_lines, found)
    entered = ways.entered(likely)
    return entered if brief else ways.settled(entered, only_bars=likely is on_lines)


class _Laid(NamedTuple):
    """The exercise laid on a take at a moment of it, as `start` has it, and followed from there."""

    start: Start
    moment: float
    way: Way


def _laid(ways: Ways, start: Start, opening: Opening) -> _Laid:
    moment = opening.strokes[0].time
    return _Laid(start, moment, ways.way(start, moment))


def _fit(laid: _Laid) -> float:
    return laid.way.fit


def _at_other_tempos(
    ways: Ways,
    openings: Sequence[Opening],
    window: float,
    best: float,
    stretches: Sequence[float],
) -> Iterator[_Laid]:
    middle = openings[len(openings) // 2 : len(openings) // 2 + 1]
    for opening in (openings[0], *(middle if len(openings) > 1 else ())):
        some = Opening(opening.part, opening.strokes[:32], opening.within)
        for rough in likeliest(some, window, stretches, 5, 10, _LOOKED_INTO):
            start = _refined(opening.part, opening.strokes, window, rough)
            laid = _laid(ways, start, opening)
            simple = 0 if _USUAL[0] < start.stretch < _USUAL[1] else _BETTER
            if laid.way.fit > best + _BETTER + simple:
                yield laid


def _dues_once(part: Part, bars: Bars) -> int:
    if not bars.once:
        return _TRIED_DUES
    return bisect_right(part.times, bars.lines[bars.first + bars.once] - 1e-6)


def _stretches_of(known: Sequence[Heard], many: int) -> list[Sequence[Heard]]:
    """Strokes in a row, the first ones and some from all over."""
    if len(known) <= many:
        return [known]
    last = len(known) - many
    count = min(_STRETCHES, -(-last // many) + 1)
    starts = [i * last // (count - 1) for i in range(count)]
    found = []
    for start in starts:
        some = known[start : start + many]
        soon = bisect_right(some, some[0].time + _FIRST_SECONDS, key=attrgetter("time"))
        found.append(some[: max(soon, 4)])
    return found


def _told(part: Part, strokes: Sequence[Heard], window: float, start: Start) -> Start:
    """How much of the strokes from the start on is explained, and how closely."""
    edge = start.offset - window
    heard = strokes[bisect_left(strokes, edge, key=attrgetter("time")) :]
    known = [stroke for stroke in heard if stroke.pad in part.lines][: _strokes_to_see(part)]
    if not known:
        return replace(start, share=0.0)
    among = bisect_right(heard, known[-1].time, key=attrgetter("time"))
    seen = Opening(part, known, within=True)
    told, _ = seen.explained(start.offset, start.stretch, window * min(start.stretch, 1.0))
    total = seen.total(start.offset, start.stretch, window)
    since = bisect_left(part.times, (known[0].time - start.offset - window) / start.stretch)
    beside = min(part.asked[since], CUT_IN) + min(len(strokes) - len(heard), FEW)
    share = told.share * total / (total + beside) * len(known) / max(among, 1)
    return replace(told, share=share)


def due_time(due: Due) -> float:
    return due.time


def _strokes_to_see(part: Part) -> int:
    """How many strokes it takes; a call alone does not tell itself from its answer."""
    return max(_FIRST_STROKES, part.answered)


def _tempos() -> list[float]:
    stretch, found = SLOWEST, []
    while stretch <= FASTEST:
        found.append(stretch)
        stretch *= _RATIO
    return found


def _refined(part: Part, strokes: Sequence[Heard], window: float, rough: Try) -> Start:
    """The tempo by a straight line through the pairs that a rough start gives."""
    start = rough.start
    for used in (32, len(strokes), len(strokes)):
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
        if not SLOWEST * 0.9 <= stretch <= FASTEST * 1.1:
            break
        start = Start(mean_time - stretch * mean_due, stretch, start.share)
    return start
