"""The form of a take: few bars that were really played, and the order they come in.

Each bar is written on the grid that says it best. Then bars are chosen, each the one that stands
best for those that no chosen one is like yet, until nearly all strokes are explained (the greedy
choice of medoids: Kaufman and Rousseeuw, Finding Groups in Data, 1990, chapter 2).
"""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from heapq import heapify, heappop, heapreplace
from itertools import groupby
from math import lcm, log
from statistics import median
from typing import NamedTuple

from midiforge.frozen import frozen
from midiforge.groove.grid import Grid, nearest, spots
from midiforge.groove.limbs import DRUMS, FEET_VOICES
from midiforge.groove.ornaments import Stroke
from midiforge.groove.settled import Settled
from midiforge.hear.expected import pad_of
from midiforge.model.hit import Strength

MOST_BARS = 512  # of a take; its cells are found from these
_GRIDS = (2, 3, 4, 6, 8, 12)  # steps to a beat that a bar may be on
_SPREAD = 0.018  # s, of strokes about their step
_STRAY = 4.5  # what a stroke far from every step costs at most: three deviations
_LOST = 5.0  # what it costs to have two strokes of a voice on one step
_OTHER = 3.0  # what another grid than the usual one has to be better by
_HEARD_AS_ONE = 0.040  # s: strokes so near are the same in two bars
_UNLIKE = 0.35  # of the strokes of both: bars that differ by more have letters of their own
_MOST_CELLS = 64  # more nobody reads
_HEARD = 0.012  # share of the strokes from which on a voice must be in some cell
_LEFT_OVER = 0.05  # share of the strokes that no cell explains
_FILL = 0.4  # share of the strokes by which a fill differs from what is usual
_KEEPING_TIME = 0.6  # of the usual strokes on cymbals; a fill has fewer
_LINE = 8  # bars in a line of the road map

Key = tuple[str, int]  # voice, and place in the bar


class Written(NamedTuple):
    """A stroke as a bar has it. place: in units of the form. off: s from there, later above 0."""

    stroke: Stroke
    place: int
    off: float
    strength: Strength


@frozen
class Cell:
    """A bar that was really played.

    number: of the bar in the take, from 0. steps: to a beat. strokes: by voice and place.
    times: how often it stands in the form.
    """

    name: str
    number: int
    steps: int
    strokes: Mapping[Key, Written]
    like: str
    times: int

    @property
    def is_fill(self) -> bool:
        """Whether it is one."""
        return self.name.startswith("fill")


@frozen
class Form:
    """unit: parts of a beat in which places are counted. order: names of cells, bar by bar from
    bar `first`. explained: strokes that the cells have. unfit: (bar, place, voice, what)."""

    cells: tuple[Cell, ...]
    order: tuple[str, ...]
    first: int
    unit: int
    steps: int
    explained: int
    kept: tuple[float, ...]
    unfit: tuple[tuple[int, int, str, str], ...]

    @property
    def road_map(self) -> str:
        """The order, eight bars a line, lines that come again counted."""
        if len(set(self.order)) == 1:
            return _counted(self.order[0], len(self.order))
        lines = [self.order[i : i + _LINE] for i in range(0, len(self.order), _LINE)]
        said = []
        for line, again in groupby(lines):
            times = len(list(again))
            names = ", ".join(_counted(name, len(list(some))) for name, some in groupby(line))
            if len(set(line)) == 1:
                said.append(_counted(line[0], times * len(line)))
            elif times > 1:
                said.append(f"{times} ({names})")
            else:
                said.append(names)
        return said[0] if len(said) == 1 else "\n".join(said) + "\n"


def _counted(name: str, times: int) -> str:
    return f"{times} {name}" if times > 1 else name


def find_form(
    settled: Settled, levels: Mapping[str, Mapping[int, Strength]], given: int = 0
) -> Form:
    """The cells of a take and their order.

    levels: what the velocities of each voice mean. given: steps to a beat of every bar; 0 for
        those that fit.
    """
    grid = settled.grid
    bar = float(grid.meter.bar)
    by_bar: dict[int, list[tuple[float, Stroke]]] = defaultdict(list)
    near = float(grid.meter.beat) * 0.07  # early by less, a stroke is of the next bar
    for quarters, stroke in zip(settled.places, settled.strokes, strict=True):
        before, within = divmod(quarters, bar)
        if bar - within <= near:
            before, within = before + 1, within - bar
        by_bar[int(before)].append((within, stroke))
    usual = given
    steps = dict.fromkeys(by_bar, given)
    if not given:
        steps, usual = _grids(by_bar, settled)
    unit = lcm(*steps.values())
    bars: dict[int, dict[Key, Written]] = {number: {} for number in by_bar}
    whole = int(unit * grid.meter.bar / grid.meter.beat)
    crowded: list[tuple[int, int, str, str]] = []
    for number in sorted(by_bar):
        one = Grid(grid.meter, steps[number], grid.swing)
        at, size = spots(one), unit // steps[number]
        for within, stroke in by_bar[number]:
            step = nearest(at, within)
            off = (within - at[step]) * settled.quarter
            place, home = step * size, number
            if place == whole:
                place, home = 0, number + 1
            voice = stroke.struck.voice
            written = Written(stroke, place, off, levels[voice][stroke.struck.velocity])
            into = bars.setdefault(home, {})
            there = into.get((voice, place))
            if there:
                crowded.append((home, place, voice, "two on one step"))
            if not there or there.stroke.struck.velocity < stroke.struck.velocity:
                into[voice, place] = written
    for number in bars:
        steps.setdefault(number, usual)
    first, last = min(bars), min(max(bars), min(bars) + MOST_BARS - 1)
    played = [bars.get(number, {}) for number in range(first, last + 1)]
    grids = [steps.get(number, usual) for number in range(first, last + 1)]
    seconds = float(grid.meter.beat) * settled.quarter / unit
    reach = min(_HEARD_AS_ONE / seconds, 0.45 * unit / usual)
    return _form(played, grids, first, unit, usual, crowded, reach)


def _grids(
    by_bar: Mapping[int, Sequence[tuple[float, Stroke]]], settled: Settled
) -> tuple[dict[int, int], int]:
    """Steps to a beat of each bar, and the usual ones."""
    grid = settled.grid
    swung = not grid.swing.is_straight
    usual = grid.steps
    counts = dict.fromkeys((usual, *(n for n in _GRIDS if not (swung and n % 3 and n < usual))))
    counts = {n: None for n in counts if (grid.meter.bar / (grid.meter.beat / n)).denominator == 1}
    spread = _SPREAD / settled.quarter
    at = spots(grid)
    late = median(
        within - at[nearest(at, within)] for strokes in by_bar.values() for within, _ in strokes
    )
    cost = {n: _cost(by_bar, Grid(grid.meter, n, grid.swing), spread, late) for n in counts}
    whole = {n: sum(each.values()) for n, each in cost.items()}
    usual = min(counts, key=lambda n: whole[n])
    steps = {}
    for number in by_bar:
        best = min((n for n in counts if usual % n), key=lambda n: cost[n][number], default=usual)
        steps[number] = best if cost[best][number] + _OTHER < cost[usual][number] else usual
    return steps, usual


def _cost(
    by_bar: Mapping[int, Sequence[tuple[float, Stroke]]], grid: Grid, spread: float, late: float
) -> dict[int, float]:
    """How badly a grid says each bar, as a log likelihood below 0. late: all strokes, on average;
    it and spread in quarter notes."""
    at = spots(grid)
    fine = log(grid.steps)
    twice = 2 * spread * spread
    costs = {}
    for number, strokes in by_bar.items():
        cost = 0.0
        taken = set()
        moments = set()
        for within, stroke in strokes:
            step = nearest(at, within - late)
            off = within - late - at[step]
            cost += min(_STRAY, off * off / twice)
            key = stroke.struck.voice, step
            if key in taken:
                cost += _LOST
            taken.add(key)
            moments.add(step)
        costs[number] = cost + fine * len(strokes)
    return costs


# Choosing cells


def _form(
    played: Sequence[Mapping[Key, Written]],
    steps: Sequence[int],
    first: int,
    unit: int,
    usual: int,
    crowded: Sequence[tuple[int, int, str, str]],
    reach: float,
) -> Form:
    ids = {key: i for i, key in enumerate(dict.fromkeys(key for bar in played for key in bar))}
    bits = _as_bits(played, ids, reach)
    chosen = _chosen(bits)
    chosen += _for_lost_voices(played, chosen)
    home = [min(chosen, key=lambda c: (bar.apart(bits[c]), c)) for bar in bits]
    names, like = _named(bits, home, played)
    times = Counter(home)
    strokes = _leveled(played, home, names, like)
    cells = tuple(
        Cell(names[c], c, steps[c], strokes[c], like.get(c, ""), times[c])
        for c in sorted(names, key=lambda c: _by_name(names[c]))
        if times[c]
    )
    kept: list[float] = []
    unfit = list(crowded)
    for number, (bar, c) in enumerate(zip(played, home, strict=True)):
        own = bits[number].own & bits[c].near
        theirs = bits[c].own & bits[number].near
        for key, written in bar.items():
            if own >> ids[key] & 1:
                kept.append(written.off)
            else:
                unfit.append((first + number, key[1], key[0], "extra"))
        unfit += [
            (first + number, key[1], key[0], "missing")
            for key in played[c]
            if not theirs >> ids[key] & 1
        ]
    return Form(
        cells,
        tuple(names[c] for c in home),
        first,
        unit,
        usual,
        len(kept),
        tuple(kept),
        tuple(sorted(unfit)),
    )


class _Bar(NamedTuple):
    """A bar as bits, one for each voice and place: struck, and struck so near that it is heard as
    the same."""

    own: int
    near: int

    def apart(self, other: "_Bar") -> int:
        """Strokes that one has and the other has not."""
        return (self.own & ~other.near).bit_count() + (other.own & ~self.near).bit_count()

    @property
    def size(self) -> int:
        return self.own.bit_count()


def _as_bits(
    played: Sequence[Mapping[Key, Written]], ids: Mapping[Key, int], reach: float
) -> list[_Bar]:
    """ids: the bit of each key. reach: of what is heard as the same, in units of the form."""
    places: dict[str, list[int]] = defaultdict(list)
    for voice, place in ids:
        places[voice].append(place)
    about = {
        (voice, place): sum(1 << ids[voice, p] for p in places[voice] if abs(p - place) <= reach)
        for voice, place in ids
    }
    bars = []
    for bar in played:
        own = near = 0
        for key in bar:
            own |= 1 << ids[key]
            near |= about[key]
        bars.append(_Bar(own, near))
    return bars


def _chosen(bars: Sequence[_Bar]) -> list[int]:
    """The bars that stand for all: each the one that explains most that is not explained yet."""
    weights = Counter(bars)
    different = list(weights)
    times = list(weights.values())
    unlike = [bar.size for bar in different]  # to silence
    left = sum(size * n for size, n in zip(unlike, times, strict=True))
    enough = _LEFT_OVER * left
    every = range(len(different))

    def gain(i: int) -> int:
        own, near = different[i]
        gained = 0
        for j in every:
            now = unlike[j]
            if now:
                other = different[j]
                now -= (own & ~other.near).bit_count() + (other.own & ~near).bit_count()
                if now > 0:
                    gained += now * times[j]
        return gained

    waiting = [(-gain(i), i) for i in every]
    heapify(waiting)
    chosen: list[int] = []
    while waiting and (left > enough or not chosen) and len(chosen) < _MOST_CELLS:
        # Gains only fall: one that is still the greatest need not be compared with the others.
        _, i = waiting[0]
        now = gain(i)
        if len(waiting) > 1 and -now > min(waiting[1:3])[0]:
            heapreplace(waiting, (-now, i))
            continue
        heappop(waiting)
        if now <= 0:
            break
        chosen.append(i)
        left -= now
        for j in every:
            unlike[j] = min(unlike[j], different[i].apart(different[j]))
    first: dict[_Bar, int] = {}
    for number, bar in enumerate(bars):
        first.setdefault(bar, number)
    return [first[different[i]] for i in chosen] or [0]


def _for_lost_voices(played: Sequence[Mapping[Key, Written]], chosen: Sequence[int]) -> list[int]:
    """Bars that stand for voices which are struck often and in no chosen bar."""
    struck = Counter(voice for bar in played for voice, _ in bar)
    heard = {voice for c in chosen for voice, _ in played[c]}
    more: list[int] = []
    for voice, times in struck.most_common():
        if voice not in heard and times >= _HEARD * struck.total():
            best = max(range(len(played)), key=lambda n: sum(v == voice for v, _ in played[n]))
            more.append(best)
            heard |= {v for v, _ in played[best]}
    return more


def _named(
    bits: Sequence[_Bar],
    home: Sequence[int],
    played: Sequence[Mapping[Key, Written]],
) -> tuple[dict[int, str], dict[int, str]]:
    """What cells are called, and which other each is written as a variant of.

    Letters in order of how often they are played; A2 is like A but for a few strokes.
    """
    times = Counter(home)
    order = sorted(times, key=lambda c: (-times[c], c))
    main = order[0]
    cymbals = _keeping_time(played[main])
    names: dict[int, str] = {}
    like: dict[int, str] = {}
    families: dict[int, int] = {}
    fills = 0
    last = len(home) - 1
    for c in order:
        size = bits[c].size
        near = min(families, key=lambda f: bits[c].apart(bits[f]), default=None)
        apart = bits[c].apart(bits[near]) if near is not None else 0
        both = size + bits[near].size if near is not None else 0
        if not size:
            names[c] = "rest"
        elif near is not None and apart <= _UNLIKE * both:
            families[near] += 1
            names[c], like[c] = f"{names[near]}{families[near]}", names[near]
        elif home[last] == c and times[c] == 1 and last and size < 0.6 * bits[main].size:
            names[c] = "ending"
        elif home[0] == c and times[c] == 1 and last and size < 0.6 * bits[main].size:
            names[c] = "pickup"
        elif near is not None and _is_fill(played[c], cymbals, apart, both):
            fills += 1
            names[c] = "fill" if fills == 1 else f"fill-{fills}"
        else:
            families[c] = 1
            names[c] = _letter(len(families) - 1)
    return names, like


def _leveled(
    played: Sequence[Mapping[Key, Written]],
    home: Sequence[int],
    names: Mapping[int, str],
    like: Mapping[int, str],
) -> dict[int, dict[Key, Written]]:
    """The strokes of each cell, each as strong as it mostly is in the bars that the cell and its
    variants stand for."""
    family = {c: like.get(c, name) for c, name in names.items()}
    votes: dict[tuple[str, Key], Counter[Strength]] = defaultdict(Counter)
    for bar, c in zip(played, home, strict=True):
        for key, written in bar.items():
            votes[family[c], key][written.strength] += 1
    return {
        c: {
            key: written._replace(strength=votes[family[c], key].most_common(1)[0][0])
            for key, written in played[c].items()
        }
        for c in names
    }


def _letter(number: int) -> str:
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    turn, place = divmod(number, len(letters))
    return letters[place] * (turn + 1)


def _by_name(name: str) -> tuple[bool, int, str, int]:
    """Letters first, variants behind their own; then all others."""
    letters = name.rstrip("0123456789")
    number = int(name[len(letters) :] or 1)
    return not letters.isupper(), len(letters) if letters.isupper() else 0, letters, number


def _keeping_time(bar: Mapping[Key, Written]) -> int:
    return sum(1 for voice, _ in bar if _is_time(voice))


def _is_time(voice: str) -> bool:
    return voice not in FEET_VOICES and pad_of(voice) not in DRUMS


def _is_fill(bar: Mapping[Key, Written], cymbals: int, apart: int, both: int) -> bool:
    """Whether the hands leave off keeping time for drums."""
    drums = sum(1 for voice, _ in bar if pad_of(voice) in DRUMS)
    own = _keeping_time(bar)
    return apart >= _FILL * both and own < _KEEPING_TIME * cymbals and drums > own
