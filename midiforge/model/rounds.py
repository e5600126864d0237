"""An exercise as a bare loop, with its loop several times round, and with less of it."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Any, TypeVar

from midiforge.model.band import ChordMark, Tone
from midiforge.model.exercise import Exercise
from midiforge.model.hit import Hit
from midiforge.model.piece import Dynamics, Section, SectionKind

T = TypeVar("T", Hit, Tone, ChordMark)

COUNT_IN = SectionKind.COUNT_IN  # the kind of section that is no part of the loop


def later(items: Iterable[T], late: Fraction) -> Iterable[T]:
    """The items, each so many quarter notes later."""
    return [replace(item, time=item.time + late) for item in items] if late else items


def bare(exercise: Exercise) -> Exercise:
    """The exercise from where its seam leads back to up to its end: no count-in, no late entry."""
    start, tempo = exercise.loop_start, exercise.tempo
    changes = [(Fraction(0), tempo.at(start))]  # one that began before goes on
    changes += [(time - start, bpm) for time, bpm in tempo.changes if time > start]
    return exercise.changed(
        **_all(exercise, lambda items: later(_loop_of(items, exercise), -start)),
        sections=_sections_later(_loop_sections(exercise), -start),
        count_in_bars=0,
        bars=exercise.loop_bars,
        loop_start=Fraction(0),
        dynamics=Dynamics(tuple((time - start, level) for time, level in exercise.dynamics.points)),
        tempo=replace(tempo, changes=tuple(changes)),
    )


def unrolled(exercise: Exercise, times: int) -> Exercise:
    """The exercise with its loop written out `times` times; what comes before it once."""
    shifts = [number * exercise.loop_length for number in range(1, times)]
    points, sections = exercise.dynamics.points, _loop_sections(exercise)

    def again(items: Sequence[Any]) -> list[Any]:
        loop = _loop_of(items, exercise)
        return [*items, *(item for late in shifts for item in later(loop, late))]

    return exercise.changed(
        **_all(exercise, again),
        sections=(
            *exercise.sections,
            *(section for late in shifts for section in _sections_later(sections, late)),
        ),
        dynamics=Dynamics(
            (*points, *((time + late, level) for late in shifts for time, level in points))
        ),
        bars=exercise.bars + len(shifts) * exercise.loop_bars,
    )


def shortened(exercise: Exercise, loop_bars: int) -> Exercise:
    """The exercise with no more than so many bars of its loop; its sections stay as they are."""
    if loop_bars >= exercise.loop_bars:
        return exercise
    bars = exercise.loop_bar + loop_bars
    end = bars * exercise.meter.bar
    kept = _all(exercise, lambda items: [item for item in items if item.time < end])
    return exercise.changed(bars=bars, **kept)


def one_section(exercise: Exercise, title: str) -> Exercise:
    """The exercise with a single section after its count-in."""
    kept = tuple(section for section in exercise.sections if section.kind == COUNT_IN)
    whole = Section(SectionKind.EXERCISE, title, Fraction(0), exercise.length)
    return exercise.changed(sections=(*kept, whole))


def _all(
    exercise: Exercise, change: Callable[[Sequence[Any]], Iterable[Any]]
) -> dict[str, tuple[Any, ...]]:
    """All that an exercise has by time, changed."""
    names = "hits", "answers", "tones", "chords"
    return {name: tuple(change(getattr(exercise, name))) for name in names}


def _loop_of(items: Iterable[T], exercise: Exercise) -> list[T]:
    return [item for item in items if item.time >= exercise.loop_start]


def _loop_sections(exercise: Exercise) -> list[Section]:
    sections = (section for section in exercise.sections if section.kind != COUNT_IN)
    return [section for section in sections if section.start >= exercise.loop_start]


def _sections_later(sections: Iterable[Section], late: Fraction) -> tuple[Section, ...]:
    return tuple(replace(section, start=section.start + late) for section in sections)
