"""Which multiple of the strokes' rate is the beat, and which beat is the first of the bar.

Readings are weighed by what drummers do.
"""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from functools import cache
from math import exp, log2
from typing import NamedTuple

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


class _Reading(NamedTuple):
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
    turns = [round(turn) for turn in along]
    fold = cache(lambda bar: _folded(strokes, turns, bar))
    for found in meters:
        wanted = tempo * float(found.pulse / found.beat) if tempo else None
        for steps in COUNTS:
            bar = steps * found.bar / found.beat
            if bar.denominator > 1:
                continue
            beats = 60 * rate / steps
            if wanted is not None and abs(beats / wanted - 1) > 0.09:
                continue
            if wanted is None and not _SLOWEST_BEAT <= beats <= _FASTEST_BEAT:
                continue
            readings += _readings(fold(int(bar)), steps, found, beats, wanted is not None)
    if not readings:  # slower than any beat, or the tempo given is no multiple
        found = meters[0]
        readings = list(_readings(fold(int(found.bar / found.beat)), 1, found, 60 * rate, True))
    readings.sort(key=lambda each: -each.score)
    best = readings[0]
    others = [each.score for each in readings[1:]]
    margin = min(2.0, best.score - others[0]) if others else 2.0
    odds = _USUALLY + _BY_MARGIN * margin + _BY_STROKES * log2(len(strokes) / 64)
    odds += _BY_TOO_FEW * min(0.0, log2(len(strokes) / _TOO_FEW))
    return best, min(_SUREST, 1 / (1 + exp(-odds)))


@frozen
class _Folded:
    """All bars laid over each other: how loud each step is struck, in all and by what; in how many
    bars the bass drum is on it. base: the turn that steps are counted from. bars: how many there
    are. recurs: the share of strokes that come again a bar later."""

    base: int
    bars: float
    recurs: float
    every: Sequence[float]
    bass: Sequence[float]
    snare: Sequence[float]
    pedal: Sequence[float]
    crash: Sequence[float]
    bass_bars: Sequence[int]


def _folded(strokes: Sequence[Stroke], turns: Sequence[int], bar: int) -> _Folded:
    """The first of a take's bars of so many steps. turns: of each stroke."""
    base = turns[0]
    steps = [turn - base for turn in turns[: bisect_right(turns, base + bar * _BARS_LOOKED_AT)]]
    every, bass, snare, pedal, crash = ([0.0] * bar for _ in range(5))
    into = {_BASS: bass, _SNARES: snare, _PEDAL: pedal} | dict.fromkeys(_CRASHES, crash)
    seen: dict[str, set[int]] = {}
    for stroke, step in zip(strokes, steps, strict=False):
        place, pad = step % bar, stroke.pad
        heavy = stroke.struck.velocity / 127
        every[place] += heavy
        seen.setdefault(pad, set()).add(step)
        if pad in into:
            into[pad][place] += heavy * heavy if pad == _SNARES else heavy  # ghosts say little
    bass_bars = [0] * bar
    for step in seen.get(_BASS, ()):
        bass_bars[step % bar] += 1
    bars = max(1.0, (min(turns[-1] - base, bar * _BARS_LOOKED_AT) + 1) / bar)
    return _Folded(base, bars, _recurs(seen, bar), every, bass, snare, pedal, crash, bass_bars)


def _readings(
    folded: _Folded, steps: int, meter: Meter, tempo: float, given: bool
) -> Iterator[_Reading]:
    """One reading for each place where the bar could begin."""
    starts = [int(steps * at / meter.beat) for at in meter.beats]
    beats, bar = len(starts), len(folded.every)
    by_chance = beats / bar
    total = sum(folded.every)
    common = _RECURS * folded.recurs
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
    scores = [common + _ON_BEAT * (on / total - by_chance) for on in _struck(folded.every, starts)]
    scores[0] += _FIRST

    def add(weight: float, of: Sequence[float]) -> None:
        for first, each in enumerate(of):
            scores[first] += weight * each

    foot, crashes = sum(folded.bass), sum(folded.crash)
    if foot:
        add(_DOWNBEAT, [min(1.0, bars / folded.bars) for bars in folded.bass_bars])
        bass_on = _struck(folded.bass, starts)
        add(_DOWNBEAT, [0.5 * (on / foot - by_chance) for on in bass_on])
    for back, weight in ((folded.snare, _BACKBEAT), (folded.pedal, 0.5 * _BACKBEAT)):
        whole = sum(back)
        if whole and beats == 4:
            two, three = _struck(back, [steps, 3 * steps]), _struck(back, [2 * steps])
            add(weight / whole, [max(a, _HALF_TIME * b) for a, b in zip(two, three, strict=True)])
        elif whole and beats > 1:
            add(weight * 0.8 / whole, _struck(back, starts[1:]))
    if crashes:
        add(_CRASH / crashes, folded.crash)
    for first, score in enumerate(scores):
        yield _Reading(score, steps, float(folded.base + first), meter)


def _struck(places: Sequence[float], starts: Sequence[int]) -> list[float]:
    """For each step that a bar could begin with, how loud it is struck at its `starts`."""
    return [
        sum(each) for each in zip(*([*places[at:], *places[:at]] for at in starts), strict=True)
    ]


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
