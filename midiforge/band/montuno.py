"""The outer voice of a montuno, which moves while its chord stays.

Common practice: over one chord the octaves go a step or two away and come back, first one way and
then the other; before another chord they go there by step.
"""

from collections import Counter
from collections.abc import Iterable
from itertools import pairwise

from midiforge.band.chord import Chord

_LEAST = 4  # strokes of the outer voice on one chord, from which it moves
# How many steps of the scale away from its note the voice is, stroke by stroke of a bar: bars in
# turn, some going down (below 0), some up.
_AWAY = ((0, 0, -1, -2, -1), (0, 0, 1, 2, 1), (0, -1, -2, -1, 0), (0, 0, 1, 0, -1))
_FURTHEST = 2
_PASSING = 2  # strokes at most on the way to another chord's note


_NATURAL_MINOR = (0, 2, 3, 5, 7, 8, 10)


def minor_key(chords: Iterable[Chord]) -> int | None:
    """The key's pitch class where a progression is in minor: the root of a minor chord that a
    dominant leads to by a fourth, round the loop, more often than any leads to a major one."""
    order = list(dict.fromkeys(chords))
    led: Counter[tuple[int, bool]] = Counter()
    for chord, following in pairwise([*order, *order[:1]]):
        fourth = (following.root - chord.root) % 12 == 5
        if fourth and chord.third == 4 and chord.seventh == 10 and following.third in (3, 4):
            led[following.root, following.third == 3] += 1
    [((root, minor), _)] = led.most_common(1) or [((0, False), 0)]
    return root if minor else None


def scale(chord: Chord, minor: int | None = None) -> frozenset[int]:
    """Pitch classes that a voice may pass through over a chord.

    Its own; second, fourth and sixth where fifth and ninth are plain, in a minor key those that
    it has; a seventh for a triad or a sixth: the small one in minor, the large one in major.

    minor: the key's pitch class, if it is a minor one.
    """
    tones = {tone % 12 for tone in chord.tones}
    if chord.fifth == 7 and not tones & {1, 6, 8} and not {3, 4} <= tones:
        if minor is None:
            tones |= {2, 5, 9}
        else:
            inside = {(minor + tone - chord.root) % 12 for tone in _NATURAL_MINOR}
            tones |= inside & {1, 2, 5, 8, 9}
    if not tones & {10, 11}:
        tones.add(11 if chord.third == 4 else 10)
    return frozenset((chord.root + tone) % 12 for tone in tones)


def outer_voice(
    chord: Chord, note: int, following: int, strokes: int, bar: int, minor: int | None = None
) -> list[int]:
    """The pitches of the outer voice's strokes in one bar of one chord.

    note: its own there; following: the one it has in the next bar. strokes: how many it has.
    bar: its number, so that bars differ. minor: as for `scale`.
    """
    if strokes < _LEAST:
        return [note] * strokes
    below, above = (_from(chord, note, way, minor) for way in (-1, 1))
    if note == following:
        away = _AWAY[bar % len(_AWAY)]
        found = [away[i % len(away)] for i in range(strokes)]
        return [above[each] if each > 0 else below[-each] for each in found]
    way = 1 if following > note else -1
    inside = [p for p in range(note + way, following, way) if p % 12 in scale(chord, minor)]
    passing = inside[-_PASSING:]
    other_side = (below if way > 0 else above)[1]
    if not passing:
        # The notes are neighbours: it goes round its own.
        passing = [other_side, note]
    held = [note] * (strokes - len(passing))
    if inside and bar % 4 >= 2:
        held[1] = other_side
    return held + passing


def _from(chord: Chord, note: int, way: int, minor: int | None) -> list[int]:
    """A note and the next ones of the chord's scale, above (1) or below it (-1)."""
    allowed, found = scale(chord, minor), [note]
    while len(found) <= _FURTHEST:
        step = found[-1] + way
        while step % 12 not in allowed:
            step += way
        found.append(step)
    return found
