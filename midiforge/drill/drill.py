"""A checked drill: every value typed, every name known."""

from collections.abc import Iterator, Mapping
from enum import StrEnum
from fractions import Fraction
from itertools import accumulate, groupby
from types import MappingProxyType
from typing import Any

from midiforge.band.band import Band
from midiforge.frozen import frozen
from midiforge.kits.kit import Kit
from midiforge.model.hit import Limb
from midiforge.model.meter import Meter
from midiforge.model.number import Named
from midiforge.model.number import Span as Numbers
from midiforge.model.piece import SectionKind, Touch, Writing
from midiforge.model.swing import Swing
from midiforge.phrase.every import Every
from midiforge.phrase.pattern import Line
from midiforge.phrase.phrase import Sticking


@frozen
class Ramp:
    """Tempos that change within one exercise: `by` more every `bars` bars."""

    start: Fraction
    end: Fraction
    by: Fraction
    bars: int

    @property
    def tempos(self) -> tuple[Fraction, ...]:
        """The tempo of each step, in pulses a minute."""
        return ladder(self.start, self.end, self.by)


def ladder(start: Fraction, end: Fraction, by: Fraction) -> tuple[Fraction, ...]:
    """Tempos from `start` by steps of `by` up (or down) to `end`, which is always the last."""
    count = abs(end - start) // by
    step = by if end >= start else -by
    tempos = [start + i * step for i in range(count + 1)]
    return (*tempos, end) if tempos[-1] != end else tuple(tempos)


# (limb, strength or "grace" or "") -> voices taken in turn; "" is any strength without its own.
Voicing = Mapping[tuple[Limb, str], tuple[str, ...]]


@frozen
class Span:
    """Some bars of a form: of the exercise, of time, a call or a response."""

    bars: int
    kind: SectionKind


@frozen
class Stage:
    """One way to practise the material.

    limbs: whose hits it keeps.
    layers: whether it keeps the time layers beside the player.
    voicing: laid over the drill's.
    form: spans that repeat; empty for nothing but the exercise.
    groove: what plays in the bars of "time".
    text: what the student is to read.
    """

    name: str
    title: str
    limbs: frozenset[Limb]
    layers: bool
    voicing: Voicing
    form: tuple[Span, ...] = ()
    groove: tuple[Line, ...] = ()
    text: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "voicing", unchanging(self.voicing))


class ShapeKind(StrEnum):
    """How levels change."""

    SWELL = "swell"  # from one to another, again and again
    REPEAT = "repeat"  # every second time through at another


@frozen
class Shape:
    """A change of level over the written bars.

    start, end: levels, 1 as the kit has it. bars: how long a swell is.
    """

    kind: ShapeKind
    start: Fraction
    end: Fraction
    bars: int = 0


@frozen
class Chosen:
    """An exercise that a drill chooses from itself.

    number: the one it has without `running`; of a piece without a letter, all its tempos.
    tempo: pulses a minute; None for its own. repeats: how often it goes round; 0 for the drill's.
    rest: seconds of silence after it, where the lesson is played; it parts pieces.
    """

    number: Named
    tempo: Fraction | None = None
    repeats: int = 0
    rest: int = 0


@frozen
class Practice:
    """When a take is good, and what follows from it; `midiforge.practice.advice` has the rules.

    clean: at least this share of right strokes, 0 to 1.
    steady: at most this standard deviation, in per cent of a grid step.
    takes: so many good ones in a row before the tempo goes up.
    up: by which share of the tempo, such as 1/20; None for the drill's own next tempo.
    days: after which what was not played comes back.
    goal: the tempo at which an exercise is done; None for the drill's fastest.
    first: "placements" for all of them slowly before any gets faster, or "tempo" for one after the
        other to the goal.
    mix: when a plan's turns are short and change often: "later" for once an exercise is safe,
        "always" or "never".
    """

    clean: float = 0.95
    steady: float = 8.0
    takes: int = 2
    up: Fraction | None = Fraction(1, 20)
    days: int = 7
    goal: Fraction | None = None
    first: str = "placements"
    mix: str = "later"


@frozen
class Drill:
    """One idea and how to turn it over. Made by `read_drill` and `check_drill`."""

    source: str  # the file it was read from; "" for none
    title: str
    text: str  # what the student is to read; "" for nothing
    texts: tuple[tuple[tuple[Numbers, ...], str], ...]  # the same with single exercises, as taught
    stickings: tuple[Sticking, ...]
    every: Every | None
    moves: Mapping[str, Any]  # what is wished of each move, by its name
    feet: tuple[Line, ...]
    layers: tuple[Line, ...]
    band: Band
    meter: Meter
    swing: Fraction  # the first note's share of a pair; 1/2 is straight
    swing_pair: Fraction  # the length of the pair, in quarter notes
    tempos: tuple[Fraction, ...]
    ramp: Ramp | None
    count_in: int
    click: str
    click_voices: tuple[str, str]  # on the first beat, on the others
    gap: tuple[int, int] | None
    repeats: int
    shape: Shape | None
    voicing: Voicing
    stages: tuple[Stage, ...]
    drop_swapped: bool
    easiest_first: bool
    kit: Kit
    file_format: int
    touch: Touch
    writing: Writing
    running: tuple[Chosen, ...]  # empty for every exercise, as taught
    practice: Practice
    given: Mapping[str, Any]  # the keys as they were given, those of tables as "table.key"
    notes: tuple[str, ...] = ()  # how what could be read in two ways was read, a line each

    def __post_init__(self) -> None:
        object.__setattr__(self, "voicing", unchanging(self.voicing))
        object.__setattr__(self, "given", unchanging(self.given))
        object.__setattr__(self, "moves", MappingProxyType({**self.moves}))

    @property
    def steps(self) -> tuple[int, ...]:
        """To a beat; empty for what each sticking is usually written in."""
        steps: tuple[int, ...] = self.moves["grid"]
        return steps

    @property
    def feel(self) -> Swing:
        """How it swings."""
        return Swing(self.swing_pair, self.swing, self.meter.bar)

    @property
    def chosen_pieces(self) -> list[tuple[Chosen, ...]]:
        """What `running` names, by the pieces that come of it: what follows itself is one, at
        whatever tempos."""
        rests = accumulate((chosen.rest > 0 for chosen in self.running), initial=0)
        parted = zip(self.running, rests, strict=False)
        groups = groupby(parted, key=lambda it: (it[0].number.piece, it[0].repeats, it[1]))
        return [tuple(chosen for chosen, _ in some) for _, some in groups]

    def material(self) -> Iterator[Sticking]:
        """The stickings, typed and named ones first, then the enumerated ones."""
        yield from self.stickings
        if self.every:
            for phrase in self.every.stickings():
                yield Sticking(phrase, phrase.name)


def unchanging(value: Any) -> Any:
    """A value as it is now, tables and lists inside included, whatever becomes of the original."""
    if isinstance(value, Mapping):
        return MappingProxyType({key: unchanging(each) for key, each in value.items()})
    return tuple(map(unchanging, value)) if isinstance(value, list) else value
