"""A walking bass: a note a beat, found as one line round the whole loop.

What any method for the bass teaches (common practice): the root when the chord begins, a chord tone
in the middle of the bar, between them a way by step or small leap that keeps its direction, and
into the next chord a step, by semitone sooner than by tone.
"""

from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from midiforge.band.chord import Chord

WALK = "w"
_APPROACH = "a"

# What an interval costs, in semitones up or down; what is wider costs the last.
_INTERVALS = (4.0, 0.1, 0.0, 0.3, 0.5, 0.9, 2.5, 1.2, 2.5, 3.0, 4.5, 6.0, 2.2, 12.0)
_WIDEST = len(_INTERVALS) - 1
_TURN = 0.5  # going the other way
# Costs of a tone, of a leap to it and of a leap from it. Passing notes are come to and left by
# step, an approach is left by step.
_PLAIN, _ROOT_AGAIN = (0.0, 0.0, 0.0), (0.8, 0.0, 0.0)
_PASSING = (0.4, 6.0, 6.0)
_BY_SEMITONE, _BY_TONE = (0.0, 0.0, 20.0), (0.4, 0.0, 20.0)
_FIFTH, _DENIED = (0.3, 0.0, 0.0), 4.0
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
    ways = [_ways(each, bar, middle, lowest, highest) for each in steps]
    start = min(ways[0], key=lambda way: way.cost)
    before: Sequence[_Way] = (start,)
    costs = [(0.0, 0.0)]  # going down, going up
    back: list[list[tuple[tuple[int, int], tuple[int, int]]]] = []
    for here in (*ways[1:], [start]):
        new, came = [], []
        for way in here:
            best = [float("inf"), float("inf")]
            best_from = [(0, 0), (0, 0)]
            for i, last in enumerate(before):
                moved = way.pitch - last.pitch
                step = _INTERVALS[min(abs(moved), _WIDEST)] + way.cost
                if abs(moved) > 2:
                    step += last.leap_from + way.leap_to
                for up in (0, 1):
                    now = up if moved == 0 else int(moved > 0)
                    cost = costs[i][up] + step + _TURN * (now != up)
                    if cost < best[now]:
                        best[now], best_from[now] = cost, (i, up)
            new.append((best[0], best[1]))
            came.append((best_from[0], best_from[1]))
        before, costs = here, new
        back.append(came)
    state = (0, int(costs[0][1] < costs[0][0]))
    line = []
    for here, came in zip(reversed(([start], *ways[1:])), reversed(back), strict=True):
        state = came[state[0]][state[1]]
        line.append(here[state[0]].pitch)
    return line[::-1]


def _ways(step: Step, bar: Fraction, middle: float, lowest: int, highest: int) -> list[_Way]:
    """The pitches that a step may have."""
    bars = step.time / bar % _ARCH_BARS
    middle += _ARCH * (1 - abs(float(bars) - _ARCH_BARS / 2) / (_ARCH_BARS / 2))
    strong = step.time % bar * 2 in (0, bar)
    found = []
    for tone, (cost, *leaps) in _tones(step, strong).items():
        first = lowest + (tone - lowest) % 12
        for pitch in range(first, highest + 1, 12) or (first,):
            found.append(_Way(pitch, cost + _WIDE * (pitch - middle) ** 2, *leaps))
    return found


def _tones(step: Step, strong: bool) -> dict[int, tuple[float, float, float]]:
    """Pitch classes, and what they and the leaps to and from them cost."""
    chord = step.chord
    if step.mark == _APPROACH:
        own = _scale(chord) | set(_chord_tones(chord))
        aim = step.target.bass
        found = {tone % 12: _BY_TONE for tone in (aim - 2, aim + 2) if tone % 12 in own}
        found |= dict.fromkeys(((aim - 1) % 12, (aim + 1) % 12), _BY_SEMITONE)
        if step.brief:
            # It has to say what chord this is as well: the fifth may leap, and the third that the
            # chord denies would make another chord of it.
            found.setdefault((chord.root + chord.fifth) % 12, _FIFTH)
            other = (chord.root + (4 if chord.third == 3 else 3)) % 12
            if other in found and other not in own:
                cost, *leaps = found[other]
                found[other] = (cost + _DENIED, leaps[0], leaps[1])
        return found
    if step.mark != WALK:
        return {degree(chord, step.mark): _PLAIN}
    found = {**dict.fromkeys(_chord_tones(chord), _PLAIN), chord.bass: _ROOT_AGAIN}
    if not strong:
        found |= dict.fromkeys(_scale(chord) - found.keys(), _PASSING)
    return found


def _chord_tones(chord: Chord) -> list[int]:
    above = (0, chord.third, chord.fifth, chord.seventh)
    return [chord.bass, *((chord.root + each) % 12 for each in above)]


def _scale(chord: Chord) -> set[int]:
    """Passing notes that no scale of the chord denies: its tensions; second, fourth and sixth
    where fifth and ninth are plain."""
    tones = set(chord.tones)
    found = {tone % 12 for tone in tones if tone > 12}
    if chord.fifth == 7 and not tones & {13, 15, 18, 20}:
        found |= {2, 5, 9}
    return {(chord.root + tone) % 12 for tone in found}
