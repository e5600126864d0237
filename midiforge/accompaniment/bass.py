"""The bass line: a style's figure on the roots and fifths of a progression."""

from collections.abc import Iterator, Sequence
from fractions import Fraction

from midiforge.accompaniment.chord import Chord
from midiforge.accompaniment.progression import Progression
from midiforge.accompaniment.strokes import Stroke, next_beat, over, struck_again
from midiforge.accompaniment.walking import WALK, Step, degree, walked
from midiforge.library.players import Figure
from midiforge.model.meter import Meter
from midiforge.model.track import Tone

BASS = "bass"

_AHEAD = "nN"  # marks that play the chord of the next beat
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


def bass_line(
    figure: Figure,
    progression: Progression,
    meter: Meter,
    length: Fraction,
    lowest: int,
    highest: int,
    bass_drum: Sequence[Fraction] = (),
) -> Iterator[Tone]:
    """The tones of a bass over `length` quarter notes.

    lowest, highest: what the instrument has; the figure's own range is kept within it.
    bass_drum: strokes to lock to, rising; each is struck with.
    """
    played = list(over(figure, progression, length))
    if bass_drum:
        played = list(_locked(played, figure.step, bass_drum, length))
    turns = progression.turns(length)
    low, high = max(figure.lowest, lowest), min(figure.highest, highest)
    if WALK in figure.pattern:
        yield from _walking(played, progression, turns, meter.bar, low, high)
        return
    line = _Line(low, high, meter)
    turning = frozenset(turns)
    ahead_of: Fraction | None = None  # the change that was anticipated
    said: Chord | None = None  # whose root was heard
    parts = list(struck_again(played, turns))
    for stroke, following in zip(parts, [*parts[1:], *parts[:1]], strict=True):
        time, mark = stroke.time, stroke.mark
        if stroke.goes_on and time == ahead_of:
            # The anticipated root goes on over its change, in one note.
            line.hold(stroke.length)
            continue
        if mark in _AHEAD:
            beat = next_beat(meter, time)
            chord = progression.at(beat)
            ahead_of = beat if stroke.end == beat else None
        else:
            chord, ahead_of = progression.at(time), None
        if chord is None:
            ahead_of = None
            continue
        # Where a figure leaves the change empty, its first note after it says the root.
        new = time in turning or (chord != said and mark != _DEAD)
        if new and mark not in _SAYING:
            mark = _ROOT
        if mark == _APPROACH:
            target = progression.at(stroke.end)
            line.approach(stroke, target or chord, following.mark)
        else:
            line.play(stroke, chord, mark)
        if mark != _DEAD:
            said = chord
    yield from line.tones


def _walking(
    played: Sequence[Stroke],
    progression: Progression,
    turns: Sequence[Fraction],
    bar: Fraction,
    low: int,
    high: int,
) -> Iterator[Tone]:
    """A figure that walks: its line is found as a whole."""
    steps, struck, turning = [], [], frozenset(turns)
    for stroke in struck_again(played, turns):
        chord = progression.at(stroke.time)
        if chord is None:
            continue
        target = progression.at(stroke.end) or chord
        mark = stroke.mark
        if stroke.time in turning:
            mark = _ROOT
        elif mark == WALK and target.bass != chord.bass:
            mark = _APPROACH
        steps.append(Step(stroke.time, mark, chord, target))
        struck.append(stroke)
    for stroke, pitch in zip(struck, walked(steps, bar, low, high), strict=True):
        velocity = _VELOCITIES.get(stroke.mark, _VELOCITY)
        yield Tone(stroke.time, stroke.length, pitch, velocity, BASS)


def _locked(
    played: Sequence[Stroke], step: Fraction, bass_drum: Sequence[Fraction], length: Fraction
) -> Iterator[Stroke]:
    """A note on each stroke of the bass drum; of the figure what lies between, dead notes and the
    way into the next bar kept, the rest left out."""
    struck = set(bass_drum)
    fills = {s.time: s for s in played if s.time not in struck}
    own = {s.time: s.mark for s in played if s.time in struck}
    times = sorted(struck | fills.keys())
    for time, following in zip(times, [*times[1:], length], strict=True):
        if time in struck:
            mark = own.get(time, _LOW)
            mark = _LOW if mark in (_DEAD, _APPROACH) else mark
            yield Stroke(time, min(following - time, _LONGEST_LOCKED * step), mark)
        else:
            fill = fills[time]
            yield Stroke(time, min(following - time, fill.length), fill.mark)


class _Line:
    """A line that goes on from the note it is on."""

    def __init__(self, lowest: int, highest: int, meter: Meter) -> None:
        self.lowest, self.highest = lowest, highest
        self._bar, self._beats = meter.bar, frozenset(meter.beats)
        self.tones: list[Tone] = []
        # Near the bottom: that is where a bass line lives.
        self._middle = lowest + (highest - lowest) / 3
        self._pitch = round(self._middle)

    def play(self, stroke: Stroke, chord: Chord, mark: str) -> None:
        """Strikes the tone of the chord that the mark names."""
        if mark == _DEAD:
            self._add(stroke._replace(length=stroke.length / 2), self._pitch, mark)
            return
        tone = degree(chord, mark)
        pull = _PULL_HOME if mark in _HOMING else _PULL
        if mark == _LOW:
            pitch = self._lowest(tone)
        elif mark == _OCTAVE:
            pitch = self._octave(tone)
        else:
            pitch = self._nearest(tone, pull)
        self._add(stroke, pitch, mark)

    def approach(self, stroke: Stroke, target: Chord, following: str) -> None:
        """A step from the root of the chord to come, not the note just played if it can be."""
        aim = self._lowest(target.bass) if following == _LOW else self._nearest(target.bass)
        steps = [aim - 1, aim + 1, aim - 2, aim + 2]
        fit = [p for p in steps if self.lowest <= p <= self.highest and p != self._pitch]
        # The way there goes on in its direction: from below if the line is below.
        way = 1 if self._pitch <= aim else -1
        pitch = min(fit or [aim], key=lambda p: (abs(p - aim) > 1, (aim - p) * way < 0))
        self._add(stroke, pitch, stroke.mark)

    def hold(self, more: Fraction) -> None:
        """The last tone goes on."""
        last = self.tones[-1]
        self.tones[-1] = Tone(last.time, last.length + more, last.pitch, last.velocity, last.track)

    def _add(self, stroke: Stroke, pitch: int, mark: str) -> None:
        velocity = _VELOCITIES.get(mark, _VELOCITY)
        if mark not in _ACCENTED and stroke.time % self._bar not in self._beats:
            velocity += _OFF_THE_BEAT
        self.tones.append(Tone(stroke.time, stroke.length, pitch, velocity, BASS))
        self._pitch = pitch

    def _nearest(self, pitch_class: int, pull: float = _PULL) -> int:
        """The pitch in range that is near the last one, and not far from the middle."""
        first = self._lowest(pitch_class)
        fit = range(first, self.highest + 1, 12) or range(first, first + 1)
        return min(fit, key=lambda p: abs(p - self._pitch) + pull * abs(p - self._middle))

    def _lowest(self, pitch_class: int) -> int:
        return self.lowest + (pitch_class - self.lowest) % 12

    def _octave(self, pitch_class: int) -> int:
        """An octave above the lowest pitch in range, if there is room."""
        low = self._lowest(pitch_class)
        return low + 12 if low + 12 <= self.highest else low
