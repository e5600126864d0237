"""Loops to play along with: an exercise with something left out, gaps in it, or a ladder of it."""

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from math import ceil, lcm

from midiforge.drill.drill import Drill
from midiforge.errors import MidiforgeError, WrongArgument, nearest, quoted
from midiforge.frozen import frozen
from midiforge.lesson.lesson import Lesson
from midiforge.lesson.sameness import digest, hits_text
from midiforge.library import shelf
from midiforge.library.band import percussion
from midiforge.model.band import Tone
from midiforge.model.exercise import Exercise
from midiforge.model.hit import CLICK, FEET, HANDS, Hit, Limb
from midiforge.model.number import Number
from midiforge.model.piece import Section, SectionKind
from midiforge.model.rounds import COUNT_IN, bare, one_section, unrolled
from midiforge.model.tempo import TempoMap, plain
from midiforge.printable import listed

MOST_MINUTES = 60
USUAL_GAPS = (2, 2)  # bars with sound, bars without, where the drill has none
MOST_BARS = 4096  # of a whole ladder

# Whose strokes each leaves out; grace notes go with their strokes.
_WITHOUT: dict[str, tuple[Limb, ...]] = {
    "everything": (),
    "without-hands": HANDS,
    "without-feet": FEET,
    "without-drums": (*HANDS, *FEET),
}
_CLICK_AND_CLAVE = "click-and-clave"
LEAVE_OUTS = (*_WITHOUT, _CLICK_AND_CLAVE)
GAPS, LADDER = "gaps", "ladder"
KINDS = (*LEAVE_OUTS, GAPS, LADDER)


def read_kinds(text: str) -> tuple[str, ...]:
    """What is wanted, from "without-drums, without-drums+gaps"; everything there is from "".

    Raises MidiforgeError that names the nearest word.
    """
    kinds = [[word.strip() for word in part.split("+")] for part in text.split(",") if part.strip()]
    for words in kinds:
        for word in words:
            if word not in KINDS:
                raise MidiforgeError(
                    f"{quoted(word)} is no kind of loop", hint=nearest(word, KINDS)
                )
        if sum(word in LEAVE_OUTS for word in words) > 1 or len(set(words)) < len(words):
            raise MidiforgeError(
                f"{quoted('+'.join(words))} does not go together",
                hint="one of " + ", ".join(LEAVE_OUTS) + ", with +gaps or +ladder",
            )
    return tuple(dict.fromkeys(map("+".join, kinds))) or KINDS


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
            tempos = sorted({rung.tempo.first for rung in exercises})
            loop = ladder(loop, tempos, shape.ladder_bars, shape.minutes)
            loop = loop.changed(number=exercise.number.whole)
            numbers = tuple(rung.number for rung in exercises)
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
    sections = tuple(section for section in exercise.sections if section.kind == COUNT_IN)
    return loop.changed(
        hits=(*before, *loop.hits),
        sections=(*sections, *loop.sections),
        count_in_bars=exercise.count_in_bars,
    )


def _content(loop: Loop) -> bytes:
    """What tells a loop from others: all that sounds in it, and its tempo."""
    music = loop.exercise
    whole = (music.tempo, music.count_in_bars, music.bars, loop.times, music.band, music.dynamics)
    tones = " ".join(f"{t.time}|{t.length}|{t.pitch}|{t.velocity}" for t in music.tones)
    return digest(whole, hits_text(music.hits), tones)


# What each kind leaves out or adds


def left_out(exercise: Exercise, words: Collection[str], click: bool) -> Exercise:
    """The exercise without what the words of a kind leave out, and without its click if not
    `click`.

    Of "click-and-clave" nothing is left but the click and the timelines: time layers, and of the
    band who plays one.
    """
    if _CLICK_AND_CLAVE in words:
        hits = (hit for hit in exercise.hits if hit.limb is None)
        return exercise.changed(
            hits=tuple(hit for hit in hits if hit.layer == CLICK or _is_timeline(hit.layer)),
            band=tuple(member for member in exercise.band if _is_timeline(member.name)),
            tones=(),
        )
    limbs = {limb for word in words for limb in _WITHOUT.get(word, ())}
    hits = (hit for hit in exercise.hits if hit.limb not in limbs)
    return exercise.changed(hits=tuple(hit for hit in hits if click or hit.layer != CLICK))


def _is_timeline(name: str) -> bool:
    ostinato, part = shelf.ostinatos().get(name), percussion().get(name)
    return bool(ostinato and ostinato.kind == "timeline") or bool(part and part.timeline)


def with_gaps(exercise: Exercise, on: int, off: int) -> Exercise:
    """Of every `on` + `off` bars the last `off` silent, click and all; as long as it must be for
    gaps and loop to close together.

    exercise: a bare loop.
    """
    exercise = unrolled(exercise, lcm(exercise.bars, on + off) // exercise.bars)
    bar = exercise.meter.bar
    unit, silence = (on + off) * bar, on * bar

    def sounds(what: Hit | Tone) -> bool:
        return what.time % unit < silence

    sections: list[Section] = []
    for start in (number * bar for number in range(0, exercise.bars, on + off)):
        sections += (
            Section(SectionKind.EXERCISE, "Play along", start, silence),
            Section(SectionKind.RESPONSE, "Silence, play on", start + silence, off * bar),
        )
    return exercise.changed(
        hits=tuple(filter(sounds, exercise.hits)),
        tones=tuple(
            replace(tone, length=min(tone.length, silence - tone.time % unit))
            for tone in filter(sounds, exercise.tones)
        ),
        sections=tuple(sections),
    )


def ladder(
    exercise: Exercise, tempos: Sequence[Fraction], bars: int = 0, minutes: float = 0
) -> Exercise:
    """The loop at each tempo in turn, for at least `bars` bars each, whole times round.

    exercise: a bare loop. tempos: pulses a minute. minutes: how long all of it lasts at least.
    Raises MidiforgeError if it would have too many bars.
    """
    once = sum(60 * exercise.length / (tempo * exercise.tempo.pulse) for tempo in tempos)
    rounds = max(1, ceil(bars / exercise.bars), ceil(Fraction(str(minutes)) * 60 / once))
    whole = rounds * exercise.bars * len(tempos)
    if whole > MOST_BARS:
        raise MidiforgeError(
            f"the ladder would have {whole:,} bars",
            hint=f"up to {MOST_BARS:,}; fewer tempos, bars or minutes",
        )
    length = rounds * exercise.length
    steps = tuple((number * length, tempo) for number, tempo in enumerate(tempos))
    return unrolled(exercise, rounds * len(tempos)).changed(
        tempo=TempoMap(exercise.tempo.pulse, steps),
        sections=tuple(
            Section(SectionKind.TEMPO, f"{plain(tempo)} bpm", start, length)
            for start, tempo in steps
        ),
    )
