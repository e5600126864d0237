"""Voice leading: which tones of each chord, and how they lie, so that every voice moves little.

The rules are those of any arranging class (common practice): the third and the seventh say what
chord it is, the bass has the root; common tones stay, the others step; thirds and seconds in the
depths are mud; two outer voices do not move in parallel octaves or fifths.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import combinations, pairwise
from math import inf
from operator import add

from midiforge.band.chord import Chord

Voicing = tuple[int, ...]  # MIDI note numbers, rising

_MUD = 52  # below this note (E3) small intervals are unclear
_PULL = 0.35  # what a semitone away from the middle costs, against one that a voice moves
_PARALLEL = 4.0
_CLUSTER = 3.0
_RUB = 1.5  # a semitone between inner voices
_HARSH = 4.0
_WRONG = 12.0
_LOWEST_FIFTH = 40  # E2


@lru_cache(maxsize=512)
def chosen(chord: Chord, count: int, rootless: bool = False) -> tuple[int, ...]:
    """Up to `count` pitch classes of a chord, the most telling first.

    rootless: the root, what the bass has, and a fifth that rubs with its neighbour are left out
    where three others make the chord.
    """
    tones, third = chord.tones, chord.third
    if third == 4 and tones[-1] == 17:  # the eleventh takes the place of what it rubs with
        tones, third = tuple(tone for tone in tones if tone != 4), 17
    order = [third]
    if chord.seventh != 12:
        order.append(chord.seventh)
    if chord.fifth in (6, 8):
        order.append(chord.fifth)
    # Tensions from the top: a thirteenth says more than the ninth below it.
    order += [tone for tone in reversed(tones) if tone > 12 and tone != 17]
    order += [tone for tone in (17, chord.fifth, 0) if tone in tones]
    order += [tone for tone in tones if tone not in order]
    classes = dict.fromkeys((chord.root + tone) % 12 for tone in order)
    telling = {(chord.root + tone) % 12 for tone in (third, chord.seventh)}
    spare = [chord.root, chord.bass] if rootless else []
    if chord.fifth == 7 and {18, 20} & set(tones):
        spare.append((chord.root + 7) % 12)
    for each in spare:
        if len(classes) > 3 and each not in telling:
            classes.pop(each, None)
    return tuple(classes)[:count]


@lru_cache(maxsize=512)
def enriched(chord: Chord, following: Chord) -> Chord:
    """A chord with the tensions that a pianist adds to it, if nothing speaks against them.

    following: the chord after it, which tells what key it is in. Common practice: a ninth on
    major sevenths and sixths; on a minor seventh that is a second degree, or stays; ninth and
    thirteenth on a dominant that does not lead into minor.
    """
    minor_ahead = (following.root - chord.root) % 12 == 5 and following.third == 3
    match chord.tones:
        case (0, 4, 7, 11) | (0, 4, 7, 9) | (0, 3, 7, 9):
            return replace(chord, tones=(*chord.tones, 14))
        case (0, 4, 7, 10) if not minor_ahead:
            return replace(chord, tones=(*chord.tones, 14, 21))
        case (0, 3, 7, 10):
            to_its_fifth = (following.root - chord.root) % 12 == 5 and following.third == 4
            if following.root == chord.root or (to_its_fifth and following.seventh == 10):
                return replace(chord, tones=(*chord.tones, 14))
    return chord


def outer_and_inner(chord: Chord) -> tuple[int, ...]:
    """The pitch classes of a montuno: root and third, and the seventh of a dominant or the fifth
    of another chord."""
    is_dominant = chord.seventh == 10 and chord.third != 3
    tones = (0, chord.third, chord.seventh if is_dominant else chord.fifth)
    return tuple(dict.fromkeys((chord.root + tone) % 12 for tone in tones))


def bare_fifth(chord: Chord, lowest: int) -> Voicing:
    """Root, fifth and octave, as low as they go above E2: a fourth would make another chord."""
    low = max(_LOWEST_FIFTH, lowest)
    root = low + (chord.root - low) % 12
    return (root, root + 7, root + 12)


@lru_cache(maxsize=512)
def placements(
    classes: tuple[int, ...], low: int, high: int, open_position: bool = False
) -> tuple[Voicing, ...]:
    """Every way to lay pitch classes within a range, in close or open position.

    Open position is close position with the second voice from the top an octave lower. At least
    one is given, whatever the range.
    """
    found: list[Voicing] = []
    for bottom in range(low, high + 1):
        if bottom % 12 not in classes:
            continue
        above = sorted((each - bottom) % 12 for each in classes)
        voicing = tuple(bottom + each for each in above)
        if open_position and len(voicing) > 2:
            dropped = voicing[-2] - 12
            voicing = tuple(sorted((*voicing[:-2], voicing[-1], dropped)))
        if voicing[0] >= low and voicing[-1] <= high:
            found.append(voicing)
    if not found:
        return (tuple(sorted(low + (each - low) % 12 for each in classes)),)
    return tuple(found)


def led(
    chords: Sequence[Chord],
    options: Sequence[Sequence[Voicing]],
    middle: float,
    rooted: float = 0.0,
) -> list[Voicing]:
    """One of the options for each chord so that voices move least, round the loop as well.

    rooted: what it costs to have another tone than the root at the bottom.
    The cheapest way that ends where it began, by dynamic programming from each way to begin.
    """
    # It is begun where there is least choice.
    first = min(range(len(chords)), key=lambda i: len(options[i]))
    turned = [*options[first:], *options[:first]]
    standing = [
        [_standing(each, middle, chord) + rooted * (each[0] % 12 != chord.root) for each in among]
        for chord, among in zip([*chords[first:], *chords[:first]], turned, strict=True)
    ]
    # moving[i][there][from]: into the options of chord i from those of the chord before
    moving = [
        [[_moving(a, b) for a in before] for b in after]
        for before, after in zip([turned[-1], *turned[:-1]], turned, strict=True)
    ]
    ways = (_closed(begin, standing, moving) for begin in range(len(turned[0])))
    _, best = min(ways, key=lambda way: way[0])
    found = [among[i] for among, i in zip(turned, best, strict=True)]
    back = len(chords) - first
    return [*found[back:], *found[:back]]


def _closed(
    begin: int, standing: Sequence[Sequence[float]], moving: Sequence[Sequence[Sequence[float]]]
) -> tuple[float, list[int]]:
    """The cheapest way from an option of the first chord round to itself, and its cost."""
    costs = [inf] * len(standing[0])
    costs[begin] = standing[0][begin]
    back: list[list[int]] = []
    for here, ways_in in zip(standing[1:], moving[1:], strict=True):
        chosen_from, new = [], []
        for cost, steps in zip(here, ways_in, strict=True):
            ways = list(map(add, costs, steps))
            least = min(ways)
            chosen_from.append(ways.index(least))
            new.append(least + cost)
        back.append(chosen_from)
        costs = new
    ways = list(map(add, costs, moving[0][begin]))
    least = min(ways)
    way = [ways.index(least)]
    for chosen_from in reversed(back):
        way.append(chosen_from[way[-1]])
    return least, way[::-1]


def _standing(voicing: Voicing, middle: float, chord: Chord) -> float:
    """What a voicing costs by itself."""
    cost = _PULL * abs(sum(voicing) / len(voicing) - middle)
    for below, above in pairwise(voicing):
        if below < _MUD and above - below < 4:
            cost += _CLUSTER
        if above - below == 1:
            cost += _RUB
    for below, above in combinations(voicing, 2):
        lower = (below - chord.root) % 12
        if above - below in (1, 13) and (lower == 3 or (lower, above - below) == (9, 1)):
            # The sharp ninth belongs above the major third, a thirteenth above the seventh.
            cost += _WRONG
        elif above - below == 13 and 13 not in chord.tones:
            cost += _HARSH
    if len(voicing) > 1:
        # A semitone is heard as one where it is inside.
        cost += _CLUSTER * ((voicing[-1] - voicing[-2] == 1) + (voicing[1] - voicing[0] == 1))
    return cost


@lru_cache(maxsize=16384)
def _moving(before: Voicing, after: Voicing) -> float:
    """What it costs to go from one voicing to the next."""
    cost = float(sum(abs(a - b) for a, b in _paired(before, after)))
    if before != after:
        low, high = after[0] - before[0], after[-1] - before[-1]
        apart = (after[-1] - after[0]) % 12
        if low * high > 0 and apart in (0, 7) and (before[-1] - before[0]) % 12 == apart:
            cost += _PARALLEL
    return cost


def _paired(before: Voicing, after: Voicing) -> Iterator[tuple[int, int]]:
    """Voices from the top; those that one chord has more go to the other's lowest."""
    for i in range(max(len(before), len(after))):
        yield before[max(-1 - i, -len(before))], after[max(-1 - i, -len(after))]
