"""The bass line: a style's figure on the roots and fifths of a progression."""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise

from midiforge.band.band import PitchedPart
from midiforge.band.chart import Attack, Chart
from midiforge.band.chord import Chord, lowest_of, octaves
from midiforge.band.walking import WALK, Step, degree, walked
from midiforge.library.band import Figure
from midiforge.model.band import BASS, Tone
from midiforge.model.meter import Meter

_APPROACH, _DEAD, _ROOT, _OCTAVE, _LOW = "a", "x", "1", "8", "R"
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
    if WALK in part.figure.pattern:
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
        elif mark == WALK and target.bass != chord.bass:
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
            pitch = self._lowest(tone)
        elif mark == _OCTAVE:
            pitch = self._octave(tone)
        else:
            pitch = self._nearest(tone, _PULL_HOME if mark in _HOMING else _PULL)
        if tone == chord.bass and mark not in (_OCTAVE, _DEAD):
            self._root = pitch
        self._add(attack, pitch, mark)

    def approach(self, attack: Attack, target: Chord, following: str) -> None:
        """A step from the root of the chord to come, not the note just played if it can be."""
        aim = self._lowest(target.bass) if following == _LOW else self._nearest(target.bass)
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

    def _lowest(self, pitch_class: int) -> int:
        return lowest_of(pitch_class, self.lowest)

    def _octave(self, pitch_class: int) -> int:
        """An octave above the root that was played, or below it if there is no room."""
        root = self._root
        if root is None or root % 12 != pitch_class:
            root = self._lowest(pitch_class)
        return next(
            p for p in (root + 12, root - 12, root) if self.lowest <= p <= self.highest or p == root
        )
