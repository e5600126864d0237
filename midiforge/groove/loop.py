"""The loop that a groove repeats: its length in bars, what is in it, and what is not."""

from collections import Counter, defaultdict
from collections.abc import Callable, Sequence
from typing import NamedTuple

from midiforge.errors import MidiforgeError
from midiforge.frozen import frozen
from midiforge.groove.ornaments import Stroke
from midiforge.model.hit import Strength

MOST_BARS = 16  # of a loop that is found; one that is asked for may be longer
_NEARLY_ALL = 0.10  # strokes too many and too few, as a share of all: a loop explains the rest
_OCCASIONAL = 0.02  # so few are occasional; a longer loop that explains them is not looked for
_CLEARLY_BETTER = 0.65
_REPEATS = 3  # times round, for a loop that some strokes do not fit
_SEEN_HALF = 0.5


class Laid(NamedTuple):
    """A stroke on the grid.

    bar: from 0. step: of the bar. off: how far from its step it was, in s, later above 0.
    strength: accent, tap or ghost. on: whether it is near enough to its step to be meant there.
    """

    stroke: Stroke
    bar: int
    step: int
    off: float
    strength: Strength
    on: bool = True


@frozen
class Place:
    """A stroke of the loop, as most times round have it.

    step: from the loop's beginning.
    """

    step: int
    pad: str
    voice: str
    strength: Strength
    grace: int
    grace_voice: str
    buzz: bool
    velocity: int


@frozen
class Unfit:
    """What a time round has that the loop has not, or the other way round.

    bar: from 0, as the strokes have it. step: of that bar.
    kind: "extra", "missing", "off the grid" or "two on one step".
    """

    bar: int
    step: int
    voice: str
    kind: str


@frozen
class Loop:
    """first: the bar it begins with. bars: its length. kept: strokes that it explains."""

    first: int
    bars: int
    places: tuple[Place, ...]
    unfit: tuple[Unfit, ...]
    kept: tuple[Laid, ...]
    rounds: float


_Slot = tuple[int, int]  # step of the loop, number of the pad (and which of its sounds)


def find_loop(laid: Sequence[Laid], bar_steps: int, wanted: int) -> Loop:
    """The shortest number of bars that explains nearly all strokes.

    A loop that strokes do not fit must come round three times, so that it is plain what is usual;
    where nothing comes round, all of it is the loop. wanted: bars, if they are given; else 0.
    """
    fits = [each for each in laid if each.on]
    if not fits:
        raise MidiforgeError("no stroke is on the grid", hint="tempo and steps say which")
    first = _first_bar(fits, bar_steps)
    begin = fits[0].bar * bar_steps + fits[0].step
    last = max(each.bar * bar_steps + each.step for each in fits)
    bars = last // bar_steps + 1 - first
    pads: dict[tuple[str, int], int] = {}
    keys = [pads.setdefault((each[0].pad, each[0].beside), len(pads)) for each in fits]
    at = [(each.bar - first) * bar_steps + each.step for each in fits]
    begin, last = begin - first * bar_steps, last - first * bar_steps

    def tried(length: int) -> tuple[int, set[_Slot]]:
        return _misfits(at, keys, len(pads), length * bar_steps, begin, last)

    found, kept = (wanted, tried(wanted)[1]) if wanted else _shortest(tried, bars, len(fits))
    return _loop(fits, laid, at, keys, kept, found, first, bar_steps, begin, last)


def _first_bar(fits: Sequence[Laid], bar_steps: int) -> int:
    """The bar that the loop begins with: not one that only has what leads into the next."""
    start = fits[0].bar
    strokes = Counter(each.bar for each in fits)
    here = [each for each in fits if each.bar == start]
    nearly_over = min(each.step for each in here) >= 0.6 * bar_steps
    if nearly_over and len(strokes) > 2 and strokes[start] < 0.6 * strokes[start + 1]:
        return start + 1
    return start


def _misfits(
    at: Sequence[int], keys: Sequence[int], pads: int, length: int, begin: int, last: int
) -> tuple[int, set[_Slot]]:
    """Strokes too many or too few for a loop of `length` steps, and what is in that loop."""
    counts = Counter([step % length * pads + key for step, key in zip(at, keys, strict=True)])
    kept: set[_Slot] = set()
    wrong = 0
    for code, times in counts.items():
        step, key = divmod(code, pads)
        turns = _turns(step, length, begin, last)
        if times > _SEEN_HALF * turns:
            kept.add((step, key))
            wrong += abs(turns - times)
        else:
            wrong += times
    return wrong, kept


def _turns(step: int, length: int, begin: int, last: int) -> int:
    """How often a step of the loop came by, from the first stroke to the last."""
    return (last - step) // length - (begin - step - 1) // length


def _shortest(
    tried: Callable[[int], tuple[int, set[_Slot]]], bars: int, strokes: int
) -> tuple[int, set[_Slot]]:
    most = max(1, min(MOST_BARS, bars // 2))
    found: dict[int, tuple[int, set[_Slot]]] = {}
    for length in range(1, most + 1):
        misfits, kept = tried(length)
        if not kept or (misfits and bars < _REPEATS * length):
            continue
        if misfits <= _OCCASIONAL * strokes:
            return length, kept
        found[length] = misfits, kept
    wrong = {length: misfits for length, (misfits, _) in found.items()}
    for length, misfits in wrong.items():
        longer = (wrong[other] for other in wrong if other > length)
        if misfits <= _NEARLY_ALL * strokes and not any(
            each < _CLEARLY_BETTER * misfits for each in longer
        ):
            return length, found[length][1]
    if bars <= MOST_BARS:
        return bars, tried(bars)[1]
    if not wrong:
        raise MidiforgeError("nothing in it comes round", hint="bars says how long the loop is")
    length = min(wrong, key=lambda each: (wrong[each] + 0.02 * strokes * each, each))
    return length, found[length][1]


def _loop(
    fits: Sequence[Laid],
    laid: Sequence[Laid],
    at: Sequence[int],
    keys: Sequence[int],
    kept: set[_Slot],
    bars: int,
    first: int,
    bar_steps: int,
    begin: int,
    last: int,
) -> Loop:
    length = bars * bar_steps
    members: dict[_Slot, list[Laid]] = defaultdict(list)
    present: set[tuple[int, int]] = set()
    unfit: list[Unfit] = []
    for each, step, key in zip(fits, at, keys, strict=True):
        slot = (step % length, key)
        if slot not in kept:
            unfit.append(Unfit(each.bar, each.step, each.stroke.struck.voice, "extra"))
        elif (step, key) in present:
            unfit.append(Unfit(each.bar, each.step, each.stroke.struck.voice, "two on one step"))
        else:
            members[slot].append(each)
            present.add((step, key))
    placed = {slot: _place(slot[0], members[slot]) for slot in sorted(kept)}
    for (step, key), place in placed.items():
        if len(members[step, key]) == _turns(step, length, begin, last):
            continue
        turn = begin + (step - begin) % length
        while turn <= last:
            if (turn, key) not in present:
                bar, within = divmod(turn, bar_steps)
                unfit.append(Unfit(bar + first, within, place.voice, "missing"))
            turn += length
    unfit += [
        Unfit(each.bar, each.step, each.stroke.struck.voice, "off the grid")
        for each in laid
        if not each.on
    ]
    unfit.sort(key=lambda each: (each.bar, each.step, each.voice))
    return Loop(
        first=first,
        bars=bars,
        places=tuple(placed.values()),
        unfit=tuple(unfit),
        kept=tuple(each for slot in sorted(kept) for each in members[slot]),
        rounds=(last - begin + 1) / length,
    )


def _place(step: int, members: Sequence[Laid]) -> Place:
    struck = [each.stroke for each in members]
    half = len(struck) / 2
    graces = [each.grace for each in struck if each.grace]
    velocities = sorted(each.struck.velocity for each in struck)
    return Place(
        step=step,
        pad=struck[0].pad,
        voice=_commonest([each.struck.voice for each in struck]),
        strength=Strength(_commonest([each.strength.value for each in members])),
        grace=Counter(graces).most_common(1)[0][0] if len(graces) > half else 0,
        grace_voice=_commonest([each.grace_voice for each in struck if each.grace] or [""]),
        buzz=sum(1 for each in struck if each.buzz) > half,
        velocity=velocities[len(velocities) // 2],
    )


def _commonest(words: Sequence[str]) -> str:
    return Counter(words).most_common(1)[0][0]
