"""The figures of a take: by limb, by count, by round, of limbs together, of double strokes."""

from bisect import bisect_left, bisect_right
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from fractions import Fraction
from itertools import combinations, groupby, pairwise, product
from math import fsum, inf, sqrt
from statistics import median

from midiforge.hear.expected import pad_of
from midiforge.hear.figures import (
    CountFigures,
    DoubleFigures,
    GraceFigures,
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
from midiforge.hear.limits import NOTICED
from midiforge.hear.opening import Heard
from midiforge.hear.pads import DOUBLE_MS, GRACE_MS
from midiforge.hear.pairing import Pairing, Same
from midiforge.model.counts import place_name
from midiforge.model.hit import FEET, HANDS, Hit, Limb, OrnamentKind, Strength

LIMBS = (*HANDS, *FEET)

_HARDER = (Strength.GHOST, Strength.TAP, Strength.ACCENT)
_LEAST_IN_A_THIRD = 4  # strokes that a tempo is told from; ours


def _limb_of(hit: Hit) -> Limb:
    assert hit.limb is not None
    return hit.limb


def tally(of: Pairing, some: Iterable[int], extra: int = 0, added: int = 0) -> Tally:
    """What became of some dues, by index, and of the strokes besides them."""
    kinds = Counter(map(of.became.__getitem__, some))
    kinds["extra"], kinds["added"] = extra, added
    return Tally.of(kinds)


def limbs(of: Pairing) -> Iterator[LimbFigures]:
    """Each limb's strokes, in the order of `LIMBS`; extra ones where only one limb uses the pad."""
    pads: dict[str, set[Limb]] = defaultdict(set)
    for due in of.placed.dues[:4096]:
        pads[due.pad].update(_limb_of(hit) for hit in due.hits)
    only = {pad: next(iter(of_pad)) for pad, of_pad in pads.items() if len(of_pad) == 1}
    extra, added = (
        Counter(only.get(stroke.pad) for stroke in some) for some in (of.extras, of.added)
    )
    all_of: dict[Limb, list[tuple[Same, Hit]]] = defaultdict(list)
    for same in of.coming_round:
        for hit in same.due.hits:
            all_of[_limb_of(hit)].append((same, hit))
    for limb in LIMBS:
        mine = all_of[limb]
        if not mine:
            continue
        yield LimbFigures(
            limb,
            tally(of, [i for same, _ in mine for i in same.all], extra[limb], added[limb]),
            timing([of.offs[i] for same, _ in mine for i in same.met], of.step_ms),
            _levels(of, mine),
            certain=all(pads[same.due.pad] == {limb} for same, _ in mine),
        )


def _levels(of: Pairing, struck: Sequence[tuple[Same, Hit]]) -> Levels:
    by: dict[Strength, list[float]] = defaultdict(list)
    for same, hit in struck:
        by[hit.strength] += [of.velocities[i] for i in same.met]
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
    struck: dict[tuple[str, Limb | None], list[tuple[Same, Hit]]] = defaultdict(list)
    for same in sorted((same for same in of.coming_round if same.met), key=lambda it: it.met[0]):
        # Of what two limbs strike at once on one pad, one velocity is heard: the hardest.
        hit = max(same.due.hits, key=lambda hit: _HARDER.index(hit.strength))
        for voice, limb in product((hit.voice, ""), (None, _limb_of(hit))):
            struck[voice, limb].append((same, hit))
    for (voice, limb), some in struck.items():
        yield LoudnessFigures(voice, limb, _levels(of, some))


def thirds(of: Pairing) -> tuple[float, float] | None:
    """The tempo of the take's first third and of its last, in pulses a minute.

    Each is that of a straight line through what was struck there (least squares). None of an
    exercise that gets faster by itself, where the place was lost, and of what is too short.
    """
    if not of.exercise.tempo.is_steady or of.placed.line.jumps or not of.met:
        return None
    met = sorted(of.met)
    times = [of.dues[i].time for i in met]
    first, length = times[0], (times[-1] - times[0]) / 3

    def rate(begin: float) -> float | None:
        some = slice(bisect_left(times, begin), bisect_right(times, begin + length))
        return _rate(times[some], [of.strokes[of.met[i]].time for i in met[some]])

    one, two = rate(first), rate(first + 2 * length)
    if one is None or two is None:
        return None
    return of.pulses_at(first) / one, of.pulses_at(first) / two


def _rate(xs: Sequence[float], ys: Sequence[float]) -> float | None:
    """The slope of a straight line through points, by least squares; None of too few, or where
    they lie so loosely about it that two such slopes could differ by accident."""
    if len(xs) < _LEAST_IN_A_THIRD:
        return None
    across, up = mean(xs) or 0.0, mean(ys) or 0.0
    below = fsum([(x - across) ** 2 for x in xs])
    above = fsum([(x - across) * (y - up) for x, y in zip(xs, ys, strict=True)])
    if not below or above <= 0:
        return None
    rate = above / below
    apart = fsum([(y - up - rate * (x - across)) ** 2 for x, y in zip(xs, ys, strict=True)])
    error = sqrt(apart / (len(xs) - 2) / below)
    # Of two, each with its error, the difference is no accident from twice its own error on.
    return rate if 2 * sqrt(2) * error <= NOTICED * rate else None


def counts(of: Pairing) -> Iterator[CountFigures]:
    """Each place of the bar, in order."""
    meter, step = of.exercise.meter, of.exercise.step
    at: dict[Fraction, list[Same]] = defaultdict(list)
    for same in of.coming_round:
        at[same.due.place].append(same)
    extra, added = _besides_at(of, of.extras), _besides_at(of, of.added)
    for place in sorted(at):
        missed: list[tuple[int, Limb]] = []  # when, and whose
        for same in at[place]:
            limb = _limb_of(same.due.hit)
            missed += [(i, limb) for i in same.all if of.became[i] == "missed"]
        often = Counter(limb for _, limb in sorted(missed))
        yield CountFigures(
            place_name(meter, step, place),
            tally(
                of,
                [i for same in at[place] for i in same.all],
                extra.get(place, 0),
                added.get(place, 0),
            ),
            timing([of.offs[i] for same in at[place] for i in same.met], of.step_ms),
            max(often, key=lambda limb: often[limb], default=None),
        )


def _besides_at(of: Pairing, strokes: Sequence[Heard]) -> Mapping[Fraction, int]:
    """At which of the bar's places strokes lie nearest that were not due."""
    found: dict[Fraction, int] = defaultdict(int)
    times = of.when[: len(of.dues)]
    for stroke in strokes:
        i = bisect_left(times, stroke.time)
        if i == len(times) or (i and stroke.time - times[i - 1] <= times[i] - stroke.time):
            i -= 1
        if i >= 0:
            found[of.dues[i].place] += 1
    return found


def rounds(of: Pairing) -> Iterator[RoundFigures]:
    """Each time round, in order."""
    line = of.placed.line
    for number, dues in groupby(enumerate(of.dues), key=lambda it: it[1].round):
        some = [i for i, _ in dues]
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
    met, strokes = of.met, of.strokes
    apart: dict[tuple[int, int], list[float]] = defaultdict(list)  # of two strokes of the music
    which = {id(same.due.hits): same.due for same in of.coming_round}
    for _, dues in groupby(enumerate(of.dues), key=lambda it: it[1].time):
        some = [(id(due.hits), i) for i, due in dues if i in met]
        for (one, k), (two, m) in combinations(some, 2):
            apart[one, two].append(1000 * (strokes[met[m]].time - strokes[met[k]].time))
    gaps: dict[tuple[Limb, Limb, Fraction], list[float]] = defaultdict(list)
    for (one, two), some_gaps in apart.items():
        limbs_of = _limb_of(which[one].hit), _limb_of(which[two].hit)
        ordered = LIMBS.index(limbs_of[0]) <= LIMBS.index(limbs_of[1])
        if not ordered:
            limbs_of, some_gaps = limbs_of[::-1], [-gap for gap in some_gaps]
        gaps[(*limbs_of, which[one].place)] += some_gaps
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
    hands = {
        id(same.due.hits): (same.due.hit.limb, same.due.hit.strength)
        for same in of.coming_round
        if len(same.due.hits) == 1 and same.due.hit.limb in HANDS
    }
    order = [(i, *hands[key]) for i, due in enumerate(of.dues) if (key := id(due.hits)) in hands]
    step = float(of.exercise.step) * of.quarter
    late: dict[Limb, list[float]] = defaultdict(list)
    softer: dict[Limb, list[float]] = defaultdict(list)
    before: Limb | None = None
    for (i, hand, one), (j, other, two) in pairwise(order):
        third, before = before is hand, hand
        if hand is not other or hand is None or third:
            continue
        if of.dues[j].time - of.dues[i].time > 1.5 * step:
            continue
        if i in of.met and j in of.met:
            late[hand].append(of.offs[j] - of.offs[i])
            if one is two:
                softer[hand].append(of.velocities[j] / of.velocities[i])
    for hand, found in late.items():
        middle = mean(found)
        assert middle is not None
        yield DoubleFigures(hand, len(found), middle, deviation(found), mean(softer[hand]) or 1.0)


def graces(of: Pairing) -> Iterator[GraceFigures]:
    """Flams, drags and ruffs: whether their grace notes are there, and how long before."""
    heard: dict[str, list[float]] = defaultdict(list)
    for stroke in of.strokes:
        if of.kinds.get(stroke.which) == "grace":
            heard[stroke.pad].append(stroke.time)
    gaps: dict[OrnamentKind, list[float | None]] = defaultdict(list)
    for same in of.coming_round:
        ornament = same.due.hit.ornament
        if ornament is None or not ornament.grace_notes:
            continue
        times = heard[pad_of(ornament.voice)]
        for stroke in (of.strokes[of.met[i]] for i in same.met):
            end = bisect_right(times, stroke.time + DOUBLE_MS / 1000)
            gap = 1000 * (stroke.time - times[end - 1]) if end else inf
            gaps[ornament.kind].append(gap if gap <= GRACE_MS * max(of.stretch, 1.0) else None)
    for kind, some in gaps.items():
        known = [gap for gap in some if gap is not None]
        yield GraceFigures(kind, len(some), len(known), median(known) if known else None)


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
    for same in of.coming_round:
        if len(same.due.hits) == 1:
            wanted = of.kit.stand_in(same.due.hit.voice)
            played = Counter(of.hearing.voices[of.strokes[of.met[i]].which] for i in same.met)
            for heard, times in played.items():
                if heard and heard != wanted:
                    found[wanted, heard] += times
    return dict(found)
