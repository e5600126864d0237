"""The bass line: a style's figure on the roots and fifths of a progression."""

from collections.abc import Iterator, Sequence
from fractions import Fraction

from midiforge.accompaniment.chord import Chord
from midiforge.accompaniment.progression import Progression
from midiforge.accompaniment.strokes import Stroke, next_beat, over, struck_again
from midiforge.library.players import Figure
from midiforge.model.meter import Meter
from midiforge.model.track import Tone

BASS = "bass"

_AHEAD = "nN"  # marks that play the chord of the next beat
_APPROACH, _DEAD, _ROOT, _OCTAVE = "a", "x", "1", "8"
_VELOCITIES = {"R": 94, "N": 94, "1": 85, "n": 85, "5": 82, "8": 84, "x": 48}
_VELOCITY = 78
# Towards the middle of the range, against a semitone that the line moves; roots come home.
_PULL, _PULL_OF_ROOTS = 0.3, 0.8
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
    played = list(over(figure.pattern, figure.step, length))
    if bass_drum:
        played = list(_locked(played, figure.step, bass_drum, length))
    turns = progression.turns(length)
    line = _Line(max(figure.lowest, lowest), min(figure.highest, highest))
    turning = frozenset(turns)
    ahead_of: Fraction | None = None  # the change that was anticipated
    for stroke in struck_again(played, turns):
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
        new = time in turning
        if mark == _APPROACH and not new:
            target = progression.at(stroke.end)
            line.approach(stroke, target or chord)
        else:
            line.play(stroke, chord, _ROOT if new and mark not in "R8x" else mark)
    yield from line.tones


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
            mark = own.get(time, _ROOT)
            mark = _ROOT if mark in (_DEAD, _APPROACH) else mark
            yield Stroke(time, min(following - time, _LONGEST_LOCKED * step), mark)
        else:
            fill = fills[time]
            yield Stroke(time, min(following - time, fill.length), fill.mark)


class _Line:
    """A line that goes on from the note it is on."""

    def __init__(self, lowest: int, highest: int) -> None:
        self.lowest, self.highest = lowest, highest
        self.tones: list[Tone] = []
        # Near the bottom: that is where a bass line lives.
        self._middle = lowest + (highest - lowest) / 3
        self._pitch = round(self._middle)

    def play(self, stroke: Stroke, chord: Chord, mark: str) -> None:
        """Strikes the tone of the chord that the mark names."""
        if mark == _DEAD:
            self._add(stroke._replace(length=stroke.length / 2), self._pitch, mark)
            return
        root = chord.bass if mark in "1RnN" else chord.root
        above = {"3": chord.third, "5": chord.fifth, "7": chord.seventh}.get(mark, 0)
        pull = _PULL_OF_ROOTS if mark in "1RnN" else _PULL
        pitch = self._nearest((root + above) % 12, pull)
        if mark == _OCTAVE:
            pitch = self._octave(chord.root)
        self._add(stroke, pitch, mark)

    def approach(self, stroke: Stroke, target: Chord) -> None:
        """A step from the root of the chord to come, not the note just played if it can be."""
        aim = self._nearest(target.bass)
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
        self.tones.append(Tone(stroke.time, stroke.length, pitch, velocity, BASS))
        self._pitch = pitch

    def _nearest(self, pitch_class: int, pull: float = _PULL) -> int:
        """The pitch in range that is near the last one, and not far from the middle."""
        first = self.lowest + (pitch_class - self.lowest) % 12
        fit = range(first, self.highest + 1, 12) or range(first, first + 1)
        return min(fit, key=lambda p: abs(p - self._pitch) + pull * abs(p - self._middle))

    def _octave(self, pitch_class: int) -> int:
        """An octave above the lower one of the pitches in range, if there is room."""
        low = self._nearest(pitch_class)
        return low + 12 if low + 12 <= self.highest else max(low - 12, self.lowest)
