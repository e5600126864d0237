"""An exercise: a piece at a tempo."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import groupby
from operator import attrgetter
from typing import Any, Generic, TypeVar

from midiforge.frozen import frozen
from midiforge.model.band import ChordMark, Member, Tone
from midiforge.model.hit import Hit
from midiforge.model.meter import Meter
from midiforge.model.number import Number, numbers_of
from midiforge.model.piece import Dynamics, Piece, Section, Touch, Variant
from midiforge.model.swing import Swing
from midiforge.model.tempo import TempoMap

T = TypeVar("T")


class _Its(Generic[T]):
    """What an exercise has from its piece, under the same name."""

    def __set_name__(self, _: type, name: str) -> None:
        self.name = name

    def __get__(self, exercise: Any, _: type) -> T:
        value: T = getattr(exercise.piece, self.name)
        return value


@frozen
class Exercise:
    """One piece at one tempo; all that its piece has can be asked of it.

    number: in the lesson, "3" or "3b"; see `midiforge.model.number`.
    """

    piece: Piece
    number: Number
    tempo: TempoMap

    stage = _Its[str]()
    title = _Its[str]()
    ending = _Its[str]()
    variant = _Its[Variant]()
    feet = _Its[str]()
    feet_logged = _Its[str]()
    hands = _Its[str]()
    meter = _Its[Meter]()
    step = _Its[Fraction]()
    swing = _Its[Swing]()
    hits = _Its[tuple[Hit, ...]]()
    answers = _Its[tuple[Hit, ...]]()
    sections = _Its[tuple[Section, ...]]()
    count_in_bars = _Its[int]()
    count_in = _Its[Fraction]()
    bars = _Its[int]()
    length = _Its[Fraction]()
    returns_after_bars = _Its[int]()
    loop_start = _Its[Fraction]()
    loop_length = _Its[Fraction]()
    loop_bar = _Its[int]()
    loop_bars = _Its[int]()
    leads_back = _Its[bool]()
    dynamics = _Its[Dynamics]()
    touch = _Its[Touch]()
    parts = _Its[int]()
    band = _Its[tuple[Member, ...]]()
    tones = _Its[tuple[Tone, ...]]()
    chords = _Its[tuple[ChordMark, ...]]()
    text = _Its[str]()
    repeats = _Its[int]()

    @property
    def seconds(self) -> Fraction:
        """How long it lasts, count-in included."""
        return self.tempo.seconds(-self.count_in, self.length)

    @property
    def lead_seconds(self) -> Fraction:
        """How long it is until its loop begins: count-in and late entry."""
        return self.tempo.seconds(-self.count_in, self.loop_start)

    @property
    def loop_seconds(self) -> Fraction:
        """How long its loop lasts, once round."""
        return self.tempo.seconds(self.loop_start, self.length)

    def lasting(self, times: int) -> Fraction:
        """How many seconds it lasts if its loop goes round so many times, count-in included."""
        return self.lead_seconds + times * self.loop_seconds

    @property
    def tempo_said(self) -> str:
        """Its tempo behind its letter, where its piece has several: "b 76", "60 to 84"."""
        return f"{self.number.letter} {self.pulses_said}".lstrip()

    @property
    def pulses_said(self) -> str:
        """The same without its letter."""
        return str(self.tempo).removesuffix(" bpm")

    def changed(self, **values: Any) -> "Exercise":
        """The exercise with other values: `number` and `tempo` its own, all others its piece's."""
        own = {name: values.pop(name) for name in ("number", "tempo") if name in values}
        return replace(self, piece=replace(self.piece, **values) if values else self.piece, **own)


def at_tempos(piece: Piece, tempos: Sequence[TempoMap]) -> tuple[Exercise, ...]:
    """The exercises that a piece makes, one for each tempo, numbered in their order."""
    numbers = numbers_of(piece.number, len(tempos))
    return tuple(Exercise(piece, *own) for own in zip(numbers, tempos, strict=True))


def by_piece(exercises: Iterable[Exercise]) -> Iterator[tuple[Exercise, ...]]:
    """Exercises in running order, those of one piece together."""
    return (tuple(some) for _, some in groupby(exercises, key=attrgetter("piece")))


def fastest(exercises: Iterable[Exercise]) -> Exercise:
    """The exercise that gets fastest."""
    return max(exercises, key=lambda exercise: exercise.tempo.last)


def nearest_tempo(exercises: Iterable[Exercise], tempo: float, nearer: float = 0.0) -> Exercise:
    """The exercise whose tempo is nearest; the first of several.

    tempo: in pulses a minute. nearer: tempos that differ less, as a share, are one.
    """

    def away(exercise: Exercise) -> float:
        apart = abs(float(exercise.tempo.first) / tempo - 1)
        return round(apart / nearer) if nearer else apart

    return min(exercises, key=away)
