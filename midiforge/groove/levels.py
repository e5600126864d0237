"""Velocities as accents, taps and ghosts, each pad by itself: a rim shot is louder than a tap."""

from collections.abc import Mapping, Sequence
from itertools import accumulate, pairwise

from midiforge.groove.limbs import CYMBALS
from midiforge.hear.expected import pad_of
from midiforge.kits.kit import Kit
from midiforge.model.hit import Strength

# Two groups stand apart where they explain so much of what velocities differ in (Otsu's
# criterion, IEEE Transactions on Systems, Man and Cybernetics 9(1), 1979); evenly spread ones
# would give 0.75.
_APART = 0.80
# Mean of a group against the next softer one, as the ear hears it: two that stand apart, two that
# do not, three.
_LOUDER, _MUCH_LOUDER, _EACH_LOUDER = 1.35, 1.7, 1.4
_GHOST = 0.5  # softer than this share of the louder group: ghosts, else taps
_FEWEST = 0.02  # share of strokes that make a group
_SPREAD = 6  # velocities that differ by less are one group


def strengths(velocities: Mapping[str, Sequence[int]], kit: Kit) -> dict[str, dict[int, Strength]]:
    """What each velocity of each voice means.

    Where all velocities are those that the kit's file gives to accent, tap and ghost, they are
    these. Else the velocities of a pad are divided into up to three groups; in one group all
    are taps.
    """
    own = {kit.velocities[each.value]: each for each in reversed(Strength)}
    everything = {each for found in velocities.values() for each in found}
    if everything <= own.keys():
        return {voice: {each: own[each] for each in found} for voice, found in velocities.items()}
    middle = (kit.velocities["tap"] + kit.velocities["accent"]) / 2
    struck: dict[str, list[int]] = {}
    for voice, found in velocities.items():
        struck.setdefault(pad_of(voice), []).extend(found)
    of_pads = {pad: _of_pad(pad, found, middle) for pad, found in struck.items()}
    return {voice: of_pads[pad_of(voice)] for voice in velocities}


def _of_pad(pad: str, velocities: Sequence[int], middle: float) -> dict[int, Strength]:
    counts = [0] * 128
    for each in velocities:
        counts[each] += 1
    cuts = _cuts(counts)
    bounds = [0, *cuts, 128]
    groups = [range(low, high) for low, high in pairwise(bounds)]
    usual = max(groups, key=lambda group: sum(counts[each] for each in group))
    means = [_mean(counts, group) for group in groups]
    names = _names(means, middle, groups.index(usual), pad in CYMBALS)
    return {
        velocity: name
        for group, name in zip(groups, names, strict=True)
        for velocity in group
        if counts[velocity]
    }


def _names(means: Sequence[float], middle: float, usual: int, cymbal: bool) -> tuple[Strength, ...]:
    """usual: the group that most strokes are in. The loudest of three is no accent if it is usual,
    and what is usual on a cymbal is no ghost note."""
    if len(means) == 3:
        if usual == 2:
            below = Strength.GHOST if means[1] < _GHOST * means[2] else Strength.TAP
            return Strength.GHOST, below, Strength.TAP
        if usual == 0 and cymbal:
            return Strength.TAP, Strength.ACCENT, Strength.ACCENT
        return Strength.GHOST, Strength.TAP, Strength.ACCENT
    if len(means) == 1:
        return (Strength.TAP,)
    soft, loud = means
    if soft >= _GHOST * loud or (usual == 0 and cymbal):
        return Strength.TAP, Strength.ACCENT
    return Strength.GHOST, Strength.ACCENT if loud >= middle else Strength.TAP


def _mean(counts: Sequence[int], group: range) -> float:
    whole = sum(counts[each] for each in group)
    return sum(each * counts[each] for each in group) / whole if whole else 0.0


def _cuts(counts: Sequence[int]) -> list[int]:
    """Where the groups above the softest begin; none for one group."""
    present = [velocity for velocity in range(128) if counts[velocity]]
    if present[-1] - present[0] < _SPREAD:
        return []
    number = list(accumulate(counts, initial=0))
    total = list(accumulate((i * n for i, n in enumerate(counts)), initial=0))
    squares = list(accumulate((i * i * n for i, n in enumerate(counts)), initial=0))

    def within(low: int, high: int) -> float:
        many = number[high] - number[low]
        if not many:
            return 0.0
        return squares[high] - squares[low] - (total[high] - total[low]) ** 2 / many

    whole = within(0, 128)
    starts = present[1:]
    two = min(starts, key=lambda cut: within(0, cut) + within(cut, 128))
    apart = 1 - (within(0, two) + within(two, 128)) / whole >= _APART
    best, three = whole, (0, 0)
    above = {high: within(high, 128) for high in starts}
    for i, low in enumerate(starts):
        below = within(0, low)
        for high in starts[i + 1 :]:
            rest = below + within(low, high) + above[high]
            if rest < best:
                best, three = rest, (low, high)
    for cuts, louder in (
        ([*three], _EACH_LOUDER),
        ([two], _LOUDER if apart else _MUCH_LOUDER),
    ):
        groups = [range(low, high) for low, high in pairwise([0, *cuts, 128])]
        means = [_mean(counts, group) for group in groups]
        many = [number[group.stop] - number[group.start] for group in groups]
        if min(many) >= max(1, _FEWEST * number[128]) and all(
            loud >= louder * soft for soft, loud in pairwise(means)
        ):
            return cuts
    return []
