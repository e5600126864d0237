"""A walking bass: a note a beat, found as one line round the whole loop.

What any method for the bass teaches (common practice): the root when the chord begins, a chord tone
in the middle of the bar, between them a way by step or small leap that keeps its direction, and
into the next chord a step, by semitone sooner than by tone.
"""

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from math import inf
from typing import NamedTuple

from midiforge.band.chord import Chord, octaves
from midiforge.band.voice_leading import Layer, cheapest

WALK = "w"
_APPROACH = "a"

# What an interval costs, in semitones up or down; what is wider costs the last.
_INTERVALS = (4.0, 0.1, 0.0, 0.3, 0.5, 0.9, 2.5, 1.2, 2.5, 3.0, 4.5, 6.0, 2.2, 12.0)
_WIDEST = len(_INTERVALS) - 1
_TURN = 0.5  # going the other way
# Costs of a tone, of a leap to it and of a leap from it. Passing notes are come to and left by
# step, an approach is left by step; one that the chord denies costs most.
_PLAIN, _ROOT_AGAIN, _FIFTH = (0.0, 0.0, 0.0), (0.8, 0.0, 0.0), (0.3, 0.0, 0.0)
_PASSING = (0.4, 6.0, 6.0)
_BY_SEMITONE, _BY_TONE, _DENIED = (0.0, 0.0, 20.0), (0.4, 0.0, 20.0), 4.0
_WIDE = 0.012  # for each semitone from the middle, squared
# The middle rises and falls so that the line does: semitones over so many bars.
_ARCH, _ARCH_BARS = 7, 4


class Step(NamedTuple):
    """One note to find: its mark, the chord that sounds, and the one after it.

    brief: whether of the chord nothing but its root was played before.
    """

    time: Fraction
    mark: str
    chord: Chord
    target: Chord
    brief: bool = False


class _Way(NamedTuple):
    """A pitch that a step may have; what it costs, and a leap to it and a leap from it."""

    pitch: int
    cost: float
    leap_to: float
    leap_from: float


def degree(chord: Chord, mark: str) -> int:
    """The pitch class of what a mark names: 3, 5, 7, and the root else.

    Over a bass that is no tone of the chord it is always the bass.
    """
    foreign = (chord.bass - chord.root) % 12 not in {tone % 12 for tone in chord.tones}
    above = {"3": chord.third, "5": chord.fifth, "F": chord.fifth, "7": chord.seventh}.get(mark)
    return chord.bass if above is None or foreign else (chord.root + above) % 12


def walked(steps: Sequence[Step], bar: Fraction, lowest: int, highest: int) -> list[int]:
    """The pitches of the steps, within the range where that holds them.

    The cheapest line that ends where it began, found by dynamic programming over pitch and
    direction.
    """
    if not steps:
        return []
    middle = lowest + (highest - lowest) / 4
    ways = [_ways(step, bar, middle, lowest, highest) for step in steps]
    start = [min(ways[0], key=lambda way: way.cost)]
    rows = [start, *ways[1:], start]
    _, line = cheapest([0.0, 0.0], (_layer(*pair) for pair in pairwise(rows)))
    return [row[i // 2].pitch for row, i in zip(rows, line[:-1], strict=False)]


def _layer(before: Sequence[_Way], after: Sequence[_Way]) -> Layer:
    """What it costs to go on from ways to the next; each is there twice, come to from above and
    from below."""
    layer = []
    for way in after:
        moves = [(way.pitch - last.pitch, _moving(last, way)) for last in before]
        for up in (False, True):
            steps = [
                inf if up != (moved > 0 if moved else was_up) else cost + _TURN * (up != was_up)
                for moved, cost in moves
                for was_up in (False, True)
            ]
            layer.append((0.0, steps))
    return layer


def _moving(before: _Way, after: _Way) -> float:
    """What it costs to go from one way to another, whatever the direction."""
    moved = abs(after.pitch - before.pitch)
    leap = before.leap_from + after.leap_to if moved > 2 else 0.0
    return _INTERVALS[min(moved, _WIDEST)] + after.cost + leap


def _ways(step: Step, bar: Fraction, middle: float, lowest: int, highest: int) -> list[_Way]:
    """The pitches that a step may have."""
    bars = step.time / bar % _ARCH_BARS
    middle += _ARCH * (1 - abs(float(bars) - _ARCH_BARS / 2) / (_ARCH_BARS / 2))
    strong = step.time % bar * 2 in (0, bar)
    return [
        _Way(pitch, cost + _WIDE * (pitch - middle) ** 2, *leaps)
        for tone, (cost, *leaps) in _tones(step, strong).items()
        for pitch in octaves(tone, lowest, highest)
    ]


def _tones(step: Step, strong: bool) -> dict[int, tuple[float, float, float]]:
    """Pitch classes, and what they and the leaps to and from them cost."""
    chord = step.chord
    above = (0, chord.third, chord.fifth, chord.seventh)
    tones = [chord.bass, *((chord.root + tone) % 12 for tone in above)]
    if step.mark == _APPROACH:
        own, aim = {*tones, *_passing(chord)}, step.target.bass
        found = {tone % 12: _BY_TONE for tone in (aim - 2, aim + 2) if tone % 12 in own}
        found |= dict.fromkeys(((aim - 1) % 12, (aim + 1) % 12), _BY_SEMITONE)
        if step.brief:
            # It has to say what chord this is as well: the fifth may leap, and the third that the
            # chord denies would make another chord of it.
            found.setdefault((chord.root + chord.fifth) % 12, _FIFTH)
            other = (chord.root + (4 if chord.third == 3 else 3)) % 12
            if other in found and other not in own:
                cost, leap_to, leap_from = found[other]
                found[other] = (cost + _DENIED, leap_to, leap_from)
        return found
    if step.mark != WALK:
        return {degree(chord, step.mark): _PLAIN}
    found = {**dict.fromkeys(tones, _PLAIN), chord.bass: _ROOT_AGAIN}
    if not strong:
        found |= dict.fromkeys(_passing(chord) - found.keys(), _PASSING)
    return found


def _passing(chord: Chord) -> set[int]:
    """Passing notes that no scale of the chord denies: its tensions; second, fourth and sixth
    where fifth and ninth are plain."""
    tones = set(chord.tones)
    found = {tone % 12 for tone in tones if tone > 12}
    if chord.fifth == 7 and not tones & {13, 15, 18, 20}:
        found |= {2, 5, 9}
    return {(chord.root + tone) % 12 for tone in found}
