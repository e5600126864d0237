"""The rate at which a take's strokes come, and how it drifts.

The commonest distance on which they lie is found in stretches of some seconds: for each rate, the
strokes are laid round a circle that turns at that rate, and the mean of their directions is long
where they come together (Rayleigh's test, Mardia and Jupp, Directional Statistics, 2000, chapter
6). Then that rate is followed through the take.
"""

from bisect import bisect_left
from cmath import exp as turn
from cmath import phase
from collections.abc import Iterator, Sequence
from math import floor, pi

from midiforge.groove.ornaments import Stroke
from midiforge.model.meter import Meter

_SLOWEST_RATE, _FASTEST_RATE, _RATE_STEP = 0.9, 13.0, 0.025  # a second
_STRETCH, _MOST_STRETCHES = 8.0, 10  # seconds that a rate is looked for in
_WINDOW, _HOP = 6.0, 2.0  # seconds that it is followed in, and by which it goes on
_AS_CLEAR = 0.9  # as clear as the clearest: then the slower rate is taken
_FOLLOW = 0.5  # how much of a stretch's error is taken for a change of rate
_CLEAR = 0.25  # less clear than this: nothing is learnt from a stretch
COUNTS = (1, 2, 3, 4, 5, 6, 7, 8, 12)  # of the rate, in a beat
_TOGETHER = 0.030  # s; strokes that are one moment


def moments_of(strokes: Sequence[Stroke]) -> list[tuple[float, float]]:
    """Times at which something is struck, and their weight: louder ones more."""
    found: list[tuple[float, float]] = []
    for stroke in strokes:
        time, weight = stroke.struck.time, 0.3 + stroke.struck.velocity / 127
        if found and time - found[-1][0] <= _TOGETHER:
            last, heavy = found[-1]
            both = heavy + weight
            found[-1] = (last * heavy + time * weight) / both, both
        else:
            found.append((time, weight))
    return found


def find_rate(
    moments: Sequence[tuple[float, float]], meter: Meter | None, tempo: float | None
) -> float | None:
    """How often a second the commonest distance goes by."""
    stretches = list(_stretches(moments))
    rates = _tried(meter, tempo)
    clear = _clearness(stretches) if tempo is None else [_clarity(stretches, r) for r in rates]
    # Above the rate of a stretch's fastest strokes everything is unclear; so are far ends.
    best = max(clear)
    for i, rate in enumerate(rates):
        peak = clear[i] >= max(clear[max(0, i - 3) : i + 4])
        if peak and clear[i] >= _AS_CLEAR * best:
            return _sharpened(stretches, rate)
    return None


def _tried(meter: Meter | None, tempo: float | None) -> list[float]:
    if tempo is None:
        count = int((_FASTEST_RATE - _SLOWEST_RATE) / _RATE_STEP)
        return [_SLOWEST_RATE + i * _RATE_STEP for i in range(count + 1)]
    beat = tempo * (float(meter.pulse / meter.beat) if meter else 1.0) / 60
    rates = {
        beat * steps * (1 + within / 100)
        for steps in COUNTS
        for within in range(-6, 7)
        if beat * steps <= _FASTEST_RATE
    }
    return sorted(rates)


def _stretches(moments: Sequence[tuple[float, float]]) -> Iterator[list[tuple[float, float]]]:
    times = [time for time, _ in moments]
    start, end = times[0], times[-1]
    count = max(1, min(_MOST_STRETCHES, int((end - start) / _STRETCH)))
    for i in range(count):
        at = start + i * (end - start - _STRETCH) / max(1, count - 1) if count > 1 else start
        length = _STRETCH if count > 1 else end - start
        part = moments[bisect_left(times, at) : bisect_left(times, at + length + 1e-9)]
        if len(part) >= 4:
            yield list(part[:200])


def _clearness(stretches: Sequence[Sequence[tuple[float, float]]]) -> list[float]:
    """`_clarity` at every rate that is tried where no tempo is given, each from the one before."""
    totals = [0.0] * len(_tried(None, None))
    weights = 0.0
    for part in stretches:
        heavy = sum(weight for _, weight in part)
        weights += heavy
        start = part[0][0]
        drawn = [weight * turn(2j * pi * _SLOWEST_RATE * (at - start)) for at, weight in part]
        further = [turn(2j * pi * _RATE_STEP * (at - start)) for at, _ in part]
        for i in range(len(totals)):
            totals[i] += abs(sum(drawn)) ** 2 / heavy
            drawn = [one * more for one, more in zip(drawn, further, strict=True)]
    return [(total / weights) ** 0.5 if weights else 0.0 for total in totals]


def _clarity(stretches: Sequence[Sequence[tuple[float, float]]], rate: float) -> float:
    """How far the strokes come together at a rate, 0 to 1, squared and averaged."""
    total = weights = 0.0
    spin = 2j * pi * rate
    for part in stretches:
        heavy = sum(weight for _, weight in part)
        drawn = sum(weight * turn(spin * time) for time, weight in part)
        total += (abs(drawn) / heavy) ** 2 * heavy
        weights += heavy
    return (total / weights) ** 0.5 if weights else 0.0


def _sharpened(stretches: Sequence[Sequence[tuple[float, float]]], rate: float) -> float:
    """The clearest rate near by, in the first stretch: what is followed begins there."""
    first = stretches[:1]
    near = [rate * (1 + i / 400) for i in range(-24, 25)]
    return max(near, key=lambda each: _clarity(first, each))


Knot = tuple[float, float]  # time, turns of the rate until then


def followed(moments: Sequence[tuple[float, float]], rate: float) -> tuple[list[Knot], float]:
    """The rate followed through the take; and how clear it was."""
    times = [time for time, _ in moments]
    start, end = times[0], times[-1]
    window = min(_WINDOW, end - start)
    at = start + window / 2
    hops = round((end - start - window) / _HOP)
    hop = (end - start - window) / max(1, hops)
    turns = 0.0  # at the first window's middle, set by its own strokes
    knots: list[Knot] = []
    drawn_sum = heavy_sum = 0.0
    done = 0
    while done <= hops:
        first = bisect_left(times, at - window / 2 - 1e-9)
        part = moments[first : bisect_left(times, at + window / 2 + 1e-9)]
        drawn, heavy = 0j, 0.0
        spin = -2j * pi * rate
        for time, weight in part:
            drawn += weight * turn(spin * (time - at))
            heavy += weight
        clear = abs(drawn) / heavy if heavy else 0.0
        if len(part) >= 3 and clear >= _CLEAR:
            # Strokes come at whole turns: their mean direction says how far off the middle is.
            off = (phase(drawn) / (2 * pi) - turns) % 1
            off -= off > 0.5
            turns += off
            if knots:
                rate += _FOLLOW * off / (at - knots[-1][0])
            drawn_sum += abs(drawn)
            heavy_sum += heavy
        knots.append((at, turns))
        # Where nothing is struck for long, the rate goes on; what that takes is not its length.
        nothing = 0 if part or first >= len(times) else times[first] - window / 2 - at
        skipped = max(1, floor(nothing / hop)) if hop else 1
        done += skipped
        at += hop * skipped
        turns += rate * hop * skipped
    if len(knots) == 1:
        knots.append((knots[0][0] + 1.0, knots[0][1] + rate))
    return knots, drawn_sum / heavy_sum if heavy_sum else 0.0


def turns_at(knots: Sequence[Knot], times: Sequence[float]) -> list[float]:
    """Turns at each of rising times, straight between knots and beyond them."""
    found = []
    i, last = 1, len(knots) - 1
    for time in times:
        while i < last and time > knots[i][0]:
            i += 1
        (one, low), (two, high) = knots[i - 1], knots[i]
        found.append(low + (time - one) * (high - low) / (two - one))
    return found


def tempos(knots: Sequence[Knot], steps: int, beat: float) -> list[float]:
    """Quarter notes a minute, over stretches of about ten seconds."""
    size = max(1, min(len(knots) - 1, round(10 / _HOP)))
    return [
        60 * (knots[i + size][1] - knots[i][1]) / (knots[i + size][0] - knots[i][0]) / steps * beat
        for i in range(len(knots) - size)
    ]
