"""The grid that strokes lie on: steps to a beat, and swing."""

from bisect import bisect_left
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from functools import cache
from itertools import pairwise
from math import log, pi, sqrt
from statistics import median

from midiforge.errors import MidiforgeError
from midiforge.frozen import frozen
from midiforge.model.counts import steps_in_bar
from midiforge.model.meter import Meter
from midiforge.model.swing import Swing
from midiforge.moves.grid import MOST_STEPS

_HALF = Fraction(1, 2)
_STRAIGHT = (1, 2, 3, 4, 6, 8, 12, 5, 7, 9, 10, 11)  # coarse and usual ones first
_SAMPLE = 1500  # strokes that the grid is found from
_STRETCHES = 10
_EXACT_SHARE = 0.97
# The first note's share of a pair that is called swing. What is longer is a dotted note.
_LEAST_SWING, _MOST_SWING = 0.53, 0.715
_LEAST_WRITTEN = 0.504  # on a file's own grid, where nothing is uneven
_SIGMAS = (
    0.003,
    0.005,
    0.008,
    0.011,
    0.015,
    0.020,
    0.027,
)  # unevenness of players, s (common practice)
_MOST_LATE = 0.02  # s, that all strokes may be late or early by
_STRAY_SPREADS = 3.0  # farther from its step than so many deviations, a stroke strays
_NICE = 12  # a ratio of swing is written with numbers up to this, where that is near enough
_NEAR_ENOUGH = 0.008


@frozen
class Grid:
    """Places in a bar.

    steps: to a beat. swing: of its pairs, straight or not.
    """

    meter: Meter
    steps: int
    swing: Swing

    @property
    def step(self) -> Fraction:
        """In quarter notes."""
        return self.meter.beat / self.steps

    @property
    def bar_steps(self) -> int:
        return int(self.meter.bar / self.step)

    @property
    def places(self) -> tuple[Fraction, ...]:
        """Where the steps of a bar are played, in quarter notes, and the next bar line."""
        step = self.step
        return tuple(self.swing.played(i * step, step) for i in range(self.bar_steps + 1))


@cache
def spots(grid: Grid) -> tuple[float, ...]:
    """`Grid.places` as numbers that are quick to compare."""
    return tuple(float(place) for place in grid.places)


@cache
def edges(grid: Grid) -> tuple[float, ...]:
    """From where on the next step is nearer: `bisect_left` finds a place's step in them."""
    return tuple((step + later) / 2 for step, later in pairwise(spots(grid)))


def on_steps(places: Sequence[float], grid: Grid) -> list[tuple[int, int, float]]:
    """The bar and its step nearest to each place, and how far it is from there, in quarter notes.

    places: quarter notes from a bar line.
    """
    at, between = spots(grid), edges(grid)
    bar, size = float(grid.meter.bar), grid.bar_steps
    found = []
    for place in places:
        number, within = divmod(place, bar)
        step = bisect_left(between, within)
        on_next = step == size
        found.append((int(number) + on_next, 0 if on_next else step, within - at[step]))
    return found


@frozen
class Found:
    """A grid and how well it fits.

    exact: strokes lie on it to a tick. spread: s, of strokes about their steps. strays: the
    share of strokes that are not on it.
    """

    grid: Grid
    exact: bool
    spread: float = 0.0
    strays: float = 0.0
    score: float = 0.0


STRAIGHT = Swing(Fraction(1), _HALF)


def allowed(meter: Meter, steps: int) -> list[int]:
    """Steps to a beat that the meter takes; only `steps`, if not 0.

    Raises MidiforgeError if it takes none.
    """
    found = []
    for each in (steps,) if steps else _STRAIGHT:
        try:
            steps_in_bar(meter, meter.beat / each)
        except MidiforgeError:
            if steps:
                raise
            continue
        if each <= MOST_STEPS:
            found.append(each)
    return found


def pairs(meter: Meter, steps: int) -> Iterator[Fraction]:
    """The pairs that may swing where the beat has so many steps, in quarter notes."""
    step = meter.beat / steps
    for pair in (Fraction(1), Fraction(1, 2)):
        if meter.is_mixed or (meter.is_compound and pair == 1):
            continue
        if (meter.beat / pair).denominator == 1 and 2 * step == pair:
            yield pair


def _sampled(places: Sequence[float]) -> Sequence[float]:
    """About as many as the grid is found from: some in a row, from all over."""
    if len(places) <= _SAMPLE:
        return places
    size = _SAMPLE // _STRETCHES
    starts = [i * (len(places) - size) // (_STRETCHES - 1) for i in range(_STRETCHES)]
    return [place for start in starts for place in places[start : start + size]]


@cache
def _candidates(meter: Meter, steps: int) -> Sequence[tuple[int, Fraction | None]]:
    """Steps to a beat and the pair that swings, simple ones first."""
    return [(each, pair) for each in allowed(meter, steps) for pair in (None, *pairs(meter, each))]


def exact_grid(
    ticks: Sequence[int], meter: Meter, steps: int, division: Fraction | int
) -> Found | None:
    """The coarsest grid that strokes lie on to a tick; None if none does.

    ticks: from a bar line. division: ticks to a quarter note.
    """
    bar, ticks_each = meter.bar * division, float(division)
    size = int(bar)
    within = Counter(
        [tick % size for tick in ticks] if size == bar else [float(tick % bar) for tick in ticks]
    )
    best: tuple[float, Grid] | None = None
    for count, pair in _candidates(meter, steps):
        swing = STRAIGHT
        if pair is not None:
            share = _written_share(within, pair * division)
            if share is None:
                continue
            swing = Swing(pair, share)
        grid = Grid(meter, count, swing)
        whole = (division * grid.step).denominator == 1 and swing.is_straight
        near = 0.01 if whole else 0.51
        ticks_at = [place * ticks_each for place in spots(grid)]
        between = [edge * ticks_each for edge in edges(grid)]
        off, most = 0, (1 - _EXACT_SHARE) * len(ticks)
        for tick, times in within.items():
            if abs(tick - ticks_at[bisect_left(between, tick)]) > near:
                off += times
                if off > most:
                    break
        share_on = 1 - off / len(ticks)
        if share_on >= _EXACT_SHARE and (best is None or share_on > best[0] + 0.002):
            best = share_on, grid
            if not off:
                break
    return Found(best[1], True, strays=1 - best[0]) if best else None


def _written_share(within: Mapping[float, int], pair: Fraction) -> Fraction | None:
    """Where the second note of each pair is, in a file that has it at one place; else None.

    within: strokes by tick of the bar. pair: in ticks.
    """
    length = float(pair)
    places = [tick % length / length for tick in within]
    off = [each for each in places if _LEAST_WRITTEN <= each <= _MOST_SWING]
    if not off or len(off) == len(places):
        return None
    middle = median(off)
    if any(abs(each - middle) * length > 1.01 for each in off):
        return None
    share = Fraction(round(middle * length)) / pair
    simple = share.limit_denominator(_NICE)  # triplets in ticks that three does not divide
    if abs(simple - share) * pair <= Fraction(51, 100):
        return simple
    return share.limit_denominator(9999)


def likeliest_grid(places: Sequence[float], meter: Meter, steps: int, quarter: float) -> Found:
    """The grid that strokes are likeliest to be meant on.

    Each candidate says: a stroke is about one of its steps, each step as likely as it is often
    used, with an unevenness of so many ms, or it strays and may be anywhere. A finer grid
    has to explain so much more that its further steps are worth it (the Bayesian information
    criterion, Schwarz, Annals of Statistics 6(2), 1978).

    places: quarter notes from a bar line. quarter: its length in seconds.
    """
    bar, beat = float(meter.bar), float(meter.beat)
    sample = _sampled(places)
    phases = [place % bar % beat / beat for place in sample]
    seconds = beat * quarter
    best: Found | None = None
    for count, pair in _candidates(meter, steps):
        swing, cost = STRAIGHT, count - 1
        if pair is not None:
            share = _played_share([place % float(pair) / float(pair) for place in sample])
            if share is None:
                continue
            swing, cost = Swing(pair, share), count
        grid = Grid(meter, count, swing)
        of_beat = [each / beat for each in spots(grid)[: count + 1]]
        score, spread, strays = _likelihood(phases, of_beat, seconds)
        score -= (cost + 1) / 2 * log(len(phases))
        if best is None or score > best.score + 1e-6:
            best = Found(grid, False, spread, strays, score)
    assert best is not None
    return best


def _likelihood(
    phases: Sequence[float], places: Sequence[float], seconds: float
) -> tuple[float, float, float]:
    """The best log likelihood over unevennesses, that unevenness in s, and the share that strays.

    phases: of the beat. places: of the steps, the next beat's last.
    """
    count, whole = len(places) - 1, len(phases)
    between = [(place + later) / 2 for place, later in pairwise(places)]
    near = [bisect_left(between, phase) for phase in phases]
    apart = [phase - places[i] for phase, i in zip(phases, near, strict=True)]
    late = median(apart) if apart else 0.0
    late = max(-_MOST_LATE / seconds, min(_MOST_LATE / seconds, late))
    away = [(each - late) ** 2 for each in apart]
    limits = [(_STRAY_SPREADS * sigma / seconds) ** 2 for sigma in _SIGMAS]
    within = [bisect_left(limits, square) for square in away]
    added = [0.0] * (len(limits) + 1)
    for i, square in zip(within, away, strict=True):
        added[i] += square
    struck = Counter(zip(within, near, strict=True))
    best = (-1e300, 0.0, 0.0)
    slots = [0] * count
    squares = 0.0
    for i, sigma in enumerate(_SIGMAS):
        width = sigma / seconds
        squares += added[i]
        for step in range(count + 1):
            slots[step % count] += struck[i, step]
        inside = sum(slots)
        strays = whole - inside
        total = sum(each * log(each / whole) for each in slots if each)
        total -= inside * log(width * sqrt(2 * pi)) + squares / (2 * width * width)
        total += strays * log((strays + 0.5) / whole)
        if total > best[0]:
            best = total, sigma, strays / whole
    return best


def _played_share(within: Sequence[float]) -> Fraction | None:
    """The first note's share of a pair, from strokes between beats; None where that is no swing."""
    off = [each for each in within if 0.5 - 0.15 <= each <= _MOST_SWING + 0.1]
    on = [(each + 0.5) % 1 - 0.5 for each in within if not 0.2 < each < 0.8]
    if len(off) < 2 or not on:
        return None
    share = median(off) - median(on)  # all of it may be late
    if not _LEAST_SWING <= share <= _MOST_SWING:
        return None
    found = Fraction(share)
    for largest in range(2, _NICE + 1):
        simple = found.limit_denominator(largest)
        if abs(simple - found) <= _NEAR_ENOUGH and simple > _HALF:
            return simple
    return found.limit_denominator(50)
