"""What a try of a start explains at most, told by bits: cheap, where pairing is dear.

So only the likeliest tries need pairs, and the best of all is found none the less.
"""

from bisect import bisect_right
from collections.abc import Callable, Sequence
from math import ceil, floor

from midiforge.hear.opening import APART, LOUD, Opening

_BINS = 4  # to a part of a window
_TINY = 1e-9  # more than floats are out


class Ceiling:
    """How likely any try of an opening may be at most.

    Strokes are bits of a number, pad behind pad, and so are dues: laid on each other, the dues
    that have a stroke near them are counted at once. How near: within the first of `parts` of the
    window, the first two, and so on; more parts tell more and cost more.
    """

    def __init__(self, opening: Opening, window: float, spread: float, parts: int) -> None:
        """window: the widest that will be asked for. spread: how far offsets lie apart."""
        self._opening, self._parts = opening, parts
        self._bin = window / (parts * _BINS)
        self._room = 2 * parts * _BINS
        self._first = opening.strokes[0].time
        # Dues that are moved into the next pad's place count too much there, never too little.
        self._apart = 2 * self._room + floor((opening.last - self._first + spread) / self._bin)
        self._struck = self._bits([times for _, times, _ in opening.pads], 1.0, self._first)
        self._near: dict[int, int] = {}
        self._at: dict[float, Callable[[float], float]] = {}

    def _bits(self, pads: Sequence[Sequence[float]], stretch: float, begin: float) -> int:
        """A number with a bit at each of the pads' times, behind some room at its beginning."""
        places, at = [0], self._room
        for times in pads:
            places += [at + floor((time * stretch - begin) / self._bin) for time in times]
            at += self._apart
        found = bytearray(max(places) // 8 + 1)
        for place in places[1:]:
            found[place >> 3] |= 1 << (place & 7)
        return int.from_bytes(found, "little")

    def _within(self, seconds: float) -> int:
        """Where dues have a stroke within so many seconds."""
        reach = ceil(seconds / self._bin + _TINY)
        if reach not in self._near:
            # Both are cut to whole bins, so that a due may lie one more before its stroke.
            self._near[reach] = _widened(self._struck, reach + 1, reach)
        return self._near[reach]

    def at(self, stretch: float, window: float, earliest: float) -> Callable[[float], float]:
        """At one tempo, how likely each offset is at most; earliest: the first offset."""
        if stretch not in self._at:
            self._at[stretch] = self._made(stretch, window, earliest)
        return self._at[stretch]

    def _made(self, stretch: float, window: float, earliest: float) -> Callable[[float], float]:
        opening, first, unit = self._opening, self._first, self._bin
        latest = opening.latest(earliest, stretch, window)
        some = [line.times[: bisect_right(line.times, latest)] for line, *_ in opening.pads]
        dues = self._bits(some, stretch, 0.0)
        hidden = sum(map(len, some)) - dues.bit_count()  # behind others, at the same bit
        parts = range(1, self._parts + 1)
        within = [self._within(window * part / self._parts) for part in parts]
        most, surplus = len(opening.strokes), LOUD * opening.most_loud + _TINY
        total_of, count = opening.total, self._parts

        def merit(offset: float) -> float:
            """The best of share and nearness, by how many pairs can be within each part of the
            window: between these numbers of pairs it is nowhere better than at one of them."""
            shift = floor((offset - first) / unit)
            moved = dues << shift if shift >= 0 else dues >> -shift
            total, best, fewer = total_of(offset, stretch, window), -APART, 0
            for part, near in enumerate(within):
                met = (moved & near).bit_count() + hidden
                if met > most:
                    met = most
                if met:
                    farther = part * met - fewer  # in parts of the window, all pairs together
                    fit = 2 * met / total - APART * farther / (met * count)
                    if fit > best:
                        best = fit
                fewer += met
            return best + surplus

        return merit


def _widened(bits: int, before: int, after: int) -> int:
    """Each bit, and so many before and after it."""
    wide, have, need = bits >> before, 1, before + after + 1
    while have < need:
        step = min(have, need - have)
        wide |= wide << step
        have += step
    return wide
