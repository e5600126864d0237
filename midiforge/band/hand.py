"""How chords lie under the hand: which tones of each, and where.

The rules are those of any arranging class (common practice): the third and the seventh say what
chord it is, the bass has the root.
"""

from dataclasses import replace
from functools import lru_cache

from midiforge.band.chord import Chord, lowest_of
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
            voicing = sorted(lowest_of(each, bottom) for each in classes)
            if open_position and len(voicing) > 2:
                voicing = sorted((*voicing[:-2], voicing[-1], voicing[-2] - 12))
            if voicing[0] >= low and voicing[-1] <= high:
                voicings.append(tuple(voicing))
    return tuple(voicings) or (tuple(sorted(lowest_of(each, low) for each in classes)),)
