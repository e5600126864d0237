"""Which loops come from a drill."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from math import ceil

from midiforge.drill.drill import Drill
from midiforge.errors import WrongArgument
from midiforge.frozen import frozen
from midiforge.insight.words import listed
from midiforge.lesson.lesson import Lesson
from midiforge.lesson.sameness import digest, hits_text
from midiforge.loops.kinds import GAPS, KINDS, LADDER, ladder, left_out, read_kinds, with_gaps
from midiforge.model.exercise import Exercise
from midiforge.model.number import Number
from midiforge.model.rounds import COUNT_IN, bare, one_section

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


def loops(
    drill: Drill,
    shape: Shape,
    only: str = "",
    dropped: Callable[[str], object] = lambda _: None,
) -> Iterator[Loop]:
    """The loops of a drill, by exercise; those that come out the same as one before say so.

    only: which exercises, by number; "" for all.
    dropped: told in a sentence of what cannot be made.
    Raises MidiforgeError for music that cannot be played.
    """
    if drill.band.members and not any(stage.layers for stage in drill.stages):
        names = listed([stage.name for stage in drill.stages])
        dropped(f"the band: stage {names} does without (layers = true keeps it)")
    # Loops have the click throughout, or leave it out, and gaps of their own.
    clicking = replace(drill, click="throughout", gap=None)
    seen: dict[bytes, int] = {}
    for exercises in Lesson(clicking).by_piece(only):
        for kind in shape.kinds:
            for loop in _of(exercises, kind, drill, shape, dropped):
                number = len(seen)
                first = seen.setdefault(_content(loop), number)
                yield loop if first == number else replace(loop, same_as=first)


def _of(
    exercises: Sequence[Exercise],
    kind: str,
    drill: Drill,
    shape: Shape,
    dropped: Callable[[str], object],
) -> Iterator[Loop]:
    """The loops of one kind that a piece's exercises give."""
    words = kind.split("+")
    climbs = LADDER in words
    if climbs and len(exercises) < 2:
        dropped(f"{exercises[0].title}: a ladder needs two tempos or more")
        return
    for exercise in exercises[:1] if climbs else exercises:
        loop = left_out(bare(exercise), words, click=drill.click == "throughout")
        if loop.tempo.is_steady:
            loop = one_section(loop, kind)
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
            dropped(f"{exercise.title}, {kind}: nothing is left")
            continue
        if shape.count_in:
            loop = _counted_in(loop, exercise)
        yield Loop(kind, loop, times, numbers, closes=not climbs and loop.tempo.is_steady)


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
    whole = (each.tempo, each.count_in_bars, each.bars, loop.times, each.band, each.dynamics)
    tones = " ".join(f"{t.time}|{t.length}|{t.pitch}|{t.velocity}" for t in each.tones)
    return digest(whole, hits_text(each.hits), tones)
