"""Comping: a style's figure on voiced chords, led from one to the next."""

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from midiforge.accompaniment.chord import Chord
from midiforge.accompaniment.progression import Progression
from midiforge.accompaniment.strokes import Stroke, next_beat, over, struck_again
from midiforge.accompaniment.voice_leading import Voicing, chosen, led, placements
from midiforge.library.players import Figure
from midiforge.model.meter import Meter
from midiforge.model.track import Tone

COMP = "comp"

_AHEAD = "nNOI"  # marks that play the chord of the next beat
_VELOCITIES = {"X": 74, "N": 74, "s": 48, "g": 32, "o": 76, "O": 82, "i": 68, "I": 72}
_VELOCITY = 62
_GHOST = "g"


@dataclass(frozen=True, slots=True)
class Hand:
    """How a chord lies under the hand.

    voices: how many at most. open_position: spread over more than an octave.
    octave: whether the lowest voice is doubled an octave above (a montuno's outer voice).
    rootless: whether the root is left to the bass.
    """

    voices: int
    open_position: bool = False
    octave: bool = False
    rootless: bool = False


HANDS = {
    "shells": Hand(4, rootless=True),
    "guitar": Hand(4, open_position=True),
    "stab": Hand(3),
    "montuno": Hand(3, octave=True),
}


def comping(
    figure: Figure,
    progression: Progression,
    meter: Meter,
    length: Fraction,
    lowest: int,
    highest: int,
) -> Iterator[Tone]:
    """The tones of a chord instrument over `length` quarter notes.

    lowest, highest: what the instrument has; the figure's own range is kept within it.
    """
    hand = HANDS[figure.hand]
    low, high = max(figure.lowest, lowest), min(figure.highest, highest)
    voicings = voiced(progression, hand, low, high)
    starts = [change.time for change in progression.changes]
    turns = progression.turns(length)

    def voicing(time: Fraction) -> Voicing:
        return voicings[bisect_right(starts, time % progression.length) - 1]

    ahead_of: Fraction | None = None
    last: list[Tone] = []
    found: list[Tone] = []
    for stroke in struck_again(list(over(figure, progression, length)), turns):
        if stroke.goes_on and stroke.time == ahead_of:
            found[-len(last) :] = last = [
                Tone(t.time, t.length + stroke.length, t.pitch, t.velocity, t.track) for t in last
            ]
            ahead_of = None
            continue
        ahead_of, time = None, stroke.time
        if stroke.mark in _AHEAD:
            time = next_beat(meter, stroke.time)
            ahead_of = time if stroke.end == time else None
        last = [
            Tone(stroke.time, _length(stroke), pitch, _velocity(stroke), COMP)
            for pitch in _struck(stroke, voicing(time), hand)
        ]
        if not last:
            ahead_of = None
        found += last
    yield from found


def voiced(progression: Progression, hand: Hand, low: int, high: int) -> list[Voicing]:
    """A voicing for each change of the progression; () where there is no chord."""
    chords = [change.chord for change in progression.changes]
    sounding: list[Chord] = [chord for chord in chords if chord is not None]
    if not sounding:
        return [() for _ in chords]
    top = high - 12 * hand.octave
    options = []
    for chord in sounding:
        classes = tuple(sorted(chosen(chord, hand.voices, hand.rootless)))
        # Four voices in close position would have a sharp ninth beside the third.
        spread = hand.open_position or (len(classes) > 3 and {4, 15} <= set(chord.tones))
        options.append(placements(classes, low, max(top, low + 11), spread))
    middle = (low + top) / 2
    way = iter(led(sounding, options, middle))
    return [next(way) if chord is not None else () for chord in chords]


def _struck(stroke: Stroke, voicing: Voicing, hand: Hand) -> Voicing:
    """The voices that a stroke plays."""
    if stroke.mark == _GHOST:
        return voicing[:1]
    if not hand.octave or not voicing:
        return voicing
    if stroke.mark in "oO":
        return (voicing[0], voicing[0] + 12)
    return voicing[1:] or voicing


def _length(stroke: Stroke) -> Fraction:
    return stroke.length / 2 if stroke.mark == _GHOST else stroke.length


def _velocity(stroke: Stroke) -> int:
    # A chord that a change breaks was accented when it began.
    if stroke.goes_on and stroke.mark == "X":
        return _VELOCITY
    return _VELOCITIES.get(stroke.mark, _VELOCITY)
