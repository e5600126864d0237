"""How the player's time goes on through a take, from where it begins.

It is followed bar by bar, by the median of how far strokes lie from where they are due, so that
slow drift, a missed bar and wrong strokes leave the rest in place.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from math import cos, floor, pi
from statistics import fmean, median

from midiforge.frozen import frozen
from midiforge.hear.expected import Due
from midiforge.hear.match import match
from midiforge.hear.opening import Heard, Start, by_pad
from midiforge.hear.segment import Segment, smoothed

_FEW = 0.34  # matched less than this share of a stretch: nothing is learnt from it
_LOST = 0.7  # matched less than this: the player may be elsewhere
_CLEARLY, _SURELY = 0.25, 0.85  # so much better must another place be, and at least so good
_NEARER = 0.08  # so much better must a place be that is farther
# A place is lost only if another holds for so many bars, each at least so good, and only of who was
# in place before; ours, from the recordings, which nobody was lost in.
_HOLDS, _EACH, _BEFORE = 4, 0.8, 0.85
_JUST_NOW = 8  # stretches
_CLEAN = 0.95  # before and after a jump that is no whole number of steps
_ON_GRID = 0.5  # less the mean cosine of how far strokes lie from the grid, as a turn
_CLOSE = 0.5  # of the window: so near lies what is where it was; ours
_WHOLE = 0.3  # of a step, that a jump is from whole ones at most
# Bars over which pads are compared, and strokes and dues that tell of one; ours.
_BEATS_OFF_BARS, _OF_A_PAD = 2, 4
_LEAST_OFTEN = 30  # stretches between two such searches
_ENOUGH = 12  # dues that such a place must explain
_FARTHEST = 6.0  # seconds that somebody who lost the place goes on earlier or later
_MOST_JUMP = 0.8  # of the window, in one stretch
# Seconds that a steady player's time is off a straight line, as a rule, and at its beginning.
_STEADY, _NEAR_FIRST = 0.02, 0.08
SAME_TEMPO = 0.006  # as a share; nearer than this the take was played to the click
_QUICKNESS = 0.4  # how much of a stretch's error is taken for a change of tempo
# Where less than so much is explained, the player may rush too much for that: then all of an error
# is taken for a change, if that explains so much more.
_WELL, _AT_ONCE, _MORE = 0.9, 1.0, 0.1
_FASTER, _SLOWER = 0.65, 1.5  # than at first, nobody gets within a take; ours


@frozen
class Line:
    """The player's time: where in the take each moment of the exercise is.

    dues, times: knots, both in seconds and rising; straight lines between and beyond them.
    jumps: where the player lost the place and went on later (or earlier, below 0): seconds of
        the exercise, and by how many seconds.
    met: how many strokes lay where something was due, as far as it was followed.
    """

    dues: tuple[float, ...]
    times: tuple[float, ...]
    jumps: tuple[tuple[float, float], ...] = ()
    met: int = 0

    def at(self, due: float) -> float:
        """When in the take `due` is, by the player's own time."""
        i = min(max(bisect_right(self.dues, due), 1), len(self.dues) - 1)
        one, two = self.dues[i - 1], self.dues[i]
        slope = (self.times[i] - self.times[i - 1]) / (two - one)
        return self.times[i - 1] + (due - one) * slope

    @property
    def start(self) -> float:
        """When the first downbeat is: by the whole of a steady player's time, else by its first."""
        end = self.jumps[0][0] if self.jumps else self.dues[-1]
        last = max(bisect_right(self.dues, end), 1)
        first, own = self.at(0.0), self.stretch
        for stretch in (1.0, own) if abs(own - 1) <= SAME_TEMPO else (own,):
            offsets = [
                time - due * stretch
                for due, time in zip(self.dues[:last], self.times[:last], strict=True)
            ]
            even = median(offsets)
            unsteady = median(abs(each - even) for each in offsets)
            if unsteady <= _STEADY and abs(first - even) <= _NEAR_FIRST:
                return even
        return first

    @property
    def stretch(self) -> float:
        """Seconds of the take to a second of the exercise, on average, jumps left out."""
        jumped = sum(shift for _, shift in self.jumps)
        return (self.times[-1] - self.times[0] - jumped) / (self.dues[-1] - self.dues[0])

    def all(self, dues: Iterable[float]) -> list[float]:
        """`at` of many rising dues."""
        found = []
        last = len(self.dues) - 1
        i = 1
        one, time = self.dues[0], self.times[0]
        slope = (self.times[1] - time) / (self.dues[1] - one)
        for due in dues:
            while i < last and due >= self.dues[i]:
                i += 1
                one, time = self.dues[i - 1], self.times[i - 1]
                slope = (self.times[i] - time) / (self.dues[i] - one)
            found.append(time + (due - one) * slope)
        return found


def follow(
    dues: Sequence[Due],
    strokes: Sequence[Heard],
    start: Start,
    window: float,
    stretch_of: float,
    step: float,
    beat: float,
    bar: float,
    once: float,
) -> Line:
    """The player's time through the whole take.

    stretch_of: how long a stretch is over which it is taken to be even. step, beat, bar, once: how
        long the exercise's are, and it is until it comes round. All in seconds of the exercise.
    """
    if not dues or not strokes:
        return Line((0.0, 1.0), (start.offset, start.offset + start.stretch))
    usual = _Follower(dues, strokes, start, window, step, beat, bar, once)
    line = usual.line(stretch_of)
    if usual.explained < _WELL:
        quick = _Follower(dues, strokes, start, window, step, beat, bar, once, _AT_ONCE)
        other = quick.line(0.5 * stretch_of)
        if not other.jumps and quick.explained > usual.explained + _MORE:
            return other
    return line


class _Follower:
    """Goes through the dues stretch by stretch, keeping where the take is and how fast."""

    def __init__(
        self,
        dues: Sequence[Due],
        strokes: Sequence[Heard],
        start: Start,
        window: float,
        step: float,
        beat: float,
        bar: float,
        once: float,
        quickness: float = _QUICKNESS,
    ) -> None:
        self.quickness, self.met, self.due_so_far = quickness, 0, 0
        self.dues, self.strokes, self.start, self.window = dues, strokes, start, window
        self.step, self.beat, self.bar, self.once = step, beat, bar, once
        self.shares: list[float] = []  # of each stretch since the place was found
        self.sure = start.offset, start.stretch  # offset and rate when the place was last sure
        self.times = {pad: [each.time for each in heard] for pad, heard in by_pad(strokes).items()}
        self.everything = [each.time for each in strokes]
        self.due = [each.time for each in dues]
        self.lines: dict[str, tuple[list[int], list[float]]] = {}  # by pad: which dues, and when
        for number, each in enumerate(dues):
            numbers, times = self.lines.setdefault(each.pad, ([], []))
            numbers.append(number)
            times.append(each.time)
        self.offset, self.rate = start.offset, start.stretch
        self.segments = [Segment(dues[0].time, dues[0].time, start.stretch, [])]
        self.jumps: list[tuple[float, float]] = []
        self.tries, self.patience, self.learnt = {False: 0, True: 0}, {False: 0, True: 0}, 0

    @property
    def explained(self) -> float:
        """How much of what was due has a stroke near it."""
        return self.met / max(self.due_so_far, 1)

    def line(self, stretch_of: float) -> Line:
        at = 0
        last = self.everything[-1] + self.window
        while at < len(self.dues) and self._time(self.dues[at].time) <= last:
            stop = self._end(at, stretch_of, last)
            found = self._residuals(at, stop, self.offset)
            share = len(found) / (stop - at)
            if share < _CLEAN and self._is_played(at, stop):
                later = self._looked_for(at, stretch_of, last, by_pads=share >= _LOST)
                if later is not None:
                    at = later
                    continue
            if len(found) >= max(2, _FEW * (stop - at)):
                self._learn((self.dues[at].time + self.dues[stop - 1].time) / 2, median(found))
                self.learnt = stop
            if share >= _SURELY:
                self.sure = self.offset, self.rate
            self.met, self.due_so_far = self.met + len(found), self.due_so_far + stop - at
            self.shares.append(share)
            self.segments[-1].last = self.dues[stop - 1].time
            at = stop
        return self._drawn()

    def _time(self, due: float) -> float:
        return due * self.rate + self.offset

    def _end(self, at: int, length: float, last: float) -> int:
        """The end of a stretch, but no due later than the take goes on."""
        stop = bisect_left(self.due, self.due[at] + length, lo=at)
        over = bisect_right(self.due, (last - self.offset) / self.rate, lo=at)
        return max(min(stop, over), at + 1)

    def _learn(self, middle: float, moved: float) -> None:
        """Takes what a stretch says of where the player is, and of the tempo."""
        knots = self.segments[-1].knots
        most = _MOST_JUMP * self.window
        moved = max(-most, min(most, moved))
        time = self._time(middle) + moved
        if knots:
            change = self.quickness * moved / max(middle - knots[-1][0], 0.5)
            usual = self.start.stretch
            self.rate = max(_FASTER * usual, min(_SLOWER * usual, self.rate + change))
        knots.append((middle, time))
        self.offset = time - middle * self.rate
        self.segments[-1].rate = self.rate

    def _residuals(self, at: int, stop: int, offset: float, least: int = 0) -> list[float]:
        """How far the strokes of a stretch are from where they are due; of fewer than `least` of
        them it may give none."""
        some = []
        most = 0
        for pad, (numbers, times) in self.lines.items():
            first, end = bisect_left(numbers, at), bisect_left(numbers, stop)
            heard = self.times.get(pad)
            if first == end or not heard:
                continue
            lines = [time * self.rate + offset for time in times[first:end]]
            near = heard[
                bisect_left(heard, lines[0] - self.window) : bisect_right(
                    heard, lines[-1] + self.window
                )
            ]
            most += min(len(lines), len(near))
            some.append((lines, near))
        found: list[float] = []
        if most >= least:
            for lines, near in some:
                found += [near[j] - lines[i] for i, j in match(lines, near, self.window)]
        return found

    def _looked_for(self, at: int, length: float, last: float, by_pads: bool) -> int | None:
        """`_elsewhere`, asked less and less often where it is asked in vain."""
        if self.patience[by_pads]:
            self.patience[by_pads] -= 1
            return None
        look = self._beats_off if by_pads else self._elsewhere
        found = look(at, length, last)
        self.tries[by_pads] = tries = 0 if found is not None else self.tries[by_pads] + 1
        self.patience[by_pads] = min(2**tries - 2, _LEAST_OFTEN) if tries > 1 else 0
        return found

    def _is_played(self, at: int, stop: int) -> bool:
        """Whether there are strokes in a stretch, though not those that are due."""
        begin, end = (self._time(self.dues[i].time) for i in (at, stop - 1))
        first = bisect_left(self.everything, begin - self.window)
        return bisect_right(self.everything, end + self.window) - first >= 0.5 * (stop - at)

    def _elsewhere(self, at: int, length: float, last: float) -> int | None:
        """Where in the exercise the player may have gone on; None if nowhere is likelier.

        A whole number of grid steps is not asked for: who loses the place comes in anywhere.
        """
        here = self._share_from(at, 3 * length, last, 0.0)
        if here is None:
            return None
        now = self._time(self.dues[at].time)
        first = bisect_left(self.everything, now - self.window)
        reach = _FARTHEST / self.rate
        near = self.dues[
            bisect_left(self.due, self.due[at] - reach) : bisect_right(
                self.due, self.due[at] + reach
            )
        ]
        tried: list[tuple[float, float]] = []
        for stroke in self.strokes[first : first + 16]:
            for due in near:
                if due.pad == stroke.pad:
                    shift = stroke.time - self._time(due.time)
                    if self._is_elsewhere(shift) and abs(shift) < _FARTHEST:
                        tried.append((abs(shift), shift))
        best, moved = max(here + _CLEARLY, _SURELY), None
        seen: set[int] = set()
        for _, shift in sorted(tried):
            key = round(3 * shift / self.window)
            if key in seen:
                continue
            seen.add(key)
            share = self._share_from(at, 3 * length, last, shift, best)
            if share is not None and share > best:
                best, moved = share + _NEARER, shift
        if moved is None or not self._is_lost(at, length, last, moved):
            return None
        return self._moved(self._in_place(at, length, last), moved)

    def _beats_off(self, at: int, length: float, last: float) -> int | None:
        """`_elsewhere`, where what is the same on every beat hides it: hands on one drum.

        So much that fits says nothing; what the other pads do, each as much as any, does.
        """
        if not self._was_in_place():
            return None
        long = max(_BEATS_OFF_BARS * self.bar, 3 * length)
        beats = int(_FARTHEST / (self.rate * self.beat))
        shifts = [i * self.beat * self.rate for i in range(-beats, beats + 1) if i]
        best, moved = _SURELY, None
        here = self._pads_from(at, long, last, 0.0)
        if here is None or here > 1 - _CLEARLY:
            return None
        for shift in sorted(shifts, key=abs):
            share = self._pads_from(at, long, last, shift)
            if share is not None and share > max(best, here + _CLEARLY):
                best, moved = share + _NEARER, shift
        if moved is None:
            return None
        for i in range(1, _HOLDS):
            begin = bisect_left(self.due, self.due[at] + i * long)
            there = self._pads_from(begin, long, last, moved) if begin < len(self.due) else None
            if there is not None and there < _SURELY:
                return None
        return self._moved(self._in_place(at, length, last), moved)

    def _pads_from(self, at: int, length: float, last: float, shift: float) -> float | None:
        """How much of a pad's dues and strokes meet from now on, if moved by so much: on average
        of all pads; None of too little."""
        now = self._time(self.dues[at].time)
        at = self._next(at, now - 1e-9, shift)
        if at == len(self.dues):
            return None
        stop = self._end(at, length, last - shift)
        if stop - at < _ENOUGH:
            return None
        offset, end = self.offset + shift, self._time(self.due[stop - 1]) + shift
        shares: list[float] = []
        for pad, (numbers, times) in self.lines.items():
            heard = self.times.get(pad, [])
            lines = [
                time * self.rate + offset
                for time in times[bisect_left(numbers, at) : bisect_left(numbers, stop)]
            ]
            edges = now - self.window, end + self.window
            near = heard[bisect_left(heard, edges[0]) : bisect_right(heard, edges[1])]
            if (count := len(lines) + len(near)) >= _OF_A_PAD:
                met = len(match(lines, near, self.window))
                shares.append(2 * met / max(count, 2 * met))
        return fmean(shares) if shares else None

    def _is_lost(self, at: int, length: float, last: float, shift: float) -> bool:
        """Whether who was in place goes on elsewhere for bars; on the grid by whole steps only."""
        if not self._was_in_place():
            return False
        offset, rate = self.sure
        moved = self._time(self.due[at]) + shift - self.due[at] * rate - offset
        steps = moved / (rate * self.step)
        is_whole = round(steps) != 0 and abs(steps - round(steps)) <= _WHOLE
        if not is_whole and (self._is_on_grid(at) or median(self.shares or [1.0]) < _CLEAN):
            return False
        long, told = max(self.bar, 2 * length), list[tuple[float, float]]()
        for i in range(_HOLDS):
            begin = bisect_left(self.due, self.due[at] + i * long)
            if begin == len(self.due):
                break
            here = self._share_from(begin, long, last, 0.0)
            there = self._share_from(begin, long, last, shift)
            if here is None or there is None:
                break
            if there < max(_EACH, here):
                return False
            told.append((here, there))
        old, new = (sum(shares) for shares in zip(*told, strict=True)) if told else (0.0, 0.0)
        return len(told) > 1 and new >= len(told) * max(
            old / len(told) + _CLEARLY, _SURELY if is_whole else _CLEAN
        )

    def _is_elsewhere(self, shift: float) -> bool:
        """Whether something else is due there: not the same one, a time round later."""
        once = self.once * self.rate
        off = shift - once * round(shift / once) if once else shift
        return min(abs(shift), abs(off)) > self.window

    def _was_in_place(self) -> bool:
        """Whether the player was, on the whole and just now."""
        some = (self.shares, self.shares[-_JUST_NOW:])
        return not self.shares or all(median(shares) >= _BEFORE for shares in some)

    def _is_on_grid(self, at: int) -> bool:
        """Whether the strokes of the next bars go on with the grid as those before did, who swings
        with a grid that is his own."""
        now, reach = self._time(self.due[at]), _HOLDS * self.bar * self.rate
        offset, rate = self.sure

        def on_grid(begin: float, end: float) -> float:
            first, stop = bisect_left(self.everything, begin), bisect_right(self.everything, end)
            turns = [(time - offset) / (rate * self.step) for time in self.everything[first:stop]]
            return fmean(cos(2 * pi * turn) for turn in turns) if turns else 0.0

        return on_grid(now, now + reach) > min(on_grid(now - reach, now), 1.0) - _ON_GRID

    def _share_from(
        self, at: int, length: float, last: float, shift: float, least: float = 0.0
    ) -> float | None:
        """How much of dues and strokes meet from now on, if moved by so much; None of too little.
        Less than `least` is not told exactly.

        What is due before now was skipped, or is played already.
        """
        now = self._time(self.dues[at].time)
        at = self._next(at, now - 1e-9, shift)
        if at == len(self.dues):
            return None
        stop = self._end(at, length, last - shift)
        count = stop - at
        if count < _ENOUGH:
            return None
        end = self._time(self.due[stop - 1]) + shift
        strokes = bisect_right(self.everything, end + self.window) - bisect_left(
            self.everything, now - self.window
        )
        wanted = floor(least * (count + strokes) / 2)
        met = len(self._residuals(at, stop, self.offset + shift, wanted))
        return 2 * met / max(count + strokes, 2 * met)

    def _next(self, at: int, now: float, shift: float) -> int:
        """The first due from now on, moved by so much, of those that nobody is known to play."""
        due = (now - shift - self.offset) / self.rate
        return max(bisect_left(self.due, due), min(self.learnt, at))

    def _in_place(self, at: int, length: float, last: float) -> int:
        """The first due of a stretch that has no stroke where it was."""
        for i in range(at, stop := self._end(at, length, last)):
            heard, time = self.times.get(self.dues[i].pad, []), self._time(self.due[i])
            near = bisect_left(heard, time - _CLOSE * self.window)
            if near == len(heard) or heard[near] > time + _CLOSE * self.window:
                return i
        return stop - 1

    def _moved(self, at: int, shift: float) -> int | None:
        """Goes on elsewhere: from what nobody played yet and is due, so moved, from now on."""
        now = self._time(self.due[at])
        lost, at = at, self._next(at, now - self.window, shift)
        # One stroke told it, with its own unsteadiness; those of the next bars tell it better.
        stop = bisect_left(self.due, self.due[at] + self.bar) if at < len(self.due) else at
        shift += median(self._residuals(at, stop, self.offset + shift) or [0.0])
        self.offset += shift
        self.shares.clear()
        self.sure = self.offset, self.rate
        self.jumps.append((self.dues[min(lost, at)].time, shift))
        self.segments[-1].last = self.dues[max(min(lost, at) - 1, 0)].time
        if at < len(self.dues):
            begins = self.dues[at].time
            self.segments.append(Segment(begins, begins, self.rate, []))
        return at

    def _drawn(self) -> Line:
        """One line through all segments."""
        dues: list[float] = []
        times: list[float] = []
        for segment in self.segments:
            for due, time in smoothed(segment, self.start, only=len(self.segments) == 1):
                if not dues or (due > dues[-1] and time > times[-1]):
                    dues.append(due)
                    times.append(time)
        if len(dues) < 2:
            due, time = (dues[0], times[0]) if dues else (0.0, self.start.offset)
            dues, times = [due, due + 1.0], [time, time + self.start.stretch]
        return Line(tuple(dues), tuple(times), tuple(self.jumps), self.met)
