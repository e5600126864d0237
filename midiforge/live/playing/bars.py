"""An exercise as bars of moments: what is sent together, and when in the bar."""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import groupby
from operator import itemgetter

from midiforge.frozen import frozen
from midiforge.kits.kit import Kit
from midiforge.live.playing.layers import CHORDS, LAYERS
from midiforge.model.exercise import Exercise
from midiforge.model.hit import CLICK
from midiforge.model.tempo import TempoMap
from midiforge.performance.notes import held, notes, part_layer
from midiforge.performance.seam import Round, Seam

SLOWEST, FASTEST = Fraction(10), Fraction(500)  # pulses a minute


@frozen
class NoteOn:
    """One note on.

    seam: whether it leads back over the seam (a grace note), and is left out the last time.
    channel: 1 to 16; 0 for the kit's.
    hold: quarter notes until its note off; None for drum sounds, which do not listen to it.
    """

    layer: str
    number: int
    velocity: int
    seam: bool = False
    channel: int = 0
    hold: float | None = None


@frozen
class Moment:
    """What is sent together, the drums first, the loudest and lowest of them before the others;
    `at` quarter notes from the bar line."""

    at: float
    notes: tuple[NoteOn, ...]


@frozen
class Bar:
    """One bar to play.

    number: from 0; below 0 in the count-in.
    length: in quarter notes; quarter: how long one lasts, in nanoseconds, exact.
    """

    number: int
    length: Fraction
    tempo: Fraction
    quarter: Fraction
    moments: tuple[Moment, ...]


@frozen
class PlayableExercise:
    """An exercise ready to be played: its bars, the count-in's first.

    layers: those that it has.
    clicked: the click of a bar, for counting in again; empty if it has none anywhere.
    """

    exercise: Exercise
    bars: tuple[Bar, ...]
    layers: tuple[str, ...] = ()
    clicked: tuple[Moment, ...] = ()

    def bar(self, number: int) -> Bar:
        return self.bars[number - self.first]

    def counted_in(self, bar: Bar) -> tuple[Bar, ...]:
        """What counts in a bar in its midst: as many bars as before the first, but one at least,
        at that bar's tempo; none if there is no click to count with."""
        many = max(-self.first, 1) if self.clicked else 0
        return tuple(replace(bar, number=i - many, moments=self.clicked) for i in range(many))

    @property
    def first(self) -> int:
        """The number of the first bar, below 0 if there is a count-in."""
        return self.bars[0].number

    @property
    def last(self) -> int:
        """The number of the last bar."""
        return self.bars[-1].number


def playable(
    exercise: Exercise,
    kit: Kit,
    faster: Fraction = Fraction(0),
    band: Kit | None = None,
) -> PlayableExercise:
    """The exercise as bars for `kit`, at tempos raised by `faster` pulses a minute.

    band: whose notes the band's percussion is played with, if not the kit's.
    """
    exercise = at_tempo(exercise, faster)
    length = exercise.meter.bar
    first = -exercise.count_in_bars
    seam = Seam(exercise)
    placed: dict[int, list[tuple[float, NoteOn]]] = {}
    for note in notes(exercise, kit, band=band):
        number, at = divmod(seam.place(note), float(length))
        note_on = NoteOn(part_layer(note.part), note.number, note.velocity, note.when is Round.SEAM)
        placed.setdefault(int(number), []).append((at, note_on))
    for time, note_on in _tones(exercise):
        number, within = divmod(time, length)
        placed.setdefault(number, []).append((float(within), note_on))
    basses = {kit.notes[voice] for voice in _BASS_DRUMS if voice in kit.notes}
    bars = []
    for number in range(first, exercise.bars):
        tempo = exercise.tempo.at(number * length)
        quarter = Fraction(60_000_000_000) / (tempo * exercise.tempo.pulse)
        moments = tuple(_moments(placed.get(number, []), basses))
        bars.append(Bar(number, length, tempo, quarter, moments))
    sounding = {note_on.layer for in_bar in placed.values() for _, note_on in in_bar}
    layers = tuple(layer for layer in LAYERS if layer in sounding)
    clicks = (tuple(moments_of(bar.moments, CLICK)) for bar in bars)
    clicked = next(filter(None, clicks), ())
    return PlayableExercise(exercise, tuple(bars), layers, clicked)


def moments_of(moments: Iterable[Moment], layer: str) -> Iterator[Moment]:
    """The moments of one layer alone."""
    for moment in moments:
        if notes := tuple(note for note in moment.notes if note.layer == layer):
            yield Moment(moment.at, notes)


def at_tempo(exercise: Exercise, faster: Fraction) -> Exercise:
    """The exercise at tempos raised by `faster` pulses a minute."""
    if not faster:
        return exercise
    tempo = exercise.tempo
    changes = tuple((t, max(SLOWEST, min(FASTEST, bpm + faster))) for t, bpm in tempo.changes)
    return replace(exercise, tempo=TempoMap(tempo.pulse, changes))


def _tones(exercise: Exercise) -> Iterator[tuple[Fraction, NoteOn]]:
    """What is held, and when it begins."""
    layers = {member.name: part_layer(member.kind) for member in exercise.band}
    for tone in held(exercise):
        layer, hold = layers[tone.member], float(max(tone.end - tone.time, _LEAST_HOLD))
        yield tone.time, NoteOn(layer, tone.pitch, tone.velocity, False, tone.channel, hold)


def _moments(placed: list[tuple[float, NoteOn]], basses: set[int]) -> Iterator[Moment]:
    placed.sort(key=itemgetter(0))
    for at, group in groupby(placed, key=itemgetter(0)):
        # A cable carries one after the other: the bass drum and accents must not wait.
        note_ons = [note_on for _, note_on in group]
        note_ons.sort(key=lambda on: (-on.velocity, on.number))
        note_ons.sort(
            key=lambda on: (on.hold is not None, on.layer == CHORDS, on.number not in basses)
        )
        yield Moment(at, tuple(note_ons))


_BASS_DRUMS = ("bass-drum", "bass-drum-2")
_LEAST_HOLD = Fraction(1, 1000)  # quarter notes
