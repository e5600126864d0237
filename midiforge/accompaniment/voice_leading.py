"""Voice leading: which tones of each chord, and how they lie, so that every voice moves little.

The rules are those of any arranging class (common practice): the third and the seventh say what
chord it is, the bass has the root; common tones stay, the others step; thirds and seconds in the
depths are mud; two outer voices do not move in parallel octaves or fifths.
"""

from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import pairwise

from midiforge.accompaniment.chord import Chord

Voicing = tuple[int, ...]  # MIDI note numbers, rising

_MUD = 52  # below this note (E3) small intervals are unclear
_PULL = 0.35  # what a semitone away from the middle costs, against one that a voice moves
_PARALLEL = 4.0
_CLUSTER = 3.0
_RUB = 1.5  # a semitone between inner voices
_HARSH = 4.0


@lru_cache(maxsize=512)
def chosen(chord: Chord, count: int) -> tuple[int, ...]:
    """Up to `count` pitch classes of a chord, the most telling first."""
    tones = chord.tones
    order = [chord.third]
    if chord.seventh != 12:
        order.append(chord.seventh)
    if chord.fifth in (6, 8):
        order.append(chord.fifth)
    # Tensions from the top: a thirteenth says more than the ninth below it.
    order += [tone for tone in reversed(tones) if tone > 12 and tone != 17]
    order += [tone for tone in (17, chord.fifth, 0) if tone in tones]
    order += [tone for tone in tones if tone not in order]
    classes = dict.fromkeys((chord.root + tone) % 12 for tone in order)
    return tuple(classes)[:count]


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
    chords: Sequence[Chord], options: Sequence[Sequence[Voicing]], middle: float
) -> list[Voicing]:
    """One of the options for each chord so that voices move least, round the loop as well.

    The cheapest way through, found by dynamic programming over three times round; the second has
    forgotten where the first began and does not know where the third ends.
    """
    if len(chords) == 1:
        return [min(options[0], key=lambda each: _standing(each, middle, chords[0]))]
    rounds = 3
    costs: list[float] = [_standing(each, middle, chords[0]) for each in options[0]]
    back: list[list[int]] = []
    before = options[0]
    standing = [
        [_standing(o, middle, c) for o in each] for c, each in zip(chords, options, strict=True)
    ]
    for i in range(1, rounds * len(chords)):
        here = options[i % len(chords)]
        chosen_from, new = [], []
        for option, cost in zip(here, standing[i % len(chords)], strict=True):
            ways = [costs[j] + _moving(each, option) for j, each in enumerate(before)]
            best = min(range(len(ways)), key=ways.__getitem__)
            chosen_from.append(best)
            new.append(ways[best] + cost)
        back.append(chosen_from)
        costs, before = new, here
    index = min(range(len(costs)), key=costs.__getitem__)
    way = [index]
    for chosen_from in reversed(back):
        index = chosen_from[index]
        way.append(index)
    way.reverse()
    # The middle round: far from both ends, it closes on itself.
    middle_round = way[len(chords) : 2 * len(chords)]
    return [each[i] for each, i in zip(options, middle_round, strict=True)]


def _standing(voicing: Voicing, middle: float, chord: Chord) -> float:
    """What a voicing costs by itself."""
    cost = _PULL * abs(sum(voicing) / len(voicing) - middle)
    for below, above in pairwise(voicing):
        if below < _MUD and above - below < 4:
            cost += _CLUSTER
        if above - below == 1:
            cost += _RUB
        if above - below == 13 and 13 not in chord.tones:
            cost += _HARSH
    if len(voicing) > 1 and voicing[-1] - voicing[-2] == 1:
        cost += _CLUSTER
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
