"""How chords lie under the hand: which tones of each, and where, round a whole progression."""

from collections.abc import Sequence

from midiforge.band.chord import Chord
from midiforge.band.progression import Progression
from midiforge.band.voice_leading import (
    Voicing,
    bare_fifth,
    chosen,
    enriched,
    led,
    outer_and_inner,
    placements,
)
from midiforge.frozen import frozen

_ROOTED = 2.0  # what it costs a montuno to have another tone than the root outside


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

    def classes(self, chord: Chord) -> tuple[int, ...]:
        """The pitch classes it plays of a chord."""
        if self.octave:
            return outer_and_inner(chord)
        return chosen(chord, self.voices, self.rootless)


HANDS = {
    "shells": Hand(4, rootless=True),
    "guitar": Hand(4, open_position=True),
    "stab": Hand(3),
    "montuno": Hand(3, octave=True),
}


def voiced(progression: Progression, hand: Hand, low: int, high: int, lowest: int) -> list[Voicing]:
    """A voicing for each change of the progression; () where there is no chord.

    low, high: the range it should lie in. lowest: what the instrument has, for bare fifths.
    """
    chords = [change.chord for change in progression.changes]
    sounding: list[Chord] = [chord for chord in chords if chord is not None]
    if not sounding:
        return [() for _ in chords]
    if hand.rootless:
        sounding = [
            enriched(chord, following)
            for chord, following in zip(sounding, [*sounding[1:], sounding[0]], strict=True)
        ]
    top = high - 12 * hand.octave
    options: list[Sequence[Voicing]] = []
    for chord in sounding:
        classes = tuple(sorted(hand.classes(chord)))
        if len(chord.pitch_classes) == 2 and chord.third == 7 and not hand.octave:
            options.append([bare_fifth(chord, lowest)])
            continue
        # Four voices in close position would have a sharp ninth beside the third.
        spread = hand.open_position or (len(classes) > 3 and {4, 15} <= set(chord.tones))
        options.append(placements(classes, low, max(top, low + 11), spread))
    middle = (low + top) / 2
    way = iter(led(sounding, options, middle, _ROOTED if hand.octave else 0.0))
    return [next(way) if chord is not None else () for chord in chords]
