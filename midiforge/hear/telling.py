"""The figures of a take: by limb, by count, by round, of limbs together, of double strokes."""

from bisect import bisect_left, bisect_right
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from itertools import combinations, pairwise, product
from math import fsum

from midiforge.hear.expected import Due
from midiforge.hear.figures import (
    CountFigures,
    DoubleFigures,
    Levels,
    LimbFigures,
    LoudnessFigures,
    RoundFigures,
    Tally,
    TempoFigures,
    TogetherFigures,
    deviation,
    mean,
    overlap,
    timing,
)
from midiforge.hear.opening import Heard
from midiforge.hear.pairing import Pairing
from midiforge.model.counts import place_name
from midiforge.model.hit import FEET, HANDS, Hit, Limb, Strength

LIMBS = (*HANDS, *FEET)

_HARDER = (Strength.GHOST, Strength.TAP, Strength.ACCENT)
_LEAST_IN_A_THIRD = 4  # strokes that a tempo is told from; ours


def _limb_of(hit: Hit) -> Limb:
    assert hit.limb is not None
    return hit.limb


def tally(of: Pairing, some: Iterable[int], extra: int = 0, added: int = 0) -> Tally:
    """What became of some dues, by index, and of the strokes besides them."""
    kinds = Counter(map(of.kind, some))
    return Tally.of(kinds | Counter(extra=extra, added=added))


def limbs(of: Pairing) -> Iterator[LimbFigures]:
    """Each limb's strokes, in the order of `LIMBS`; extra ones where only one limb uses the pad."""
    pads: dict[str, set[Limb]] = defaultdict(set)
    for due in of.placed.dues[:4096]:
        pads[due.pad].update(_limb_of(hit) for hit in due.hits)
    only = {pad: next(iter(of_pad)) for pad, of_pad in pads.items() if len(of_pad) == 1}
    extra, added = (
        Counter(only.get(stroke.pad) for stroke in some) for some in (of.extras, of.added)
    )
    all_of: dict[Limb, list[tuple[int, Hit]]] = defaultdict(list)
    for i, due in enumerate(of.dues):
        for hit in due.hits:
            all_of[_limb_of(hit)].append((i, hit))
    for limb in LIMBS:
        mine = all_of[limb]
        if not mine:
            continue
        struck = [(i, hit) for i, hit in mine if i in of.met]
        own = {of.dues[i].pad for i, _ in mine}
        yield LimbFigures(
            limb,
            tally(of, (i for i, _ in mine), extra[limb], added[limb]),
            timing([of.offs[i] for i, _ in struck], of.step_ms),
            _levels(of, struck),
            certain=all(pads[pad] == {limb} for pad in own),
        )


def _levels(of: Pairing, struck: Sequence[tuple[int, Hit]]) -> Levels:
    by: dict[Strength, list[float]] = defaultdict(list)
    for i, hit in struck:
        by[hit.strength].append(of.strokes[of.met[i]].velocity)
    accents, taps, ghosts = by[Strength.ACCENT], by[Strength.TAP], by[Strength.GHOST]
    accent, tap = mean(accents), mean(taps)
    return Levels(
        accent,
        tap,
        mean(ghosts),
        accent / tap if accent and tap else None,
        overlap(taps, accents),
        (len(accents), len(taps), len(ghosts)),
    )


def loudness(of: Pairing) -> Iterator[LoudnessFigures]:
    """Each voice's strokes by how hard they are, and those of all: of all limbs, and of each."""
    apart: dict[tuple[str, Limb], list[tuple[int, Hit]]] = defaultdict(list)
    for i in sorted(of.met):
        hit, *others = of.dues[i].hits
        if others:
            # Of what two limbs strike at once on one pad, one velocity is heard: the hardest.
            hit = max((hit, *others), key=lambda hit: _HARDER.index(hit.strength))
        apart[hit.voice, _limb_of(hit)].append((i, hit))
    struck: dict[tuple[str, Limb | None], list[tuple[int, Hit]]] = defaultdict(list)
    for (own_voice, own_limb), some in apart.items():
        for voice, limb in product((own_voice, ""), (None, own_limb)):
            struck[voice, limb] += some
    for (voice, limb), some in struck.items():
        yield LoudnessFigures(voice, limb, _levels(of, some))


def thirds(of: Pairing) -> tuple[float, float] | None:
    """The tempo of the take's first third and of its last, in pulses a minute.

    Each is that of a straight line through what was struck there (least squares). None of an
    exercise that gets faster by itself, where the place was lost, and of what is too short.
    """
    dues = [of.dues[i].time for i in of.met]
    if not of.exercise.tempo.is_steady or of.placed.line.jumps or not dues:
        return None
    first, length = min(dues), (max(dues) - min(dues)) / 3
    found = []
    for begin in (first, first + 2 * length):
        points = [
            (of.dues[i].time, of.strokes[j].time)
            for i, j in of.met.items()
            if begin <= of.dues[i].time <= begin + length
        ]
        found.append(_rate(points))
    one, two = found
    if one is None or two is None:
        return None
    return of.pulses_at(first) / one, of.pulses_at(first) / two


def _rate(points: Sequence[tuple[float, float]]) -> float | None:
    """The slope of a straight line through points, by least squares; None of too few."""
    if len(points) < _LEAST_IN_A_THIRD:
        return None
    across, up = mean([x for x, _ in points]) or 0.0, mean([y for _, y in points]) or 0.0
    below = fsum((x - across) ** 2 for x, _ in points)
    return fsum((x - across) * (y - up) for x, y in points) / below if below else None


def counts(of: Pairing) -> Iterator[CountFigures]:
    """Each place of the bar, in order."""
    meter, step = of.exercise.meter, of.exercise.step
    at = _by_place(of.dues)
    extra, added = _besides_at(of, of.extras), _besides_at(of, of.added)
    for place in sorted(at):
        some = at[place]
        hit = [i for i in some if i in of.met]
        missed: dict[Limb, int] = defaultdict(int)
        for i in some:
            if i not in of.offs:
                missed[_limb_of(of.dues[i].hit)] += 1
        yield CountFigures(
            place_name(meter, step, place),
            tally(of, some, extra.get(place, 0), added.get(place, 0)),
            timing([of.offs[i] for i in hit], of.step_ms),
            max(missed, key=lambda limb: missed[limb], default=None),
        )


def _by_place(dues: Sequence[Due]) -> dict[Fraction, list[int]]:
    """Which dues, by index, are at each place of the bar."""
    found: dict[Fraction, list[int]] = {}
    # Bars that come round share their places; a fraction takes long to look up, and dues are many.
    same: dict[int, list[int]] = {}
    for i, due in enumerate(dues):
        some = same.get(id(due.place))
        if some is None:
            some = same[id(due.place)] = found.setdefault(due.place, [])
        some.append(i)
    return found


def _besides_at(of: Pairing, strokes: Sequence[Heard]) -> dict[Fraction, int]:
    """At which of the bar's places strokes lie nearest that were not due."""
    nearest_dues: list[Due] = []
    times = of.when[: len(of.dues)]
    for stroke in strokes:
        i = bisect_left(times, stroke.time)
        if i == len(times) or (i and stroke.time - times[i - 1] <= times[i] - stroke.time):
            i -= 1
        if i >= 0:
            nearest_dues.append(of.dues[i])
    return {place: len(some) for place, some in _by_place(nearest_dues).items()}


def rounds(of: Pairing) -> Iterator[RoundFigures]:
    """Each time round, in order."""
    at: dict[int, list[int]] = defaultdict(list)
    for i, due in enumerate(of.dues):
        at[due.round].append(i)
    line = of.placed.line
    for number, some in at.items():
        hit = [i for i in some if i in of.met]
        first, last = of.dues[some[0]].time, of.dues[some[-1]].time
        begin, end = line.at(first), line.at(last)
        window = of.placed.window
        besides = (_between(some, begin - window, end + window) for some in (of.extras, of.added))
        rate = (end - begin) / (last - first) if last > first else of.stretch
        yield RoundFigures(
            number,
            tally(of, some, *besides),
            timing([of.offs[i] for i in hit], of.step_ms),
            of.pulses_at(first) / rate,
        )


def _between(strokes: Sequence[Heard], begin: float, end: float) -> int:
    """How many strokes there are between two times of the take, both taken in."""
    return bisect_right(strokes, end, key=_time) - bisect_left(strokes, begin, key=_time)


def _time(stroke: Heard) -> float:
    return stroke.time


def together(of: Pairing) -> Iterator[TogetherFigures]:
    """Limbs that are due at one time on different pads."""
    gaps: dict[tuple[Limb, Limb, Fraction], list[float]] = defaultdict(list)
    i = 0
    while i < len(of.dues):
        j = i + 1
        while j < len(of.dues) and of.dues[j].time == of.dues[i].time:
            j += 1
        if j > i + 1:
            struck = sorted(
                (LIMBS.index(_limb_of(of.dues[k].hit)), k) for k in range(i, j) if k in of.met
            )
            for (one, k), (two, m) in combinations(struck, 2):
                gap = of.strokes[of.met[m]].time - of.strokes[of.met[k]].time
                gaps[LIMBS[one], LIMBS[two], of.dues[k].place].append(1000 * gap)
        i = j
    meter, step = of.exercise.meter, of.exercise.step
    for (one_limb, other, place), found in sorted(
        gaps.items(),
        key=lambda item: (LIMBS.index(item[0][0]), LIMBS.index(item[0][1]), item[0][2]),
    ):
        middle = mean(found)
        assert middle is not None
        yield TogetherFigures(
            (one_limb, other),
            place_name(meter, step, place),
            len(found),
            middle,
            deviation(found),
        )


def doubles(of: Pairing) -> Iterator[DoubleFigures]:
    """Two strokes of one hand in a row, as the sticking has them."""
    order = [
        (i, due.hit.limb, due.hit.strength)
        for i, due in enumerate(of.dues)
        if len(due.hits) == 1 and due.hit.limb in HANDS
    ]
    step = float(of.exercise.step) * of.quarter
    late: dict[Limb, list[float]] = defaultdict(list)
    softer: dict[Limb, list[float]] = defaultdict(list)
    before: Limb | None = None
    for (i, hand, one), (j, other, two) in pairwise(order):
        gap = of.dues[j].time - of.dues[i].time
        third, before = before is hand, hand
        if hand is not other or hand is None or third or gap > 1.5 * step:
            continue
        if i in of.met and j in of.met:
            late[hand].append(of.offs[j] - of.offs[i])
            if one is two:
                first = of.strokes[of.met[i]].velocity
                softer[hand].append(of.strokes[of.met[j]].velocity / first)
    for hand, found in late.items():
        middle = mean(found)
        assert middle is not None
        yield DoubleFigures(hand, len(found), middle, deviation(found), mean(softer[hand]) or 1.0)


def tempos(of: Pairing) -> Iterator[TempoFigures]:
    """Each tempo of an exercise that gets faster or slower; nothing of a steady one."""
    changes = of.exercise.tempo.changes
    if len(changes) == 1:
        return
    starts = [float(of.exercise.tempo.seconds(Fraction(0), at)) for at, _ in changes]
    times = [due.time for due in of.dues]
    for (start, end), (_, pulses) in zip(pairwise([*starts, float("inf")]), changes, strict=True):
        some = range(bisect_left(times, start), bisect_left(times, end))
        hit = [i for i in some if i in of.met]
        step_ms = 1000 * float(of.exercise.step) * 60 / float(pulses * of.exercise.tempo.pulse)
        begins, ends = of.placed.line.at(start), of.placed.line.at(min(end, 1e9))
        besides = (_between(some, begins, ends) for some in (of.extras, of.added))
        if some:
            yield TempoFigures(
                float(pulses),
                tally(of, some, *besides),
                timing([of.offs[i] for i in hit], step_ms),
            )


def other_zones(of: Pairing) -> dict[tuple[str, str], int]:
    """How often the pad was right and its zone another: by voice expected and voice heard."""
    found: dict[tuple[str, str], int] = defaultdict(int)
    for i, j in of.met.items():
        wanted = of.kit.stand_in(of.dues[i].hit.voice)
        heard = of.hearing.voices[of.strokes[j].which]
        if heard and heard != wanted and len(of.dues[i].hits) == 1:
            found[wanted, heard] += 1
    return dict(found)
