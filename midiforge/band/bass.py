"""The bass line: a style's figure on the roots and fifths of a progression, or a walking bass.

A walking bass has a note a beat, found as one line round the whole loop. What any method for the
bass teaches (common practice): the root when the chord begins, a chord tone in the middle of the
bar, between them a way by step or small leap that keeps its direction, and into the next chord a
step, by semitone sooner than by tone.
"""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from math import inf
from typing import NamedTuple

from midiforge.band.band import PitchedPart
from midiforge.band.chart import Attack, Chart
from midiforge.band.chord import Chord, lowest_of, octaves
from midiforge.band.voicing import Layer, cheapest
from midiforge.library.band import Figure
from midiforge.model.band import BASS, Tone
from midiforge.model.meter import Meter

_APPROACH, _DEAD, _ROOT, _OCTAVE, _LOW, _WALK = "a", "x", "1", "8", "R", "w"
_SAYING = "1nRN8"  # marks that say what the chord's bass is
_HOMING = "1nN7"  # marks whose pitch comes home: roots, and what leads into a low one
_VELOCITIES = {"R": 94, "N": 94, "F": 92, "1": 85, "n": 84, "5": 82, "8": 84, "w": 84, "x": 48}
_VELOCITY = 80
_OFF_THE_BEAT = -6  # what is not accented is softer there
_ACCENTED = "RNF8x"  # marks that say how loud they are
# Towards the middle of the range, against a semitone that the line moves.
_PULL, _PULL_HOME = 0.3, 0.8
_LONGEST_LOCKED = 2  # steps that a note with the bass drum lasts at most
_WITH_DRUM, _BESIDE_DRUM = 92, -8  # at least so loud with it; so much softer where it is silent
_LEAN = 6  # how much louder a walking bass is on the even beats


def bass_line(part: PitchedPart, chart: Chart, bass_drum: Sequence[Fraction] = ()) -> list[Tone]:
    """The tones of a bass.

    bass_drum: strokes to lock to, rising; each is struck with.
    """
    attacks = chart.attacks(part.figure)
    if bass_drum:
        attacks = list(_locked(attacks, part.figure.step, bass_drum, chart.length))
    if _WALK in part.figure.pattern:
        return list(_walking(attacks, chart, part.figure))
    line = _Line(part.figure, chart.meter, frozenset(bass_drum))
    turns = frozenset(chart.turns)
    said: Chord | None = None  # whose root was heard
    played = chart.played(attacks)
    for attack, following in zip(played, [*played[1:], *played[:1]], strict=True):
        chord, mark = chart.chord(attack.of), attack.mark
        if chord is None:
            continue
        # Where a figure leaves the change empty, its first note after it says the root.
        new = attack.time in turns or (chord != said and mark != _DEAD)
        if new and mark not in _SAYING:
            mark = _ROOT
        if mark == _APPROACH:
            line.approach(attack, chart.chord(attack.end) or chord, following.mark)
        else:
            line.play(attack, chord, mark)
        if mark != _DEAD:
            said = chord
    return line.tones


def _walking(attacks: Sequence[Attack], chart: Chart, figure: Figure) -> Iterator[Tone]:
    """A figure that walks: its line is found as a whole."""
    meter, turns = chart.meter, frozenset(chart.turns)
    steps, struck = [], []
    first = Fraction(0)
    for attack in chart.broken(attacks):
        chord, mark = chart.chord(attack.time), attack.mark
        if chord is None:
            continue
        target = chart.chord(attack.end) or chord
        if attack.time in turns:
            mark, first = _ROOT, attack.time
        elif mark == _WALK and target.bass != chord.bass:
            mark = _APPROACH
        brief = mark == _APPROACH and attack.end - first < meter.bar
        steps.append(Step(attack.time, mark, chord, target, brief))
        struck.append(attack)
    evens = frozenset(meter.beats[1::2] if len(meter.beats) % 2 == 0 else ())
    pitches = walked(steps, meter.bar, figure.lowest, figure.highest)
    for attack, pitch in zip(struck, pitches, strict=True):
        velocity = _VELOCITIES.get(attack.mark, _VELOCITY)
        velocity += _LEAN * (attack.time % meter.bar in evens)
        yield Tone(attack.time, attack.length, pitch, velocity, BASS)


def _locked(
    played: Sequence[Attack], step: Fraction, bass_drum: Sequence[Fraction], length: Fraction
) -> Iterator[Attack]:
    """A note on each stroke of the bass drum; of the figure what lies between, dead notes and the
    way into the next bar kept, the rest left out."""
    struck = set(bass_drum)
    own = {attack.time: (attack.mark, attack.length) for attack in played}
    for time, following in pairwise([*sorted(struck | own.keys()), length]):
        mark, most = own.get(time, (_LOW, length))
        if time in struck:
            mark, most = _LOW if mark in (_DEAD, _APPROACH) else mark, _LONGEST_LOCKED * step
        yield Attack(time, min(following - time, most), mark)


class _Line:
    """A line that goes on from the note it is on.

    locked_to: the strokes of the bass drum, if it goes with them.
    """

    def __init__(self, figure: Figure, meter: Meter, locked_to: frozenset[Fraction]) -> None:
        self.lowest, self.highest = figure.lowest, figure.highest
        self._bar, self._beats, self._drum = meter.bar, frozenset(meter.beats), locked_to
        self.tones: list[Tone] = []
        # Near the bottom: that is where a bass line lives.
        self._middle = self.lowest + (self.highest - self.lowest) / 3
        self._pitch = round(self._middle)
        self._root: int | None = None  # the one played last

    def play(self, attack: Attack, chord: Chord, mark: str) -> None:
        """Strikes the tone of the chord that the mark names."""
        tone = degree(chord, mark)
        if mark in (_LOW, _DEAD):  # what is heard of a dead note's pitch is then the chord's
            pitch = lowest_of(tone, self.lowest)
        elif mark == _OCTAVE:
            pitch = self._octave(tone)
        else:
            pitch = self._nearest(tone, _PULL_HOME if mark in _HOMING else _PULL)
        if tone == chord.bass and mark not in (_OCTAVE, _DEAD):
            self._root = pitch
        self._add(attack, pitch, mark)

    def approach(self, attack: Attack, target: Chord, following: str) -> None:
        """A step from the root of the chord to come, not the note just played if it can be."""
        aim = (
            lowest_of(target.bass, self.lowest) if following == _LOW else self._nearest(target.bass)
        )
        steps = [aim - 1, aim + 1, aim - 2, aim + 2]
        fit = [p for p in steps if self.lowest <= p <= self.highest and p != self._pitch]
        # The way there goes on in its direction: from below if the line is below.
        way = 1 if self._pitch <= aim else -1
        pitch = min(fit or [aim], key=lambda p: (abs(p - aim) > 1, (aim - p) * way < 0))
        self._add(attack, pitch, attack.mark)

    def _add(self, attack: Attack, pitch: int, mark: str) -> None:
        velocity, length = _VELOCITIES.get(mark, _VELOCITY), attack.length
        if mark not in _ACCENTED and attack.time % self._bar not in self._beats:
            velocity += _OFF_THE_BEAT
        if mark == _DEAD:
            length /= 2
        else:
            self._pitch = pitch
            if self._drum:
                with_it = attack.time in self._drum
                velocity = max(velocity, _WITH_DRUM) if with_it else velocity + _BESIDE_DRUM
        self.tones.append(Tone(attack.time, length, pitch, velocity, BASS))

    def _nearest(self, pitch_class: int, pull: float = _PULL) -> int:
        """The pitch in range that is near the last one, and not far from the middle."""
        fit = octaves(pitch_class, self.lowest, self.highest)
        return min(fit, key=lambda p: abs(p - self._pitch) + pull * abs(p - self._middle))

    def _octave(self, pitch_class: int) -> int:
        """An octave above the root that was played, or below it if there is no room."""
        root = self._root
        if root is None or root % 12 != pitch_class:
            root = lowest_of(pitch_class, self.lowest)
        return next(
            p for p in (root + 12, root - 12, root) if self.lowest <= p <= self.highest or p == root
        )


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
        costs = {tone % 12: _BY_TONE for tone in (aim - 2, aim + 2) if tone % 12 in own}
        costs |= dict.fromkeys(((aim - 1) % 12, (aim + 1) % 12), _BY_SEMITONE)
        if step.brief:
            # It has to say what chord this is as well: the fifth may leap, and the third that the
            # chord denies would make another chord of it.
            costs.setdefault((chord.root + chord.fifth) % 12, _FIFTH)
            other = (chord.root + (4 if chord.third == 3 else 3)) % 12
            if other in costs and other not in own:
                cost, leap_to, leap_from = costs[other]
                costs[other] = (cost + _DENIED, leap_to, leap_from)
        return costs
    if step.mark != _WALK:
        return {degree(chord, step.mark): _PLAIN}
    costs = {**dict.fromkeys(tones, _PLAIN), chord.bass: _ROOT_AGAIN}
    if not strong:
        costs |= dict.fromkeys(_passing(chord) - costs.keys(), _PASSING)
    return costs


def _passing(chord: Chord) -> set[int]:
    """Passing notes that no scale of the chord denies: its tensions; second, fourth and sixth
    where fifth and ninth are plain."""
    tones = set(chord.tones)
    above = {tone % 12 for tone in tones if tone > 12}
    if chord.fifth == 7 and not tones & {13, 15, 18, 20}:
        above |= {2, 5, 9}
    return {(chord.root + tone) % 12 for tone in above}
