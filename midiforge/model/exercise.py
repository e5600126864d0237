"""An exercise: everything an output needs to know, and nothing it has to work out."""

from bisect import bisect_right
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from operator import itemgetter

from midiforge.model.band import ChordMark, Tone, Track
from midiforge.model.hit import Hit
from midiforge.model.meter import Meter
from midiforge.model.number import Number
from midiforge.model.swing import Swing
from midiforge.model.tempo import TempoMap


class SectionKind(StrEnum):
    """What a stretch of an exercise is for."""

    COUNT_IN = "count-in"
    ENTRY = "entry"  # the first time through of a late entry
    EXERCISE = "exercise"
    TIME = "time"  # bars of timekeeping
    CALL = "call"
    RESPONSE = "response"
    TEMPO = "tempo"  # a step of a ramp


@dataclass(frozen=True, slots=True)
class Section:
    """A stretch of an exercise.

    start, length: in quarter notes.
    """

    kind: SectionKind
    title: str
    start: Fraction
    length: Fraction


@dataclass(frozen=True, slots=True)
class Variant:
    """How the material of an exercise was moved.

    sticking: its name, or its letters as typed; `sticking_said`: its letters where the other hand
        leads, else ""; `grid`: "in triplets", where its drill has several.
    placement: grid steps by which the phrase starts late; `placement_name` as a count.
    accents: where they come from, typed ones as typed; `accents_said`: where they stand, "accents
        on 1 1a 2&", "" where they go with the sticking; `accent_placement` None when they do,
        `accent_placement_name` as a count.
    lead: the hand of the first stroke, "R" or "L"; "" where no hand plays; `lead_said`: "left
        lead", "" where it is the sticking's own and the drill has no other.
    feet_placement: grid steps by which the feet start late; its name as a count.
    """

    sticking: str
    placement: int = 0
    placement_name: str = "1"
    accents: str = "own"
    accent_placement: int | None = None
    accent_placement_name: str = ""
    lead: str = ""
    swapped: bool = False
    backward: bool = False
    feet_placement: int = 0
    feet_placement_name: str = ""
    accents_said: str = ""
    sticking_said: str = ""
    lead_said: str = ""
    grid: str = ""


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True, slots=True)
class Exercise:
    """One exercise at one tempo; times and lengths are in quarter notes, exact.

    Time 0 is its first downbeat; the count-in lies before it, the loop ends at `length`.

    number: in the lesson, "3" or "3b"; see `midiforge.model.number`.
    stage: "feet", "hands", "full" or one of the drill's own.
    title: what a person calls it.
    feet: what the feet play, in words, without their partners; "" for nothing.
    hands: what a hand repeats beside the sticking, "right hand: Jazz ride"; "" for nothing.
    step: one step of the grid that the phrase moves on.
    hits: what sounds, by time, count-in and click included.
    answers: what the player is expected to play where the exercise leaves room (response bars).
    sections: in order, the count-in first if there is one.
    returns_after_bars: after how many bars phrase, ostinatos and bar line meet again.
    bars: how many are written, without count-in.
    loop_start: where the seam leads back to; 0 unless the phrase enters late.
    parts: into how many equal parts a quarter note must be divided for every time of the whole
        lesson, as played, to fall on one.
    repeats: how often the drill has its loop go round in it.
    text: what the student is to read with it, beside what it says itself; "" for nothing.
    tracks: who plays beside the drummer, percussion first; the hits of percussion are in `hits`,
        `tones` has what others play, by time; chords: what they play it to, from 0 to `length`.
    """

    number: Number
    stage: str
    title: str
    variant: Variant
    feet: str
    meter: Meter
    step: Fraction
    swing: Swing
    tempo: TempoMap
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
    tracks: tuple[Track, ...] = ()
    tones: tuple[Tone, ...] = ()
    chords: tuple[ChordMark, ...] = ()
    hands: str = ""
    text: str = ""
    repeats: int = 1

    @property
    def count_in(self) -> Fraction:
        """Length of the count-in."""
        return self.count_in_bars * self.meter.bar

    @property
    def length(self) -> Fraction:
        """From the first downbeat to the end of the loop."""
        return self.bars * self.meter.bar

    @property
    def seconds(self) -> Fraction:
        """How long it lasts, count-in included."""
        return self.tempo.seconds(-self.count_in, self.length)
