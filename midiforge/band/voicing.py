"""How chords lie under the hand: which tones of each, where, and led from one to the next.

The rules are those of any arranging class (common practice): the third and the seventh say what
chord it is, the bass has the root; common tones stay, the others step; thirds and seconds in the
depths are mud; outer voices do not move in parallel octaves or fifths.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import combinations, pairwise
from math import inf
from operator import add

from midiforge.band.chord import Chord, Progression, lowest_of
from midiforge.frozen import frozen

Voicing = tuple[int, ...]  # MIDI note numbers, rising

_LOWEST_FIFTH = 40  # E2


@frozen
class Hand:
    """How a chord lies under the hand.

    voices: how many at most. open_position: spread over more than an octave.
    octave: whether the lowest voice is doubled an octave above (a montuno's outer voice).
    rootless: whether the root is left to the bass, and plain sevenths get their tensions.
    """

    voices: int
    open_position: bool = False
    octave: bool = False
    rootless: bool = False

    def options(self, chord: Chord, low: int, high: int, lowest: int) -> tuple[Voicing, ...]:
        """The ways it can play a chord within a range.

        lowest: what the instrument has, for bare fifths.
        """
        if self.octave:
            # Root and third, and the seventh of a dominant or the fifth of another chord.
            is_dominant = chord.seventh == 10 and chord.third != 3
            tones = (0, chord.third, chord.seventh if is_dominant else chord.fifth)
            return placements(tuple({(chord.root + tone) % 12 for tone in tones}), low, high)
        if len(chord.pitch_classes) == 2 and chord.third == 7:
            # A bare fifth, as low as it goes above E2: a fourth would make another chord.
            root = lowest_of(chord.root, max(_LOWEST_FIFTH, lowest))
            return ((root, root + 7, root + 12),)
        classes = chosen(chord, self.voices, self.rootless)
        # Four voices in close position would have a sharp ninth beside the third.
        rubs = len(classes) > 3 and {4, 15} <= set(chord.tones)
        return placements(classes, low, high, self.open_position or rubs)


HANDS = {
    "shells": Hand(4, rootless=True),
    "guitar": Hand(4, open_position=True),
    "stab": Hand(3),
    "montuno": Hand(3, octave=True),
}


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
    for tone in spare:
        if len(classes) > 3 and tone not in telling:
            classes.pop(tone, None)
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


@lru_cache(maxsize=512)
def placements(
    classes: tuple[int, ...], low: int, high: int, open_position: bool = False
) -> tuple[Voicing, ...]:
    """Every way to lay pitch classes within a range, in close or open position.

    Open position is close position with the second voice from the top an octave lower. At least
    one is given, whatever the range.
    """
    voicings: list[Voicing] = []
    for bottom in range(low, high + 1):
        if bottom % 12 in classes:
            voicing = sorted(lowest_of(tone, bottom) for tone in classes)
            if open_position and len(voicing) > 2:
                voicing = sorted((*voicing[:-2], voicing[-1], voicing[-2] - 12))
            if voicing[0] >= low and voicing[-1] <= high:
                voicings.append(tuple(voicing))
    return tuple(voicings) or (tuple(sorted(lowest_of(tone, low) for tone in classes)),)


_MUD = 52  # below this note (E3) small intervals are unclear
_PULL = 0.35  # what a semitone away from the middle costs, against one that a voice moves
_PARALLEL = 4.0
_CLUSTER = 3.0
_RUB = 1.5  # a semitone between inner voices
_HARSH = 4.0
_WRONG = 12.0
_ROOTED = 2.0  # what it costs a montuno to have another tone than the root outside


def voiced(progression: Progression, hand: Hand, low: int, high: int, lowest: int) -> list[Voicing]:
    """A voicing for each change of the progression; () where there is no chord.

    low, high: the range it should lie in. lowest: what the instrument has, for bare fifths.
    """
    chords = [change.chord for change in progression.changes]
    sounding: list[Chord] = [chord for chord in chords if chord is not None]
    if not sounding:
        return [() for _ in chords]
    if hand.rootless:
        sounding = [*map(enriched, sounding, [*sounding[1:], sounding[0]])]
    top = high - 12 * hand.octave
    options = [hand.options(chord, low, max(top, low + 11), lowest) for chord in sounding]
    way = iter(led(sounding, options, (low + top) / 2, _ROOTED if hand.octave else 0.0))
    return [next(way) if chord is not None else () for chord in chords]


def led(
    chords: Sequence[Chord],
    options: Sequence[Sequence[Voicing]],
    middle: float,
    rooted: float = 0.0,
) -> list[Voicing]:
    """One of the options for each chord so that voices move least, round the loop as well.

    rooted: what it costs to have another tone than the root at the bottom.
    The cheapest way that ends where it began, from each way to begin.
    """
    # It is begun where there is least choice.
    first = min(range(len(chords)), key=lambda i: len(options[i]))
    turned = [*options[first:], *options[:first]]
    layers: list[Layer] = []
    for chord, before, after in zip(
        [*chords[first:], *chords[:first]], [turned[-1], *turned[:-1]], turned, strict=True
    ):
        own = [_standing(v, middle, chord) + rooted * (v[0] % 12 != chord.root) for v in after]
        moving = [[_moving(a, b) for a in before] for b in after]
        layers.append([*zip(own, moving, strict=True)])

    def ways() -> Iterator[tuple[float, list[int]]]:
        for begin, (own, closing) in enumerate(layers[0]):
            costs = [own if i == begin else inf for i in range(len(turned[0]))]
            yield cheapest(costs, [*layers[1:], [(0.0, closing)]])

    _, best = min(ways(), key=lambda way: way[0])
    voicings = [among[i] for among, i in zip(turned, best[:-1], strict=True)]
    back = len(chords) - first
    return [*voicings[back:], *voicings[:back]]


# Of each option what it costs, and what it costs to come to it from each of those before.
Layer = Sequence[tuple[float, Sequence[float]]]


def cheapest(costs: Sequence[float], layers: Iterable[Layer]) -> tuple[float, list[int]]:
    """The cheapest way through layers of options, by dynamic programming: its cost, and which
    option it takes of each.

    costs: of the options to begin with.
    """
    back: list[list[int]] = []
    for layer in layers:
        came, sums = [], []
        for own, steps in layer:
            ways = list(map(add, costs, steps))
            least = min(ways)
            came.append(ways.index(least))
            sums.append(least + own)
        back.append(came)
        costs = sums
    least = min(costs)
    way = [list(costs).index(least)]
    for came in reversed(back):
        way.append(came[way[-1]])
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
