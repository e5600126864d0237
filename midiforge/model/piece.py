"""A piece: music that is the same at every tempo, and everything an output needs to know of it."""

from bisect import bisect_right
from dataclasses import replace
from enum import StrEnum
from fractions import Fraction
from itertools import takewhile
from operator import itemgetter

from midiforge.errors import shortened
from midiforge.frozen import frozen
from midiforge.model.band import ChordMark, Member, Tone
from midiforge.model.hit import Hit, Limb
from midiforge.model.meter import Meter
from midiforge.model.swing import Swing


class SectionKind(StrEnum):
    """What a stretch of an exercise is for."""

    COUNT_IN = "count-in"
    ENTRY = "entry"  # the first time through of a late entry
    EXERCISE = "exercise"
    TIME = "time"  # bars of timekeeping
    CALL = "call"
    RESPONSE = "response"
    TEMPO = "tempo"  # a step of a ramp


@frozen
class Section:
    """A stretch of an exercise.

    start, length: in quarter notes.
    """

    kind: SectionKind
    title: str
    start: Fraction
    length: Fraction


@frozen
class Moved:
    """What one move did, and how that is told: in titles, on pages, in the index, to the log.

    move: its name. value: what tells one of its ways from the others; it is kept for years.
    of_feet: whether it moved the feet; else the sticking. limbs: those that it moved, if it was not
        all of either.
    begins: whether it says only where something begins. count: where, as a count.
    name: behind the sticking in a title, "from 1e". aside: after a comma, "left lead".
    does: what the sticking does, "begins on the e of 1". manner: how, "with accents on 1 and 4".
    sentence: of its own, "The feet begin on 2." All "" where there is nothing to say.
    columns: of the index, with what stands there.
    thing: what it changes, "where the sticking begins"; moves that change the same have the same.
    usual: what it is called beside its other ways where a title leaves it out, "forward".
    """

    move: str
    value: str | int | None
    of_feet: bool = False
    begins: bool = False
    count: str = ""
    name: str = ""
    aside: str = ""
    does: str = ""
    manner: str = ""
    sentence: str = ""
    columns: tuple[tuple[str, str], ...] = ()
    limbs: frozenset[Limb] = frozenset()
    thing: str = ""
    usual: str = ""


@frozen
class Variant:
    """How the material of a piece was moved.

    sticking: its name, or its letters as typed; "" where none is shown. said: as titles have it,
        or what the feet play where there is none.
    lead: the hand of its first stroke, "R" or "L"; "" where no hand plays.
    moves: what each move did, in order.
    """

    sticking: str = ""
    said: str = ""
    lead: str = ""
    moves: tuple[Moved, ...] = ()

    def moved(self, move: str) -> Moved:
        """What a move did; nothing, if it is not among those shown."""
        return next((moved for moved in self.moves if moved.move == move), Moved(move, None))

    @property
    def columns(self) -> dict[str, str]:
        """The columns of the index, of all moves."""
        return {column: text for moved in self.moves for column, text in moved.columns}

    def __str__(self) -> str:
        """In words, such as "RLRR LRLL from 1e, accents on the beats"."""
        if self.sticking:
            first = [shortened(self.said), *(moved.name for moved in self.moves)]
            asides = [moved.aside for moved in self.moves]
        else:
            begun = [moved for moved in self.moves if moved.begins and moved.aside]
            first = [self.said, *(f"from {moved.count}" for moved in begun)]
            asides = [moved.aside for moved in self.moves if not moved.begins]
        return ", ".join(filter(None, (" ".join(filter(None, first)), *asides)))

    def without(self, thing: str) -> "Variant":
        """The variant but for the moves that change this thing."""
        return replace(self, moves=tuple(moved for moved in self.moves if moved.thing != thing))

    def way(self, thing: str) -> str:
        """Which of the ways that a thing can be changed it has: "from 1e", "backward"."""
        told = [moved for moved in self.moves if moved.thing == thing]
        said = [moved.name or moved.aside for moved in told] + [moved.usual for moved in told]
        return next(filter(None, said), "as written")


@frozen
class Dynamics:
    """A level over time that scales velocities.

    points: (time in quarter notes, level), 1 meaning as the kit has it; straight lines between
        them; a step is two points at one time.
    """

    points: tuple[tuple[Fraction, Fraction], ...] = ()

    def level(self, time: Fraction) -> Fraction:
        """The level at `time`; at a step, the one after it."""
        if not self.points:
            return Fraction(1)
        i = bisect_right(self.points, time, key=itemgetter(0))
        if i in (0, len(self.points)):
            return self.points[max(i - 1, 0)][1]
        (start, level), (end, last) = self.points[i - 1], self.points[i]
        return level + (time - start) / (end - start) * (last - level)


@frozen
class Touch:
    """How strokes are played.

    flam_ms: how long before its stroke a flam's grace note comes.
    drag_ms: how far apart the notes of a drag or ruff are.
    timing_ms, velocity: standard deviations of a seeded unevenness; 0 for none.
    """

    flam_ms: float = 30.0
    drag_ms: float = 35.0
    timing_ms: float = 0.0
    velocity: float = 0.0
    seed: int = 1


@frozen
class Writing:
    """How a piece is written down; it sounds the same.

    voices: hands and feet in "one" voice, in "two", or as is "usual": in one where they take
        turns.
    rolls: measured ones as "slashes" through stems, or all of their "strokes".
    """

    voices: str = "usual"
    rolls: str = "slashes"


@frozen
class Piece:
    """Music that is the same at every tempo; times and lengths are in quarter notes, exact.

    Time 0 is its first downbeat; the count-in lies before it, the loop ends at `length`.

    number: in the lesson, from 1; 0 for a piece of none.
    stage: "feet", "hands", "full" or one of the drill's own.
    title: what a person calls it; ending: what stands in it behind the variant.
    feet: what the feet play, in words, without their partners; "" for nothing. feet_logged: the
        same as logs have had it from the first.
    hands: what a hand repeats beside the sticking, "right hand: Jazz ride"; "" for nothing.
    step: one step of the grid that the phrase moves on.
    hits: what sounds, by time, count-in and click included.
    answers: what the player is expected to play where the piece leaves room (response bars).
    sections: in order, the count-in first if there is one.
    returns_after_bars: after how many bars phrase, ostinatos and bar line meet again.
    bars: how many are written, without count-in.
    loop_start: where the seam leads back to; 0 unless the phrase enters late.
    parts: into how many equal parts a quarter note must be divided for every time of the whole
        lesson, as played, to fall on one.
    repeats: how often the drill has its loop go round in it.
    text: what the student is to read with it, beside what it says itself; "" for nothing.
    band: its members, percussion first; the hits of percussion are in `hits`, `tones` has what
        others play, by time; chords: what they play it to, from 0 to `length`.
    """

    stage: str
    title: str
    variant: Variant
    feet: str
    meter: Meter
    step: Fraction
    swing: Swing
    hits: tuple[Hit, ...]
    answers: tuple[Hit, ...]
    sections: tuple[Section, ...]
    count_in_bars: int
    bars: int
    returns_after_bars: int
    loop_start: Fraction
    dynamics: Dynamics
    touch: Touch
    parts: int
    number: int = 0
    band: tuple[Member, ...] = ()
    tones: tuple[Tone, ...] = ()
    chords: tuple[ChordMark, ...] = ()
    hands: str = ""
    text: str = ""
    repeats: int = 1
    writing: Writing = Writing()
    ending: str = ""
    feet_logged: str = ""

    @property
    def count_in(self) -> Fraction:
        """Length of the count-in."""
        return self.count_in_bars * self.meter.bar

    @property
    def length(self) -> Fraction:
        """From the first downbeat to the end of the loop."""
        return self.bars * self.meter.bar

    @property
    def loop_length(self) -> Fraction:
        """Once round the loop."""
        return self.length - self.loop_start

    @property
    def loop_bar(self) -> int:
        """The bar, from 0, that the seam leads back to."""
        return int(self.loop_start / self.meter.bar)

    @property
    def leads_back(self) -> bool:
        """Whether grace notes of the loop's first stroke lie before its end."""
        start = self.loop_start
        until = takewhile(lambda hit: hit.time <= start, self.hits)
        return any(hit.ornament and hit.ornament.grace_notes for hit in until if hit.time == start)

    @property
    def loop_bars(self) -> int:
        """How many bars once round the loop has."""
        return self.bars - self.loop_bar
