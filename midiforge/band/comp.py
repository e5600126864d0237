"""Comping: a style's figure on voiced chords, and the outer voice of a montuno.

That voice moves while its chord stays. Common practice: over one chord the octaves go a step or two
away and come back, first one way and then the other; before another chord they go there by step.
"""

from bisect import bisect_right
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from fractions import Fraction
from itertools import pairwise

from midiforge.band.band import PitchedPart
from midiforge.band.chart import Attack, Chart
from midiforge.band.chord import Chord
from midiforge.band.voicing import HANDS, Hand, Voicing, voiced
from midiforge.model.band import COMP, Tone

_VELOCITIES = {"X": 74, "N": 74, "s": 48, "g": 32, "o": 76, "O": 82, "i": 68, "I": 72}
_VELOCITY = 62
_GHOST, _OUTER, _ADDED, _ADDED_INNER = "g", "oO", "x", "i"
_SPOKEN = Fraction(8, 5)  # how many times its step an attack of a montuno is held


def comping(part: PitchedPart, chart: Chart) -> Iterator[Tone]:
    """The tones of a chord instrument."""
    figure, instrument = part.figure, part.instrument
    hand = HANDS[figure.hand]
    voicings = voiced(chart.progression, hand, figure.lowest, figure.highest, instrument.lowest)

    def voicing(time: Fraction) -> Voicing:
        return voicings[chart.place(time) % len(voicings)]

    attacks = _all_heard(chart.played(chart.attacks(figure)), chart, hand)
    outer: dict[Fraction, int] = {}
    if hand.octave:
        outer = _outer(attacks, chart, voicing, (instrument.lowest, instrument.highest - 12))
    for attack in attacks:
        held = attack.length
        if attack.mark == _GHOST:
            held /= 2
        elif hand.octave:
            held = min(held * _SPOKEN, chart.ends(attack.of) - attack.time)
        # A chord that a change breaks was accented when it began.
        plain = attack.goes_on and attack.mark == "X"
        velocity = _VELOCITY if plain else _VELOCITIES.get(attack.mark, _VELOCITY)
        for pitch in _struck(attack, voicing(attack.of), hand, outer.get(attack.time)):
            yield Tone(attack.time, held, pitch, velocity, COMP)


def _all_heard(attacks: Sequence[Attack], chart: Chart, hand: Hand) -> list[Attack]:
    """The attacks, and one where each chord begins that would not be heard at all."""
    heard = {chart.began(attack.of) for attack in attacks if attack.mark != _GHOST}
    times = sorted(attack.time for attack in attacks)
    added = {}
    for turn in chart.turns:
        if turn in heard or chart.chord(turn) is None:
            continue
        after = times[bisect_right(times, turn) :]
        end = min([turn + 1, chart.ends(turn), *after[:1]])
        mark = _ADDED_INNER if hand.octave else _ADDED
        added[turn] = Attack(turn, end - turn, mark, turn)
    # A ghost of the chord before gives way.
    kept = [attack for attack in attacks if attack.time not in added]
    return sorted([*kept, *added.values()], key=lambda attack: attack.time)


def _outer(
    attacks: Sequence[Attack],
    chart: Chart,
    voicing: Callable[[Fraction], Voicing],
    bounds: tuple[int, int],
) -> dict[Fraction, int]:
    """The outer voice of a montuno, by the times of its attacks.

    bounds: MIDI note numbers that it stays within.
    """
    key = minor_key(change.chord for change in chart.progression.changes if change.chord)
    length, size = chart.length, chart.meter.bar
    groups: dict[tuple[int, Fraction], list[Attack]] = {}
    for attack in attacks:
        if attack.mark in _OUTER:
            of = attack.of % length
            groups.setdefault((of // size, chart.began(of)), []).append(attack)
    outer: dict[Fraction, int] = {}
    for (bar, began), group in groups.items():
        # What anticipates the top of the loop is played at its end, and comes before its beginning.
        group.sort(key=lambda attack: (attack.of % length, attack.of < length))
        of = group[0].of % length
        chord, own = chart.chord(of), voicing(of)
        after = voicing(min((bar + 1) * size, chart.ends(began)))
        if chord is None or not own:
            continue
        line = outer_voice(chord, own[0], (after or own)[0], len(group), bar, key)
        if not all(bounds[0] <= pitch <= bounds[1] for pitch in line):
            line = [own[0]] * len(group)
        outer.update(zip((attack.time for attack in group), line, strict=True))
    return outer


def _struck(attack: Attack, voicing: Voicing, hand: Hand, outer: int | None) -> Voicing:
    """The voices that an attack plays. outer: the pitch of a montuno's outer voice."""
    if attack.mark == _GHOST:
        return voicing[:1]
    if not hand.octave or not voicing:
        return voicing
    if outer is not None:
        return (outer, outer + 12)
    return voicing[1:] or voicing


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
        steps = [away[i % len(away)] for i in range(strokes)]
        return [above[step] if step > 0 else below[-step] for step in steps]
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
    allowed, line = scale(chord, minor), [note]
    while len(line) <= _FURTHEST:
        step = line[-1] + way
        while step % 12 not in allowed:
            step += way
        line.append(step)
    return line
