"""The beat of a played groove: found from its strokes alone, and followed as it drifts.

First the commonest distance on which the strokes lie is found, in stretches of some seconds: for
each rate, the strokes are laid round a circle that turns at that rate, and the mean of their
directions is long where they come together (Rayleigh's test, Mardia and Jupp, Directional
Statistics, 2000, chapter 6). Then that rate is followed through the take. Which of its multiples
is the beat, and which beat is the first of the bar, is weighed by what drummers do.
"""

from bisect import bisect_left
from cmath import exp as turn
from cmath import phase
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import accumulate
from math import log2, pi
from statistics import median

from midiforge.groove.ornaments import Stroke
from midiforge.model.meter import Meter

_SLOWEST_RATE, _FASTEST_RATE, _RATE_STEP = 0.9, 13.0, 0.025  # a second
_STRETCH, _MOST_STRETCHES = 8.0, 10  # seconds that a rate is looked for in
_WINDOW, _HOP = 6.0, 2.0  # seconds that it is followed in, and by which it goes on
_AS_CLEAR = 0.9  # as clear as the clearest: then the slower rate is taken
_FOLLOW = 0.5  # how much of a stretch's error is taken for a change of rate
_CLEAR = 0.25  # less clear than this: nothing is learnt from a stretch
_TOGETHER = 0.030  # s; strokes that are one moment
_BARS_LOOKED_AT = 96
_SUREST = 0.99  # only a file's own beats are surer

_SLOWEST_BEAT, _FASTEST_BEAT = 45.0, 230.0  # a minute
_USUAL_BEAT, _SPREAD = 108.0, 0.75  # beats a minute, and octaves, that listeners prefer
_BASS, _SNARES, _PEDAL = "bass-drum", "snare", "hihat-pedal"
_CRASHES = ("crash", "crash-2", "china", "splash")
_COUNTS = (1, 2, 3, 4, 5, 6, 7, 8, 12)
_ODD_COUNTS = (5, 7)

# What speaks for a reading of the strokes, and how loud. Common practice of drum-set playing.
_TEMPO = 1.2  # near the tempo that listeners prefer, in octaves squared
_ON_BEAT = 2.0  # strokes on beats, more than by chance
_DOWNBEAT = 1.2  # bars with the bass drum on one
_BACKBEAT, _HALF_TIME = 1.6, 0.55  # the snare on two and four; on three, as a share of that
_RECURS = 1.5  # strokes that come again a bar later
_FIRST, _CRASH = 0.5, 0.4  # the first stroke, crash cymbals on one
_IN_FOURS = 0.35  # four beats rather than three
_BARE = 0.5  # against beats with nothing between them
_FINE = 0.6  # against beats in eight parts or more
_ODD = 0.3  # against beats in five or seven, which swung ones can look like


@dataclass(frozen=True, slots=True)
class Pulse:
    """The beats of a take.

    places: of each stroke, in quarter notes from the bar line before (or at) the first.
    tempo: quarter notes a minute, in the middle; slowest, fastest: of stretches of it.
    meter: given, or guessed. sure: 0 to 1, that the beat and the first of the bar are right.
    clear: 0 to 1, how well strokes lie on the rate that was followed.
    """

    places: tuple[float, ...]
    tempo: float
    slowest: float
    fastest: float
    meter: Meter
    meter_guessed: bool
    sure: float
    clear: float


def find_pulse(strokes: Sequence[Stroke], meter: Meter | None, tempo: float | None) -> Pulse | None:
    """The beats of a take; None where it has too few strokes to say.

    meter: None to guess whether it is in four or in three. tempo: pulses of the meter a minute.
    """
    moments = _moments(strokes)
    if len(moments) < 4:
        return None
    rate = _rate(moments, meter, tempo)
    if rate is None:
        return None
    knots, clear = _followed(moments, rate)
    along = _along(knots, [stroke.struck.time for stroke in strokes])
    reading, sure = _read(strokes, along, knots, meter, tempo)
    steps, first, found = reading.steps, reading.first, reading.meter
    beat = float(found.beat)
    turns = min(along) - first
    bar = steps * int(found.bar / found.beat)
    first += bar * int((turns + 0.25) // bar)
    places = [(each - first) / steps * beat for each in along]
    tempos = _tempos(knots, steps, beat)
    return Pulse(
        places=tuple(places),
        tempo=median(tempos),
        slowest=min(tempos),
        fastest=max(tempos),
        meter=found,
        meter_guessed=meter is None,
        sure=sure,
        clear=clear,
    )


def _moments(strokes: Sequence[Stroke]) -> list[tuple[float, float]]:
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


# The rate


def _rate(
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
        for steps in _COUNTS
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


def _followed(moments: Sequence[tuple[float, float]], rate: float) -> tuple[list[Knot], float]:
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
    for _ in range(hops + 1):
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
        at += hop
        turns += rate * hop
    if len(knots) == 1:
        knots.append((knots[0][0] + 1.0, knots[0][1] + rate))
    return knots, drawn_sum / heavy_sum if heavy_sum else 0.0


def _along(knots: Sequence[Knot], times: Sequence[float]) -> list[float]:
    """Turns at each of rising times, straight between knots and beyond them."""
    found = []
    i, last = 1, len(knots) - 1
    for time in times:
        while i < last and time > knots[i][0]:
            i += 1
        (one, low), (two, high) = knots[i - 1], knots[i]
        found.append(low + (time - one) * (high - low) / (two - one))
    return found


def _tempos(knots: Sequence[Knot], steps: int, beat: float) -> list[float]:
    """Quarter notes a minute, over stretches of about ten seconds."""
    size = max(1, min(len(knots) - 1, round(10 / _HOP)))
    return [
        60 * (knots[i + size][1] - knots[i][1]) / (knots[i + size][0] - knots[i][0]) / steps * beat
        for i in range(len(knots) - size)
    ]


# What the beat is, and where the bar begins


@dataclass(frozen=True, slots=True)
class _Reading:
    score: float
    steps: int
    first: float
    meter: Meter


def _read(
    strokes: Sequence[Stroke],
    along: Sequence[float],
    knots: Sequence[Knot],
    meter: Meter | None,
    tempo: float | None,
) -> tuple[_Reading, float]:
    """The likeliest reading, and how sure it is."""
    rate = (knots[-1][1] - knots[0][1]) / (knots[-1][0] - knots[0][0])
    meters = [meter] if meter else [Meter.parse("4/4"), Meter.parse("3/4")]
    readings: list[_Reading] = []
    for found in meters:
        wanted = tempo * float(found.pulse / found.beat) if tempo else None
        for steps in _COUNTS:
            beats = 60 * rate / steps
            if wanted is not None and abs(beats / wanted - 1) > 0.09:
                continue
            if wanted is None and not _SLOWEST_BEAT <= beats <= _FASTEST_BEAT:
                continue
            readings += _readings(strokes, along, steps, found, beats, wanted is not None)
    if not readings:  # slower than any beat, or the tempo given is no multiple
        found = meters[0]
        readings = list(_readings(strokes, along, 1, found, 60 * rate, True))
    readings.sort(key=lambda each: -each.score)
    best = readings[0]
    others = [each.score for each in readings[1:]]
    margin = best.score - others[0] if others else 2.0
    return best, min(_SUREST, margin / 0.8)


def _readings(
    strokes: Sequence[Stroke],
    along: Sequence[float],
    steps: int,
    meter: Meter,
    tempo: float,
    given: bool,
) -> Iterator[_Reading]:
    """One reading for each place where the bar could begin."""
    beats = int(meter.bar / meter.beat)
    bar = steps * beats
    most = bar * _BARS_LOOKED_AT
    base = round(along[0])
    bass, snare, pedal, crash, every = ([0.0] * bar for _ in range(5))
    seen: dict[str, set[int]] = {}
    bass_at: set[int] = set()
    for stroke, turns in zip(strokes, along, strict=True):
        at = round(turns) - base
        if at > most:
            break
        place = at % bar
        heavy = stroke.struck.velocity / 127
        every[place] += heavy
        seen.setdefault(stroke.pad, set()).add(at)
        if stroke.pad == _BASS:
            bass[place] += heavy
            bass_at.add(at)
        elif stroke.pad == _SNARES:
            snare[place] += heavy * heavy  # ghosts say little
        elif stroke.pad == _PEDAL:
            pedal[place] += heavy
        elif stroke.pad in _CRASHES:
            crash[place] += heavy
    total = sum(every)
    bars = max(1.0, (round(min(along[-1] - base, most)) + 1) / bar)
    recurs = _recurs(seen, bar)
    common = _RECURS * recurs
    if not given:
        common -= _TEMPO * (log2(tempo / _USUAL_BEAT) / _SPREAD) ** 2 / 2
    if beats == 4:
        common += _IN_FOURS
    if steps == 1:
        common -= _BARE
    if steps >= 8:
        common -= _FINE
    if steps in _ODD_COUNTS:
        common -= _ODD
    foot = sum(bass)
    for first in range(bar):
        on = sum(every[(first + i * steps) % bar] for i in range(beats)) / total
        score = common + _ON_BEAT * (on - 1 / steps)
        if foot:
            bass_on = sum(bass[(first + i * steps) % bar] for i in range(beats)) / foot
            downs = sum(1 for at in bass_at if at % bar == first)
            score += _DOWNBEAT * (min(1.0, downs / bars) + 0.5 * (bass_on - 1 / steps))
        for back, weight in ((snare, _BACKBEAT), (pedal, 0.5 * _BACKBEAT)):
            whole = sum(back)
            if not whole:
                continue
            if beats == 4:
                two = [back[(first + i * steps) % bar] for i in (1, 3)]
                three = back[(first + 2 * steps) % bar]
                score += weight * max(sum(two), _HALF_TIME * three) / whole
            else:
                late = sum(back[(first + i * steps) % bar] for i in range(1, beats))
                score += weight * 0.8 * late / whole
        struck = sum(crash)
        if struck:
            score += _CRASH * crash[first] / struck
        if first == 0:
            score += _FIRST
        yield _Reading(score, steps, float(base + first), meter)


def _recurs(seen: dict[str, set[int]], bar: int) -> float:
    """The share of strokes that come again a bar later."""
    again = whole = 0
    for places in seen.values():
        last = max(places) - bar
        if last < 0:
            continue
        among = [at for at in places if at <= last]
        whole += len(among)
        again += sum(1 for at in among if at + bar in places)
    return again / whole if whole else 0.0


# Refinement: the beat as the strokes on it have it


def smoothed(times: Sequence[float], meant: Sequence[float], reach: float) -> list[float]:
    """Where each stroke lies by the take's own beat, in quarter notes.

    A straight line through the strokes within `reach` quarter notes, each at the place that is
    meant, is the beat about that stroke.

    times: rising, in s. meant: quarter notes, near enough rising.
    """
    count = len(times)
    mid = times[0]
    along, places, squares, products = (
        list(accumulate(values, initial=0.0))
        for values in (
            [time - mid for time in times],
            list(meant),
            [(time - mid) ** 2 for time in times],
            [(time - mid) * place for time, place in zip(times, meant, strict=True)],
        )
    )
    found = []
    low = high = 0
    order = sorted(meant)
    for time, place in zip(times, meant, strict=True):
        while low < count and order[low] < place - reach:
            low += 1
        while high < count and order[high] <= place + reach:
            high += 1
        # At the ends the window stays as wide, so that the line does not bend to single strokes.
        n = high - low
        t = along[high] - along[low]
        p = places[high] - places[low]
        tt = squares[high] - squares[low]
        tp = products[high] - products[low]
        spread = n * tt - t * t
        if n < 4 or spread <= 1e-9:
            found.append(place)
            continue
        slope = (n * tp - t * p) / spread
        found.append((p - slope * t) / n + slope * (time - mid))
    return found
