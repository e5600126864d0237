"""The bass line: a style's figure on the roots and fifths of a progression."""

from collections.abc import Iterator, Sequence
from fractions import Fraction

from midiforge.band.chord import Chord
from midiforge.band.figures import Stroke, next_beat, over, struck_again
from midiforge.band.progression import Progression
from midiforge.band.walking import WALK, Step, degree, walked
from midiforge.library.band import Figure
from midiforge.model.band import Tone
from midiforge.model.meter import Meter

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
_WITH_DRUM, _BESIDE_DRUM = 92, -8  # at least so loud with it; so much softer where it is silent
_LEAN = 6  # how much louder a walking bass is on the even beats


def bass_line(
    figure: Figure,
    progression: Progression,
    form: Fraction,
    meter: Meter,
    length: Fraction,
    lowest: int,
    highest: int,
    bass_drum: Sequence[Fraction] = (),
) -> Iterator[Tone]:
    """The tones of a bass over `length` quarter notes.

    form: after how many quarter notes the figure is begun anew.
    lowest, highest: what the instrument has; the figure's own range is kept within it.
    bass_drum: strokes to lock to, rising; each is struck with.
    """
    played = list(over(figure, form, length))
    if bass_drum:
        played = list(_locked(played, figure.step, bass_drum, length))
    turns = progression.turns(length)
    low, high = max(figure.lowest, lowest), min(figure.highest, highest)
    if WALK in figure.pattern:
        yield from _walking(played, progression, turns, meter, low, high)
        return
    line = _Line(low, high, meter, frozenset(bass_drum))
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
        if mark in _AHEAD and not stroke.at_top:
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
    meter: Meter,
    low: int,
    high: int,
) -> Iterator[Tone]:
    """A figure that walks: its line is found as a whole."""
    steps, struck, turning = [], [], frozenset(turns)
    first = Fraction(0)
    for stroke in struck_again(played, turns):
        chord = progression.at(stroke.time)
        if chord is None:
            continue
        target = progression.at(stroke.end) or chord
        mark = stroke.mark
        if stroke.time in turning:
            mark, first = _ROOT, stroke.time
        elif mark == WALK and target.bass != chord.bass:
            mark = _APPROACH
        brief = mark == _APPROACH and stroke.end - first < meter.bar
        steps.append(Step(stroke.time, mark, chord, target, brief))
        struck.append(stroke)
    evens = frozenset(meter.beats[1::2] if len(meter.beats) % 2 == 0 else ())
    for stroke, pitch in zip(struck, walked(steps, meter.bar, low, high), strict=True):
        velocity = _VELOCITIES.get(stroke.mark, _VELOCITY)
        velocity += _LEAN * (stroke.time % meter.bar in evens)
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
    """A line that goes on from the note it is on.

    locked_to: the strokes of the bass drum, if it goes with them.
    """

    def __init__(
        self, lowest: int, highest: int, meter: Meter, locked_to: frozenset[Fraction]
    ) -> None:
        self.lowest, self.highest = lowest, highest
        self._bar, self._beats, self._drum = meter.bar, frozenset(meter.beats), locked_to
        self.tones: list[Tone] = []
        # Near the bottom: that is where a bass line lives.
        self._middle = lowest + (highest - lowest) / 3
        self._pitch = round(self._middle)
        self._root: int | None = None  # the one played last

    def play(self, stroke: Stroke, chord: Chord, mark: str) -> None:
        """Strikes the tone of the chord that the mark names."""
        if mark == _DEAD:
            # What is heard of its pitch is then the chord's.
            low = self._lowest(chord.bass)
            self._add(stroke._replace(length=stroke.length / 2), low, mark)
            return
        tone = degree(chord, mark)
        pull = _PULL_HOME if mark in _HOMING else _PULL
        if mark == _LOW:
            pitch = self._lowest(tone)
        elif mark == _OCTAVE:
            pitch = self._octave(tone)
        else:
            pitch = self._nearest(tone, pull)
        if tone == chord.bass and mark != _OCTAVE:
            self._root = pitch
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
        if self._drum and mark != _DEAD:
            with_it = stroke.time in self._drum
            velocity = max(velocity, _WITH_DRUM) if with_it else velocity + _BESIDE_DRUM
        self.tones.append(Tone(stroke.time, stroke.length, pitch, velocity, BASS))
        if mark != _DEAD:
            self._pitch = pitch

    def _nearest(self, pitch_class: int, pull: float = _PULL) -> int:
        """The pitch in range that is near the last one, and not far from the middle."""
        first = self._lowest(pitch_class)
        fit = range(first, self.highest + 1, 12) or range(first, first + 1)
        return min(fit, key=lambda p: abs(p - self._pitch) + pull * abs(p - self._middle))

    def _lowest(self, pitch_class: int) -> int:
        return self.lowest + (pitch_class - self.lowest) % 12

    def _octave(self, pitch_class: int) -> int:
        """An octave above the root that was played, or below it if there is no room."""
        root = self._root
        if root is None or root % 12 != pitch_class:
            root = self._lowest(pitch_class)
        return next(
            p for p in (root + 12, root - 12, root) if self.lowest <= p <= self.highest or p == root
        )
