"""The form of an exercise: which bars are for what."""

from collections.abc import Iterator
from fractions import Fraction

from midiforge.drill.drill import Span
from midiforge.model.piece import Section, SectionKind

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
