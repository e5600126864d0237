"""What the bars of an exercise are for: its form, the click beside it, its levels."""

from collections.abc import Iterator
from fractions import Fraction

from midiforge.drill.drill import Drill, Shape, Span
from midiforge.model.hit import CLICK, Hit, Strength
from midiforge.model.piece import Dynamics, Section, SectionKind

JUST_THE_EXERCISE = (Span(1, SectionKind.EXERCISE),)

_TITLES = {"time": "Time", "call": "Call", "response": "Response", "exercise": "Exercise"}


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


def sections(
    form: tuple[Span, ...], count_in: int, entry: int, bars: int, bar: Fraction
) -> Iterator[Section]:
    """The sections of an exercise, in order; numbers count bars.

    entry: of the first time through, if the phrase enters late.
    """
    if count_in:
        yield Section(SectionKind.COUNT_IN, "Count-in", -count_in * bar, count_in * bar)
    if form == JUST_THE_EXERCISE:
        if entry:
            yield Section(SectionKind.ENTRY, "Late entry", Fraction(0), entry * bar)
        title = "Exercise, loop from here" if entry else "Exercise"
        yield Section(SectionKind.EXERCISE, title, entry * bar, (bars - entry) * bar)
        return
    for at, span in spans(form, bars):
        yield Section(span.kind, _TITLES[span.kind], at * bar, span.bars * bar)


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
