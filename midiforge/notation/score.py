"""An exercise as it is written down: passages of bars, each with its voices.

What is played over and over is written once, with how often it goes round. The hands share the
upper voice and the feet the lower, or all limbs have one voice; time layers and timelines have a
staff of their own above.
"""

from collections.abc import Callable, Iterable, Iterator
from fractions import Fraction

from midiforge.frozen import frozen
from midiforge.library import shelf
from midiforge.model.exercise import Exercise
from midiforge.notation.chords import ChordSign
from midiforge.notation.sign import Sign
from midiforge.notation.swells import Hairpin

HANDS_VOICE, FEET_VOICE = PLAYERS_VOICES = "hands", "feet"
FINEST_FLAGS = 3  # of a thirty-second


@frozen
class Value:
    """A note value: its name, and whether it is dotted."""

    name: str
    dotted: bool = False

    @property
    def flags(self) -> int:
        """How many beams or flags it has."""
        return {"eighth": 1, "16th": 2, "32nd": FINEST_FLAGS}.get(self.name, 0)


@frozen
class Tuplet:
    """`actual` notes in the time of `normal`, each written as a `unit`."""

    actual: int
    normal: int
    unit: str


@frozen
class Head:
    """One notehead of a note or chord.

    hand: whose stroke it is, "R" or "L"; "" for feet and for what no limb plays.
    foot: the foot that strikes it on a place that is not the voice's own, in words; else "".
    """

    sign: Sign
    voice: str
    is_ghost: bool = False
    hand: str = ""
    is_accented: bool = False
    foot: str = ""


@frozen
class Note:
    """A note, a chord or a rest, in its place.

    start, length: in quarter notes, the start from the bar line; the length is the written one.
    mark: "open", "half-open" or "closed", of a hi-hat.
    grace: the noteheads of the grace notes before it, in order.
    rolled: of a measured roll all strokes but the first, each with its time from the bar line.
    is_tied: whether a tie leads to the next note. goes_on: whether one leads to it.
    sticking: the hands that strike, right before left; "" in a voice without one.
    """

    start: Fraction
    length: Fraction
    value: Value
    heads: tuple[Head, ...] = ()
    is_accented: bool = False
    mark: str = ""
    is_buzz: bool = False
    rolled: tuple[tuple[Fraction, Head], ...] = ()
    is_tied: bool = False
    goes_on: bool = False
    grace: tuple[Head, ...] = ()
    is_rest: bool = False

    @property
    def slashes(self) -> int:
        """How many slashes are through its stem: with its beams, one for each of its strokes'."""
        return FINEST_FLAGS - self.value.flags if self.rolled else 0

    def heads_by(self, kind: Callable[[Head], object]) -> Iterable[Head]:
        """One notehead of each kind: of two hands on one surface the louder, as it sounds."""
        louder: dict[object, Head] = {}
        for head in self.heads:
            if kind(head) not in louder or louder[kind(head)].is_ghost:
                louder[kind(head)] = head
        return louder.values()

    @property
    def sticking(self) -> str:
        """The hands that strike it, right before left; "" for none."""
        return "".join(hand for hand in "RL" if any(head.hand == hand for head in self.heads))


@frozen
class Group:
    """A beat of a bar, or a part of one: what is beamed together, or under a tuplet's bracket.

    start, length: in quarter notes, the start from the bar line.
    """

    start: Fraction
    length: Fraction
    tuplet: Tuplet | None
    notes: tuple[Note, ...]

    @property
    def beam(self) -> tuple[int, int] | None:
        """The first and the last note of the beam, by index; None for no beam."""
        beamed = [i for i, note in enumerate(self.notes) if note.value.flags and not note.is_rest]
        if len(beamed) < 2:
            return None
        span = self.notes[beamed[0] : beamed[-1] + 1]
        return None if any(not note.value.flags for note in span) else (beamed[0], beamed[-1])

    @property
    def beams(self) -> tuple[tuple[str, ...], ...]:
        """Each note's part of its beams, from that of eighths inwards.

        "begin", "continue", "end", or for a stub "forward hook" and "backward hook". All but the
        first break at rests and between the parts that the group is read in.
        """
        if self.beam is None:
            return ((),) * len(self.notes)
        first, last = self.beam
        flags = [0 if note.is_rest else note.value.flags for note in self.notes]
        flags = [n if first <= i <= last else 0 for i, n in enumerate(flags)]
        breaks = self._breaks

        def joined(i: int, level: int) -> bool:
            """Whether a beam joins a note with the one before."""
            return level <= min(flags[i - 1], flags[i]) and i not in breaks if i else False

        parts = []
        for i, levels in enumerate(flags):
            outer = "begin" if i == first else "end" if i == last else "continue"
            parts.append((outer,) * (levels > 0))
            for level in range(2, levels + 1):
                before, after = joined(i, level), i < last and joined(i + 1, level)
                if before or after:
                    word = "begin" if not before else "continue" if after else "end"
                else:
                    word = f"{'backward' if self._points_back(i) else 'forward'} hook"
                parts[-1] += (word,)
        return tuple(parts)

    @property
    def _breaks(self) -> frozenset[int]:
        """The notes before which inner beams break: at eighths where there are thirty-seconds, at
        quarters where there are sixteenths (Gould, Behind Bars, from memory)."""
        most = max(note.value.flags for note in self.notes)
        part = Fraction(4, 2**most)
        if self.length <= part or self.length % part:
            return frozenset()
        starts = ((i, (note.start - self.start) / part) for i, note in enumerate(self.notes))
        return frozenset(i for i, place in starts if place.denominator == 1)

    def _points_back(self, i: int) -> bool:
        """Which way a beam for one note alone points: to the note that it makes a whole with."""
        note, beam = self.notes[i], self.beam or (0, 0)
        if i in beam:
            return i == beam[1]
        if (i in self._breaks) != (i + 1 in self._breaks):
            return i + 1 in self._breaks
        plain_length = note.length * 2 / 3 if note.value.dotted else note.length
        return (note.start - self.start) // plain_length % 2 == 1


@frozen
class Voice:
    """One voice of one bar.

    name: "hands" (in one voice with the feet where they take turns), "feet", or the name of a time
        layer or timeline.
    """

    name: str
    groups: tuple[Group, ...]

    @property
    def notes(self) -> Iterator[Note]:
        """Its notes and rests, in order."""
        for group in self.groups:
            yield from group.notes

    @property
    def is_silent(self) -> bool:
        """Whether it has nothing but rests."""
        return all(note.is_rest for note in self.notes)


@frozen
class Bar:
    """A written bar.

    number: from 1, as in the exercise.
    words: what is to be said above it.
    is_repeat: whether its strokes are those of the one before, so that a sign can stand for it.
    chords: what others play to it, from the bar line on; none where nobody plays chords.
    repeats_chords: whether they are those of the bar before too.
    hairpin: what it has of a crescendo or diminuendo.
    counts: what is counted aloud in it, each with its time from the bar line.
    """

    number: int
    voices: tuple[Voice, ...]
    words: str = ""
    is_repeat: bool = False
    chords: tuple[ChordSign, ...] = ()
    repeats_chords: bool = False
    hairpin: Hairpin | None = None
    counts: tuple[tuple[Fraction, str], ...] = ()

    def voice(self, name: str) -> Voice | None:
        """One of its voices, if there."""
        return next((voice for voice in self.voices if voice.name == name), None)


@frozen
class Passage:
    """Bars that are played `times` times."""

    bars: tuple[Bar, ...]
    times: int = 1


@frozen
class Score:
    """An exercise as written; exercises that differ only in tempo are one score.

    exercises: at its tempos, in order.
    above: what is written above the player's staff, time layers and timelines of the band: the
        names of their voices.
    """

    exercises: tuple[Exercise, ...]
    passages: tuple[Passage, ...]
    above: tuple[str, ...]

    @property
    def exercise(self) -> Exercise:
        """The exercise at its first tempo; what is written is that of all."""
        return self.exercises[0]

    @property
    def loop(self) -> Passage:
        """What goes round: it stands between repeat signs, however often it is played."""
        return self.passages[-1]

    @property
    def bars(self) -> Iterator[Bar]:
        """Every written bar, in order."""
        for passage in self.passages:
            yield from passage.bars

    def title_above(self, name: str) -> str:
        """The title of one of `above`; a typed pattern as it is."""
        titles = {member.name: member.title for member in self.exercise.band}
        known = shelf.ostinatos().get(name)
        return titles.get(name) or (known.title if known else name)

    def heads(self, *voices: str) -> Iterator[Head]:
        """Every notehead of some voices, grace notes too, bar by bar."""
        for bar in self.bars:
            for voice in filter(None, map(bar.voice, voices)):
                for note in voice.notes:
                    yield from (*note.heads, *note.grace)
