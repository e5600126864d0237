"""The form of a take: few bars as they were mostly played, what is changed in them, and the order
they come in. Each bar is written on the grid that says it best; `cells` chooses."""

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Mapping, Sequence
from itertools import groupby
from math import gcd, lcm, log
from statistics import median

from midiforge.frozen import frozen
from midiforge.groove.cells import Cell, choose
from midiforge.groove.grid import Grid, edges, spots
from midiforge.groove.laid_back import usual_steps
from midiforge.groove.ornaments import Stroke
from midiforge.groove.sections import Section, in_order, sections
from midiforge.groove.settled import Settled
from midiforge.groove.written import Key, Written
from midiforge.model.counts import count_name
from midiforge.model.hit import Strength
from midiforge.model.meter import Meter

MOST_BARS = 512  # of a take; its cells are found from these
# Steps to a beat that a bar may be on, and what reading them costs a bar: twelve are hardly read.
_GRIDS = {2: 5.5, 3: 8.8, 4: 11.1, 6: 16.6, 8: 16.6}
# s: nearer, a stroke is heard on its step; from there on what it costs rises fast, up to so much
# far from every step.
_HEARD_ON, _STRAY = 0.030, 16.0
_LOST = 5.0  # what it costs to have two strokes of a voice on one step
_FINE = 20.0  # the same of any other
_OTHER = 2.0  # what another grid than the usual one has to be better by
_HEARD_AS_ONE = 0.040  # s: strokes so near are the same in two bars
_LINE = 8  # bars in a line of the road map


@frozen
class Form:
    """cells: bars, and what is laid over them; headings: what stands above which.
    unit: parts of a beat in which places are counted.
    order: names of what sounds together, bar by bar from bar `first`; sections: the same in short.
    kept: s that the strokes it has were from the grid. unfit: (bar, place, voice, what).
    rough: bars of which it has little."""

    cells: tuple[Cell, ...]
    headings: Mapping[str, str]
    order: tuple[tuple[str, ...], ...]
    sections: tuple[Section, ...]
    first: int
    unit: int
    steps: int
    kept: tuple[float, ...]
    unfit: tuple[tuple[int, int, str, str], ...]
    rough: tuple[int, ...]

    @property
    def road_map(self) -> str:
        """The order, eight bars a line in each section, lines that come again counted."""
        names = ["+".join(together) for together in self.order]
        lines = [
            names[i : min(i + _LINE, section.first + section.bars)]
            for section in self.sections
            for i in range(section.first, section.first + section.bars, _LINE)
        ]
        said = []
        for line, again in groupby(lines):
            times = len(list(again))
            if len(set(line)) == 1:
                said.append(_counted(line[0], times * len(line)))
            else:
                said.append(_counted(_repeated(line), times))
        return said[0] if len(said) == 1 else "\n".join(said) + "\n"


def _repeated(names: Sequence[str]) -> str:
    """Names in order; where a few come twice or more in a row, how often they do."""
    said: list[str] = []
    i = 0
    while i < len(names):
        size, times = 1, 1
        for length in range(1, len(names) // 2 + 1):
            again = 1
            while names[i + again * length : i + (again + 1) * length] == names[i : i + length]:
                again += 1
            if again > 1 and again * length > size * times:
                size, times = length, again
        said.append(_counted(", ".join(names[i : i + size]), times))
        i += size * times
    return ", ".join(said)


def _counted(names: str, times: int) -> str:
    if times == 1:
        return names
    return f"{times} ({names})" if "," in names else f"{times} {names}"


def find_form(
    settled: Settled,
    levels: Mapping[str, Mapping[int, Strength]],
    given: int = 0,
    kinds: int = 0,
) -> Form:
    """The cells of a take and their order.

    levels: what the velocities of each voice mean. given: steps to a beat of every bar; 0 for
        those that fit. kinds: of bars, at most; 0 for what its length asks for.
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
    unit = lcm(usual, *steps.values())
    usually = usual_steps(by_bar, steps, grid, settled.quarter)
    bars: dict[int, dict[Key, Written]] = {number: {} for number in by_bar}
    whole = int(unit * grid.meter.bar / grid.meter.beat)
    crowded: list[tuple[int, int, str, str]] = []
    for number in sorted(by_bar):
        fine = steps[number]
        at, size = usually[fine].at, unit // fine
        in_bar = by_bar[number]
        for (within, stroke), step in zip(in_bar, usually[fine].steps(in_bar), strict=True):
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

    def count(place: int) -> str:
        return count_of(grid.meter, unit, place).replace("&", "and")

    told = choose(played, [unit // n for n in grids], reach, count, kinds)
    kept: list[float] = []
    unfit = list(crowded)
    for number, (strokes, own) in enumerate(zip(played, told.bars, strict=True), start=first):
        kept += [written.off for key, written in strokes.items() if key in own.fit]
        unfit += [(number, place, voice, "extra") for voice, place in strokes.keys() - own.fit]
        unfit += [(number, place, voice, "missing") for voice, place in own.missing]
    cells, order = told.cells(grids), tuple(own.names for own in told.bars)
    in_short = sections(cells, order)
    cells, headings = in_order(cells, in_short)
    return Form(
        cells=cells,
        headings=headings,
        order=order,
        sections=in_short,
        first=first,
        unit=unit,
        steps=usual,
        kept=tuple(kept),
        unfit=tuple(sorted(unfit)),
        rough=tuple(number for number, own in enumerate(told.bars, start=first) if own.rough),
    )


def count_of(meter: Meter, unit: int, place: int) -> str:
    """A place as it is counted, on the coarsest grid that has it."""
    step = meter.beat / unit
    coarse = gcd(place, unit, int(meter.bar / step))
    return count_name(meter, step * coarse, place // coarse)


def _grids(
    by_bar: Mapping[int, Sequence[tuple[float, Stroke]]], settled: Settled
) -> tuple[dict[int, int], int]:
    """Steps to a beat of each bar, and the usual ones."""
    grid = settled.grid
    swung = not grid.swing.is_straight
    usual = grid.steps
    counts = dict.fromkeys((usual, *(n for n in _GRIDS if not (swung and n % 3 and n < usual))))
    counts = {n: None for n in counts if (grid.meter.bar / (grid.meter.beat / n)).denominator == 1}
    near = _HEARD_ON / settled.quarter
    at, between = spots(grid), edges(grid)
    late = median(
        within - at[bisect_left(between, within)]
        for strokes in by_bar.values()
        for within, _ in strokes
    )
    cost = {n: _cost(by_bar, Grid(grid.meter, n, grid.swing), near, late) for n in counts}
    least = {number: min(own[number] for own in cost.values()) + _OTHER for number in by_bar}
    whole = {n: sum(map(min, own.values(), least.values())) for n, own in cost.items()}
    usual = min(counts, key=lambda n: whole[n])
    steps = {}
    for number in by_bar:
        best = min((n for n in counts if usual % n), key=lambda n: cost[n][number], default=usual)
        steps[number] = best if cost[best][number] + _OTHER < cost[usual][number] else usual
    return steps, usual


def _cost(
    by_bar: Mapping[int, Sequence[tuple[float, Stroke]]], grid: Grid, near: float, late: float
) -> dict[int, float]:
    """How badly a grid says each bar. A stroke costs what the coarsest grid does that has its
    step, so that one sixteenth makes the eighths beside it no dearer. near: of its step, a stroke
    is heard on it; late: all strokes, on average; both in quarter notes."""
    at, between = spots(grid), edges(grid)
    fine = [log(grid.steps // gcd(step, grid.steps)) for step in range(grid.bar_steps + 1)]
    costs = {}
    for number, strokes in by_bar.items():
        cost = _GRIDS.get(grid.steps, _FINE)
        taken = set()
        for within, stroke in strokes:
            step = bisect_left(between, within - late)
            off = within - late - at[step]
            cost += min(_STRAY, (off / near) ** 4) + fine[step]
            key = stroke.struck.voice, step
            if key in taken:
                cost += _LOST
            taken.add(key)
        costs[number] = cost
    return costs
