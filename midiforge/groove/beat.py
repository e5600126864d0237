"""Which multiple of the strokes' rate is the beat, and which beat is the first of the bar.

Readings are weighed by what drummers do.
"""

from collections.abc import Iterator, Sequence
from math import exp, log2

from midiforge.frozen import frozen
from midiforge.groove.ornaments import Stroke
from midiforge.groove.rate import COUNTS, Knot
from midiforge.model.meter import Meter

_BARS_LOOKED_AT = 96
_SUREST = 0.99  # only a file's own beats are surer
# How often readings were right on recordings (logistic regression; tests/benchmark_groove.py): by
# the margin to the next reading, and by how often the strokes were doubled from 64.
_USUALLY, _BY_MARGIN, _BY_STROKES = 0.94, 1.75, 0.34
_TOO_FEW, _BY_TOO_FEW = 16, 0.8  # strokes; with fewer, readings are told apart worse still

_SLOWEST_BEAT, _FASTEST_BEAT = 45.0, 230.0  # a minute
_USUAL_BEAT, _SPREAD = 108.0, 0.75  # beats a minute, and octaves, that listeners prefer
_BASS, _SNARES, _PEDAL = "bass-drum", "snare", "hihat-pedal"
_CRASHES = ("crash", "crash-2", "china", "splash")
_ODD_COUNTS = (5, 7)

# What speaks for a reading of the strokes, and how loud. Common practice of drum-set playing.
_TEMPO = 1.2  # near the tempo that listeners prefer, in octaves squared
_FAST, _TOO_FAST = 155.0, 6.0  # from there on half as fast is as good: for each octave
_ON_BEAT = 2.0  # strokes on beats, more than by chance
_DOWNBEAT = 1.2  # bars with the bass drum on one
_BACKBEAT, _HALF_TIME = 1.6, 0.55  # the snare on two and four; on three, as a share of that
_RECURS = 1.5  # strokes that come again a bar later
_FIRST, _CRASH = 0.5, 0.4  # the first stroke, crash cymbals on one
# What a meter that nobody says must be better by than 4/4.
_METERS = {"4/4": 0.0, "3/4": 0.6, "5/4": 0.6, "2+2+3/8": 0.8, "3+2+2/8": 0.8}
_BARE = 0.5  # against beats with nothing between them
_THREES = 0.15  # against beats in threes, which drummers play less than in twos
_FINE = 0.8  # against beats in six parts or more
_ODD = 0.3  # against beats in five or seven, which swung ones can look like


@frozen
class _Reading:
    score: float
    steps: int
    first: float
    meter: Meter


def read_beat(
    strokes: Sequence[Stroke],
    along: Sequence[float],
    knots: Sequence[Knot],
    meter: Meter | None,
    tempo: float | None,
) -> tuple[_Reading, float]:
    """The likeliest reading, and how sure it is."""
    rate = (knots[-1][1] - knots[0][1]) / (knots[-1][0] - knots[0][0])
    meters = [meter] if meter else [Meter.parse(each) for each in _METERS]
    readings: list[_Reading] = []
    for found in meters:
        wanted = tempo * float(found.pulse / found.beat) if tempo else None
        for steps in COUNTS:
            if (steps * found.bar / found.beat).denominator > 1:
                continue
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
    margin = min(2.0, best.score - others[0]) if others else 2.0
    odds = _USUALLY + _BY_MARGIN * margin + _BY_STROKES * log2(len(strokes) / 64)
    odds += _BY_TOO_FEW * min(0.0, log2(len(strokes) / _TOO_FEW))
    return best, min(_SUREST, 1 / (1 + exp(-odds)))


def _readings(
    strokes: Sequence[Stroke],
    along: Sequence[float],
    steps: int,
    meter: Meter,
    tempo: float,
    given: bool,
) -> Iterator[_Reading]:
    """One reading for each place where the bar could begin."""
    bar = int(steps * meter.bar / meter.beat)
    starts = [int(steps * at / meter.beat) for at in meter.beats]
    beats, by_chance = len(starts), len(starts) / bar
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
        common -= _TOO_FAST * max(0.0, log2(tempo / _FAST))
    common -= _METERS.get(str(meter), 0.0)
    if steps == 1:
        common -= _BARE
    if steps % 3 == 0:
        common -= _THREES
    if steps >= 6:
        common -= _FINE
    if steps in _ODD_COUNTS:
        common -= _ODD
    foot = sum(bass)
    for first in range(bar):
        on = sum(every[(first + at) % bar] for at in starts) / total
        score = common + _ON_BEAT * (on - by_chance)
        if foot:
            bass_on = sum(bass[(first + at) % bar] for at in starts) / foot
            downs = sum(1 for at in bass_at if at % bar == first)
            score += _DOWNBEAT * (min(1.0, downs / bars) + 0.5 * (bass_on - by_chance))
        for back, weight in ((snare, _BACKBEAT), (pedal, 0.5 * _BACKBEAT)):
            whole = sum(back)
            if not whole:
                continue
            if beats == 4:
                two = [back[(first + i * steps) % bar] for i in (1, 3)]
                three = back[(first + 2 * steps) % bar]
                score += weight * max(sum(two), _HALF_TIME * three) / whole
            else:
                late = sum(back[(first + at) % bar] for at in starts[1:])
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
