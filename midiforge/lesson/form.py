"""What the bars of an exercise are for: its form, the click beside it, its levels."""

from collections.abc import Iterator
from fractions import Fraction
from operator import attrgetter

from midiforge.drill.drill import Drill, Shape, Span
from midiforge.model.hit import CLICK, Hit, Strength
from midiforge.model.piece import Dynamics, Section, SectionKind
from midiforge.model.tempo import TempoMap, plain

JUST_THE_EXERCISE = (Span(1, SectionKind.EXERCISE),)


def form_bars(form: tuple[Span, ...]) -> int:
    """How many bars a form has."""
    return sum(span.bars for span in form)


def phrase_bars(form: tuple[Span, ...]) -> int:
    """Over how many bars of a form the phrase goes on; a response repeats those of its call."""
    return sum(span.bars for span in form if span.kind in ("exercise", "call"))


def spans(form: tuple[Span, ...], bars: int) -> Iterator[tuple[int, Span]]:
    """The spans of a form, each with its first bar, again and again over `bars` bars."""
    at = 0
    while at < bars:
        for span in form:
            yield at, span
            at += span.bars


def response_bars(form: tuple[Span, ...], bars: int) -> frozenset[int]:
    """The bars that are left to the player."""
    return frozenset(
        at + i
        for at, span in spans(form, bars)
        if span.kind == "response"
        for i in range(span.bars)
    )


def sections(drill: Drill, form: tuple[Span, ...], entry: int, bars: int) -> tuple[Section, ...]:
    """The sections of an exercise, in order.

    entry: bars of the first time through, if the phrase enters late.
    """
    bar = drill.meter.bar
    if form == JUST_THE_EXERCISE:
        title = "Exercise, loop from here" if entry else "Exercise"
        parts = [Section(SectionKind.EXERCISE, title, entry * bar, (bars - entry) * bar)]
        if entry:
            parts.append(Section(SectionKind.ENTRY, "Late entry", Fraction(0), entry * bar))
    else:
        parts = [
            Section(span.kind, span.kind.capitalize(), at * bar, span.bars * bar)
            for at, span in spans(form, bars)
        ]
    if drill.count_in:
        length = drill.count_in * bar
        parts.append(Section(SectionKind.COUNT_IN, "Count-in", -length, length))
    if drill.ramp:
        # The steps of the tempo say more than that it is the exercise.
        parts = [part for part in parts if part.kind is not SectionKind.EXERCISE]
        [tempos] = tempo_maps(drill)
        ends = [*(time for time, _ in tempos.changes[1:]), bars * bar]
        for (start, tempo), end in zip(tempos.changes, ends, strict=True):
            parts.append(Section(SectionKind.TEMPO, f"{plain(tempo)} bpm", start, end - start))
    return tuple(sorted(parts, key=attrgetter("start")))


def tempo_maps(drill: Drill) -> tuple[TempoMap, ...]:
    """The tempos that each piece of a drill is taught at; a single one for a ramp."""
    pulse = drill.meter.pulse
    if drill.ramp is None:
        return tuple(TempoMap(pulse, ((Fraction(0), tempo),)) for tempo in drill.tempos)
    length = drill.ramp.bars * drill.meter.bar
    changes = tuple((i * length, tempo) for i, tempo in enumerate(drill.ramp.tempos))
    return (TempoMap(pulse, changes),)


def click(drill: Drill, bars: int) -> Iterator[Hit]:
    """The click's hits from the count-in to the end of `bars` bars; none if it is off."""
    if drill.click == "off":
        return
    on, off = drill.gap or (1, 0)
    first, others = drill.click_voices
    last = bars if drill.click == "throughout" else 0
    for number in range(-drill.count_in, last):
        if number >= 0 and number % (on + off) >= on:
            continue
        for i, beat in enumerate(drill.meter.beats):
            voice, strength = (others, Strength.TAP) if i else (first, Strength.ACCENT)
            yield Hit(number * drill.meter.bar + beat, None, voice, strength, None, CLICK)


def shaped_bars(shape: Shape, returns: int) -> int:
    """After how many bars a change of level begins anew, for music that returns after `returns`."""
    return shape.bars if shape.kind == "swell" else 2 * returns


def dynamics(shape: Shape | None, returns: int, bars: int, bar: Fraction) -> Dynamics:
    """The level over `bars` bars of `bar` quarter notes."""
    if shape is None:
        return Dynamics()
    points: list[tuple[Fraction, Fraction]] = []
    size = shape.bars if shape.kind == "swell" else returns
    for number, start in enumerate(range(0, bars, size)):
        begins, ends = start * bar, (start + size) * bar
        if shape.kind == "swell":
            points += [(begins, shape.start), (ends, shape.end)]
        else:
            level = shape.end if number % 2 else shape.start
            points += [(begins, level), (ends, level)]
    return Dynamics(tuple(points))
