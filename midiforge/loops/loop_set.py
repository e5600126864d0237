"""Which loops come from a drill."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction
from math import ceil

from midiforge.drill.drill import Drill
from midiforge.errors import MidiforgeError, WrongArgument, nearest, quoted
from midiforge.frozen import frozen
from midiforge.insight.words import listed
from midiforge.lesson.lesson import Lesson
from midiforge.lesson.sameness import digest, hits_text
from midiforge.loops.ladder import ladder
from midiforge.loops.leave_out import LEAVE_OUTS, with_gaps
from midiforge.model.exercise import Exercise
from midiforge.model.hit import CLICK
from midiforge.model.number import Number
from midiforge.model.rounds import COUNT_IN, bare, one_section

GAPS, LADDER = "gaps", "ladder"
KINDS = (*LEAVE_OUTS, GAPS, LADDER)
MOST_MINUTES = 60
USUAL_GAPS = (2, 2)  # bars with sound, bars without, where the drill has none


@frozen
class Loop:
    """Something to play along with.

    kind: what is left out, parts joined by +, such as "without-drums+gaps".
    exercise: once through, behind its count-in if it has one. times: how often it goes round.
    numbers: of the exercises that it goes with.
    closes: whether its end leads back to its beginning; a ladder's does not.
    same_as: the number, from 0, of an earlier loop that is the same; None for a new one.
    """

    kind: str
    exercise: Exercise
    times: int
    numbers: tuple[Number, ...]
    closes: bool
    same_as: int | None = None

    @property
    def seconds(self) -> Fraction:
        """How long it lasts, count-in included."""
        return self.exercise.lasting(self.times)


@frozen
class Shape:
    """How loops are made.

    kinds: what is wanted, as `Loop.kind`. ladder_bars: at least so many at each tempo.
    minutes: how long a loop lasts at least; 0 for as long as it must.
    count_in: whether each begins with the drill's count-in; it loops behind that.
    Raises MidiforgeError for a kind that is none.
    """

    kinds: tuple[str, ...] = KINDS
    ladder_bars: int = 0
    minutes: float = 0
    count_in: bool = False

    def __post_init__(self) -> None:
        read_kinds(",".join(self.kinds))
        if not 0 <= self.minutes <= MOST_MINUTES:
            raise WrongArgument(
                f"{self.minutes:g} is no length of a loop", "minutes", hint=f"0 to {MOST_MINUTES}"
            )


def read_kinds(text: str) -> tuple[str, ...]:
    """What is wanted, from "without-drums, without-drums+gaps"; everything there is from "".

    Raises MidiforgeError that names the nearest word.
    """
    kinds = [[word.strip() for word in part.split("+")] for part in text.split(",") if part.strip()]
    for words in kinds:
        kind = "+".join(words)
        for word in words:
            if word not in KINDS:
                raise MidiforgeError(
                    f"{quoted(word)} is no kind of loop", hint=nearest(word, KINDS)
                )
        if sum(word in LEAVE_OUTS for word in words) > 1 or len(set(words)) < len(words):
            raise MidiforgeError(
                f"{quoted(kind)} does not go together",
                hint="one of " + ", ".join(LEAVE_OUTS) + ", with +gaps or +ladder",
            )
    return tuple(dict.fromkeys(map("+".join, kinds))) or KINDS


def loops(
    drill: Drill,
    shape: Shape,
    only: str = "",
    dropped: Callable[[str], None] | None = None,
) -> Iterator[Loop]:
    """The loops of a drill, by exercise; those that come out the same as one before say so.

    only: which exercises, by number; "" for all.
    dropped: told in a sentence of what cannot be made.
    Raises MidiforgeError for music that cannot be played.
    """
    if drill.beside.tracks and dropped and not any(stage.layers for stage in drill.stages):
        names = listed([stage.name for stage in drill.stages])
        dropped(f"who plays beside you: stage {names} does without (layers = true keeps them)")
    seen: dict[bytes, int] = {}
    for exercises in Lesson(_clicking(drill)).by_piece(only):
        for loop in _of(exercises, drill, shape, dropped):
            key = _content(loop)
            if key in seen:
                yield replace(loop, same_as=seen[key])
            else:
                seen[key] = len(seen)
                yield loop


def _clicking(drill: Drill) -> Drill:
    """The drill with its click throughout and without gaps, which loops have or leave out."""
    return replace(drill, click="throughout", gap=None)


def _of(
    exercises: tuple[Exercise, ...],
    drill: Drill,
    shape: Shape,
    dropped: Callable[[str], None] | None,
) -> Iterator[Loop]:
    for kind in shape.kinds:
        words = kind.split("+")
        climbs = LADDER in words
        if climbs and len(exercises) < 2:
            if dropped:
                dropped(f"{exercises[0].title}: a ladder needs two tempos or more")
            continue
        for exercise in exercises[:1] if climbs else exercises:
            loop = bare(exercise)
            if drill.click != "throughout" and "click-and-clave" not in words:
                loop = _unclicked(loop)
            for word in words:
                if word in LEAVE_OUTS:
                    loop = LEAVE_OUTS[word](loop)
            loop = one_section(loop, kind) if loop.tempo.is_steady else loop
            if GAPS in words:
                loop = with_gaps(loop, *(drill.gap or USUAL_GAPS))
            numbers: tuple[Number, ...] = (exercise.number,)
            times = 1
            if climbs:
                tempos = sorted({each.tempo.first for each in exercises})
                loop = ladder(loop, tempos, shape.ladder_bars, shape.minutes)
                loop = loop.changed(number=exercise.number.whole)
                numbers = tuple(each.number for each in exercises)
            elif shape.minutes:
                times = max(1, ceil(Fraction(str(shape.minutes)) * 60 / loop.seconds))
            if not loop.hits and not loop.tones:
                if dropped:
                    dropped(f"{exercise.title}, {kind}: nothing is left")
                continue
            if shape.count_in:
                loop = _counted_in(loop, exercise)
            closes = not climbs and loop.tempo.is_steady
            yield Loop(kind, loop, times, numbers, closes)


def _unclicked(exercise: Exercise) -> Exercise:
    return exercise.changed(hits=tuple(hit for hit in exercise.hits if hit.layer != CLICK))


def _counted_in(loop: Exercise, exercise: Exercise) -> Exercise:
    """The loop with the exercise's count-in before it."""
    before = tuple(hit for hit in exercise.hits if hit.time < 0)
    sections = tuple(each for each in exercise.sections if each.kind == COUNT_IN)
    return loop.changed(
        hits=(*before, *loop.hits),
        sections=(*sections, *loop.sections),
        count_in_bars=exercise.count_in_bars,
    )


def _content(loop: Loop) -> bytes:
    """What tells a loop from others: all that sounds in it, and its tempo."""
    each = loop.exercise
    whole = (each.tempo, each.count_in_bars, each.bars, loop.times, each.tracks, each.dynamics)
    tones = " ".join(f"{t.time}|{t.length}|{t.pitch}|{t.velocity}" for t in each.tones)
    return digest(whole, hits_text(each.hits), tones)
