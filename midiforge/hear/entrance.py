"""Where in a take the player comes in with the exercise, by more than its first strokes.

Something else may come before: a fill, an introduction, a count-in on the sticks. Or the take
begins in the middle of the exercise. So the exercise is laid on several stretches of the take;
from each it is followed bar by bar to both sides; the way that explains most of the take wins, and
the player came in where, from there on, most is explained.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import accumulate
from math import log
from statistics import median

from midiforge.frozen import frozen
from midiforge.hear.match import match
from midiforge.hear.opening import APART, Heard, Part, Start, by_pad

_AS_GOOD_AS_CHANCE = 0.45  # explained of a bar: no more than music of the same pads would be
_OF_THE_REST = 0.75  # a bar before the entrance explains less than so much of the average
_LEARN_FROM = 0.34  # of a bar's dues; fewer that were met say nothing of the time
_FOLLOWED = 0.6  # how much of a bar's distance the next one is moved by
_TIMES_ROUND, _FEWEST_BARS, _MOST_BARS = 2, 4, 16  # by which an entrance is judged
_LONGER = 3  # times as many, where the first time round is not heard from its beginning
_MOST_MOVED = 16  # beats, or else bars, of an exercise that is tried from each of them
FEW = 8  # strokes; what is told by few is worth less
_NEARLY = 0.9  # of what the best entrance explains: an earlier one that does is the first
CUT_IN = 3  # dues before the first stroke that count: who begins in the midst leaves out more
_MIDST = 0.06  # what that costs besides
# What each due and stroke says for a bar being as written if it meets another, and if it does not:
# of a bar as written so many meet, of others of the same music so many; ours, from the recordings.
_MEETS, _FAILS = log(0.95 / 0.75), log(0.05 / 0.25)
# So much likelier, as a logarithm, must another place be: than any, and than one that has the
# exercise begin with the take, as it does as a rule; ours.
_CLEARLY, _VERY_CLEARLY = 1.0, 5.0
_LATER = 0.1  # what it costs an entrance to be a whole time round later than the first


@frozen
class Bars:
    """The bars of an exercise, laid out as long as the take is looked at.

    lines: when each begins, in seconds of the exercise, and when the last ends.
    first: the first that comes round; before it the player waits for an entry.
    once: after how many bars it comes round; 0 if it never does. beats: of a bar.
    """

    lines: Sequence[float]
    first: int
    once: int
    beats: int


@frozen
class _Bar:
    """A bar of the take. number: which bar of the exercise. offset: of the exercise, there.
    total: strokes, and dues that ask for one. met: how many of them are pairs. apart: how far
    these lie from each other, as a share of the window, added up. unheard: dues before the
    take's first stroke.
    """

    number: int
    offset: float
    total: int
    met: int
    apart: float
    unheard: int

    @property
    def as_written(self) -> float:
        """How much speaks for the bar being as written, not like it only; as a logarithm."""
        failed = self.total - 2 * self.met - min(self.unheard, CUT_IN)
        return 2 * self.met * _MEETS + max(failed, 0) * _FAILS

    @property
    def explained(self) -> float:
        return 2 * self.met - APART * self.apart


@frozen
class Way:
    """The exercise followed through a part of a take. fit: of what is best explained in it."""

    stretch: float
    bars: Sequence[_Bar]
    entrances: Sequence["_Entrance"]

    @property
    def fit(self) -> float:
        return max((each.fit for each in self.entrances), default=0.0)

    @property
    def apart(self) -> float:
        """How far strokes lie from where they are due, as a share of the window, on average."""
        met = sum(bar.met for bar in self.bars)
        return sum(bar.apart for bar in self.bars) / met if met else 1.0


@frozen
class _Entrance:
    """Where the exercise may begin: which bar of a way, and when. fit: how much is explained of
    what comes next, how closely."""

    at: int
    time: float
    fit: float


class Ways:
    """Ways of an exercise through a take's first minutes."""

    def __init__(self, part: Part, bars: Bars, strokes: Sequence[Heard], window: float) -> None:
        """strokes: on any pad; those on pads that the exercise does not use speak against it."""
        self._part, self._bars, self._window = part, bars, window
        self._every = [each.time for each in strokes]
        self._pads = {pad: [each.time for each in some] for pad, some in by_pad(strokes).items()}
        self._judged_by = min(max(_TIMES_ROUND * bars.once, _FEWEST_BARS), _MOST_BARS)

    def way(self, start: Start, moment: float, far: bool = False) -> Way:
        """Followed to both sides of a moment of the take, where it lies as `start` has it; far: as
        long as there are strokes."""
        bars, first = self._bars, self._every[0]
        once = bars.lines[bars.first + bars.once] - bars.lines[bars.first] if bars.once else 0.0
        offset = start.offset
        if once:
            # As many times round as there is room for before that moment.
            early = first - self._window - bars.lines[bars.first] * start.stretch
            turns = (offset - early) / (once * start.stretch)
            offset -= once * start.stretch * max(-(-turns // 1), 0)
        at = max(bisect_right(bars.lines, (moment - offset) / start.stretch) - 1, 0)
        at = min(at, len(bars.lines) - 2)
        found: list[_Bar] = []
        here = offset
        for number in range(at, -1, -1):
            bar = self._bar(number, here, start.stretch)
            end = bars.lines[number + 1] * start.stretch + here
            if end <= first + self._window and not bar.met:
                break
            found.append(bar)
            here = bar.offset
        found.reverse()
        here = offset
        end = len(bars.lines) - 1
        for number in range(at + 1, end if far else min(at + _LONGER * self._judged_by, end)):
            if bars.lines[number] * start.stretch + here > self._every[-1]:
                break
            bar = self._bar(number, here, start.stretch)
            found.append(bar)
            here = bar.offset
        return Way(start.stretch, found, [*self._entrances(found, start.stretch)])

    def _entrances(self, some: Sequence[_Bar], stretch: float) -> Iterator[_Entrance]:
        """The first bar, and all with which the exercise comes round."""
        bars = self._bars
        for i, bar in enumerate(some):
            begins = bool(bars.once) and (bar.number - bars.first) % bars.once == 0
            if i and not begins:
                continue
            midst = bar.unheard > 1 or (not begins and bar.number > 0)
            fit = 0.0
            several = {bars.once, _FEWEST_BARS, self._judged_by}
            for many in {_LONGER * self._judged_by} if midst else several:
                next_ = some[i : i + many]
                total = sum(each.total for each in next_)
                fit = max(fit, sum(each.explained for each in next_) / (total + FEW))
            time = bars.lines[bar.number] * stretch + bar.offset
            yield _Entrance(i, time, fit - (_MIDST if midst else 0.0))

    def moved(
        self, start: Start, moment: float, only_bars: bool = False, far: bool = False
    ) -> Iterator[Way]:
        """Ways that begin with another beat of the exercise than a start has it, or bar."""
        bars = self._bars
        beats = bars.once * (1 if only_bars else bars.beats)
        some = beats if beats <= _MOST_MOVED else bars.once
        if 1 < some <= _MOST_MOVED:
            once = bars.lines[bars.first + bars.once] - bars.lines[bars.first]
            for by in range(1, some):
                offset = start.offset + by * once / some * start.stretch
                yield self.way(replace(start, offset=offset), moment, far)

    def settled(self, start: Start, only_bars: bool) -> Start:
        """The start, or one some beats or bars from it by which it is clearly more as written."""
        lines, once, first = self._bars.lines, self._bars.once, self._bars.first
        if not once:
            return start
        moment = start.offset + lines[first] * start.stretch
        begin = start.offset + self._part.times[0] * start.stretch
        most = self._as_written(self.way(start, moment, far=True))
        most += _VERY_CLEARLY if abs(begin - self._every[0]) <= self._window else _CLEARLY
        due, end, _ = self._part.between(lines[first] - 1e-6, lines[first + once] - 1e-6)
        likeliest = None
        if most < 2 * (end - due) * _MEETS:  # or else no other can be
            for way in self.moved(start, moment, only_bars, far=True):
                if (as_written := self._as_written(way)) > most:
                    likeliest, most = way, as_written
        return self.entered([likeliest]) if likeliest else start

    def _as_written(self, way: Way) -> float:
        """How much speaks for each bar of the exercise where it is most as it is written.

        Who plays freely plays some bars as written and others besides, the same ones over and
        over: one bar as written says more than many that are nearly alike.
        """
        most: dict[int, float] = {}
        for bar in way.bars:
            number = bar.number % self._bars.once
            most[number] = max(most.get(number, 0.0), bar.as_written)
        return sum(most.values())

    def on_lines(self, line: float, moment: float) -> Iterator[Way]:
        """Ways that have each of the exercise's bars begin with bars of the take, of which one
        begins at `line`."""
        bars = self._bars
        length = bars.lines[1] - bars.lines[0]
        near = line + round((moment - line) / length) * length
        for by in range(bars.once if bars.once <= _MOST_MOVED else 0):
            yield self.way(Start(near - bars.lines[bars.first + by], 1.0, 0.0), moment)

    def preferred(self, some: Sequence[Way], others: Sequence[Way]) -> Sequence[Way]:
        """Some ways if they explain nearly as much as others; those if not."""
        most = max((way.fit for way in some), default=0.0)
        return some if most > _NEARLY * max(way.fit for way in others) else others

    def _bar(self, number: int, offset: float, stretch: float) -> _Bar:
        part, window = self._part, self._window * min(stretch, 1.0)
        begin, end = self._bars.lines[number], self._bars.lines[number + 1]
        edge = 0.5 * window
        from_, to = begin * stretch + offset - edge, end * stretch + offset - edge
        first, stop, lines = part.between(begin - 1e-6, end - 1e-6)
        # What is due after the take's last stroke was not asked for.
        last = (self._every[-1] + edge - offset) / stretch
        if last < end:
            stop = max(min(stop, bisect_left(part.times, last)), first)
        heard = (self._every[0] - window - offset) / stretch
        sounding = max(first, bisect_left(part.times, heard))
        strokes = bisect_left(self._every, to) - bisect_left(self._every, from_)
        unheard = part.asked[min(sounding, stop)] - part.asked[first]
        total = strokes + part.asked[stop] - part.asked[first] - max(unheard - CUT_IN, 0)
        residuals: list[float] = []
        for pad, due in lines:
            times = self._pads.get(pad)
            if not times:
                continue
            moved = [time * stretch + offset for time in due]
            near = times[bisect_left(times, from_ - edge) : bisect_right(times, to + edge)]
            pairs = match(moved, near, window)
            residuals += [near[j] - moved[i] for i, j in pairs]
        met = len(residuals)
        apart = sum(map(abs, residuals)) / window
        if met >= max(3, _LEARN_FROM * (stop - first)):
            offset += _FOLLOWED * median(residuals)
        return _Bar(number, offset, max(total, 2 * met), met, apart, unheard)

    def entered(self, ways: Sequence[Way]) -> Start:
        """The first entrance after which nearly as much is explained as after any."""
        bars = self._bars
        most = max(way.fit for way in ways)
        good = [(e, w) for w in ways for e in w.entrances if e.fit >= _NEARLY * most]
        first = min(each.time for each, _ in good)
        first = max(first, self._every[0])
        once = max(bars.once, 1) * (bars.lines[1] - bars.lines[0])

        def likely(pair: tuple[_Entrance, Way]) -> float:
            entrance, way = pair
            return entrance.fit - _LATER * max(entrance.time - first, 0.0) / (once * way.stretch)

        entrance, way = max(good, key=likely)
        bar = way.bars[self._earliest(way, entrance)]
        offset = bar.offset
        if bars.once:
            turn = (bar.number - bars.first) // bars.once
            line = bars.lines[bars.first + turn * bars.once]
            offset += (line - bars.lines[bars.first]) * way.stretch
        return Start(offset, way.stretch, entrance.fit)

    def _earliest(self, way: Way, entrance: _Entrance) -> int:
        """With which bar of a way, up to an entrance or the first that is heard after it, most is
        explained of what follows."""
        end = entrance.at + self._judged_by
        total = sum(bar.total for bar in way.bars[entrance.at : end])
        share = sum(bar.explained for bar in way.bars[entrance.at : end]) / max(total, 1)
        chance = max(_AS_GOOD_AS_CHANCE, _OF_THE_REST * share)
        left = [bar.explained - chance * bar.total for bar in way.bars[:end]]
        sums = [*accumulate(reversed(left))][::-1]
        starts = [each.at for each in way.entrances if each.at < end]
        # A count-in on the kit is a bar that has nothing of the exercise.
        latest = next((at for at in starts if at >= entrance.at and left[at] > 0), entrance.at)
        return max((at for at in starts if at <= latest), key=lambda at: (sums[at], -at))
