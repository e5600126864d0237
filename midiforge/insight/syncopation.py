"""Syncopation as Longuet-Higgins and Lee measure it.

Source: H. C. Longuet-Higgins and C. S. Lee, The rhythmic interpretation of monophonic music,
Music Perception 1(4), 1984, 424-441, as restated with its examples by H. Honing and L. M. Smith
in their published program (Music Cognition Group, University of Amsterdam; see also L. M. Smith
and H. Honing, Evaluating and extending computational models of rhythmic syncopation in music,
Proc. ICMC 2006, 688-691).

The measure, for one voice in one meter: a bar is a tree that divides into beats, these into
halves or thirds, and so on. A place in the bar has the weight 0 if it is the downbeat, and else
minus the number of the level on which it first appears. A note is syncopated if, before the next
note, a place goes by in silence that weighs at least as much as the note's own; the strength is
the difference of the two weights, of the heaviest such place. Here as in most later work
strengths are added up; a strength of 0 (a silent place as heavy as the note) then adds nothing.
Since exercises loop, what follows the last note is the first one again.

Our tree, where the paper leaves a choice: equal beats divide by their prime factors, 2 first
(four beats into halves, six into halves and these into thirds; five, seven and eleven at once).
A beat of several units (6/8, or the 3 of 2+2+3/8) divides into its units where the grid has
them; any other beat by 2 first, except that six parts of it are three halved, as they are
counted. The beats of a mixed meter all appear on one level.
"""

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from fractions import Fraction
from functools import cache
from math import lcm

from midiforge.frozen import frozen
from midiforge.insight.loop import Loop, loop_of
from midiforge.model.exercise import Exercise
from midiforge.model.hit import Hit, Limb, Strength
from midiforge.model.meter import Meter

MEASURE = "Longuet-Higgins and Lee 1984"

ACCENTS = "accents"


@frozen
class Line:
    """One voice and its syncopation.

    name: "accents" (of the hands), or a limb in words.
    limb: None for the accents.
    total: of one time round.
    per_bar: its mean.
    """

    name: str
    limb: Limb | None
    total: int
    per_bar: Fraction


@frozen
class Syncopation:
    """The syncopation of an exercise, voice by voice; only voices that sound.

    lines: the accents of the hands, each hand, each foot.
    """

    lines: tuple[Line, ...]


def syncopation(exercise: Exercise, loop: Loop | None = None) -> Syncopation:
    """The syncopation of each voice of one time round; see `loop_of`.

    loop: that, if already known.
    """
    loop = loop or loop_of(exercise)
    voices: list[tuple[str, Limb | None, list[Hit]]] = [(ACCENTS, None, _accents(loop))]
    voices += [(limb.title, limb, list(loop.of(limb))) for limb in Limb]
    bars = loop.length / exercise.meter.bar
    lines = []
    for name, limb, hits in voices:
        if hits:
            times = [hit.time - loop.start for hit in hits]
            total = sum(
                strength for _, strength in syncopations(times, exercise.meter, loop.length)
            )
            lines.append(Line(name, limb, total, total / bars))
    return Syncopation(tuple(lines))


def syncopations(
    times: Iterable[Fraction], meter: Meter, length: Fraction
) -> tuple[tuple[Fraction, int], ...]:
    """The syncopated notes of a looping rhythm: their times, and how strong each is (above 0).

    times: in quarter notes from a downbeat, below `length`.
    length: of the loop, a whole number of bars.
    """
    notes = sorted(set(times))
    within = [divmod(note, meter.bar) for note in notes]
    grid = dict(place_weights(meter, _parts({place for _, place in within}, meter)))
    order = {place: i for i, place in enumerate(grid)}
    index = [bar * len(grid) + order[place] for bar, place in within]
    around = [*grid.values()] * int(length / meter.bar)
    syncopated = []
    for note, i, end in zip(notes, index, [*index[1:], *index[:1]], strict=True):
        silent = around[i + 1 : end] if end > i else around[i + 1 :] + around[:end]
        strength = max(silent, default=around[i]) - around[i]
        if strength > 0:
            syncopated.append((note, strength))
    return tuple(syncopated)


@cache
def place_weights(meter: Meter, parts: tuple[int, ...]) -> tuple[tuple[Fraction, int], ...]:
    """The places of a bar and their weights, each of its beats divided into so many parts."""
    beats = len(meter.groups)
    if meter.is_mixed:
        on_beats, depth = [0] + [-1] * (beats - 1), 1
    else:
        divisions = _primes(beats)
        on_beats, depth = _levels(divisions, 0), len(divisions)
    places = []
    for start, length, units, weight, size in zip(
        meter.beats, meter.beat_lengths, meter.groups, on_beats, parts, strict=True
    ):
        inner = _levels(_beat_divisions(size, units), -depth)
        places += [(start + i * length / size, weight if i == 0 else inner[i]) for i in range(size)]
    return tuple(places)


def _levels(divisions: Sequence[int], above: int) -> list[int]:
    """The weights of a stretch divided again and again; `above` is the level above it."""
    weights = [above]
    for division in divisions:
        above -= 1
        weights = [inner for weight in weights for inner in (weight, *[above] * (division - 1))]
    return weights


def _beat_divisions(parts: int, units: int) -> tuple[int, ...]:
    if units > 1 and parts % units == 0:
        return (*_primes(units), *_primes(parts // units))
    return (3, 2) if parts == 6 else _primes(parts)


def _primes(number: int) -> tuple[int, ...]:
    primes = []
    divisor = 2
    while number > 1:
        if number % divisor:
            divisor += 1
        else:
            primes.append(divisor)
            number //= divisor
    return tuple(primes)


def _parts(places: Iterable[Fraction], meter: Meter) -> tuple[int, ...]:
    """For each beat, the fewest equal parts that have a place for every one given; beats of one
    length have as many."""
    starts, lengths = meter.beats, meter.beat_lengths
    parts = dict.fromkeys(meter.groups, 1)
    for place in places:
        beat = bisect_right(starts, place) - 1
        units = meter.groups[beat]
        parts[units] = lcm(parts[units], ((place - starts[beat]) / lengths[beat]).denominator)
    return tuple(parts[units] for units in meter.groups)


def _accents(loop: Loop) -> list[Hit]:
    return [
        hit
        for hit in loop.hits
        if hit.strength is Strength.ACCENT and hit.limb is not None and hit.limb.is_hand
    ]
