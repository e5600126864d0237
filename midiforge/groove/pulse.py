"""The beat of a played groove: found from its strokes alone, and followed as it drifts.

First the rate on which strokes lie is found and followed, then what of it is the beat and where
the bar begins.
"""

from collections.abc import Sequence
from itertools import accumulate
from statistics import median

from midiforge.frozen import frozen
from midiforge.groove.beat import read_beat
from midiforge.groove.ornaments import Stroke
from midiforge.groove.rate import find_rate, followed, moments_of, tempos, turns_at
from midiforge.model.meter import Meter

# Noise lies as clearly on some rate (0.28 to 0.36); recordings were clearer by this or more.
_NOISE, _CLEARER = 0.3, 0.15


@frozen
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

    meter: None to guess it. tempo: pulses of the meter a minute.
    """
    moments = moments_of(strokes)
    if len(moments) < 4:
        return None
    rate = find_rate(moments, meter, tempo)
    if rate is None:
        return None
    knots, clear = followed(moments, rate)
    along = turns_at(knots, [stroke.struck.time for stroke in strokes])
    reading, sure = read_beat(strokes, along, knots, meter, tempo)
    steps, first, found = reading.steps, reading.first, reading.meter
    beat = float(found.beat)
    turns = min(along) - first
    bar = int(steps * found.bar / found.beat)
    first += bar * int((turns + 0.25) // bar)
    places = [(each - first) / steps * beat for each in along]
    each_tempo = tempos(knots, steps, beat)
    return Pulse(
        places=tuple(places),
        tempo=median(each_tempo),
        slowest=min(each_tempo),
        fastest=max(each_tempo),
        meter=found,
        meter_guessed=meter is None,
        sure=sure * min(1.0, max(0.0, (clear - _NOISE) / _CLEARER)),
        clear=clear,
    )


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
