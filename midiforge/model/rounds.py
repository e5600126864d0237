"""An exercise as a bare loop, a loop several times round, and what goes round in it."""

from dataclasses import replace
from fractions import Fraction

from midiforge.model.exercise import Dynamics, Exercise, Section
from midiforge.model.hit import Hit
from midiforge.model.track import NO_CHORD, ChordMark, Tone


def bare(exercise: Exercise) -> Exercise:
    """The exercise from where its seam leads back to up to its end: no count-in, no late entry."""
    start = exercise.loop_start
    skipped = int(start / exercise.meter.bar)
    sections = tuple(
        replace(each, start=each.start - start)
        for each in exercise.sections
        if each.start >= start and each.kind != "count-in"
    )
    # A tempo that began before goes on.
    changes = [change for change in exercise.tempo.changes if change[0] <= start][-1:]
    changes = [(Fraction(0), changes[0][1])] if changes else []
    changes += [(time - start, bpm) for time, bpm in exercise.tempo.changes if time > start]
    points = tuple((time - start, level) for time, level in exercise.dynamics.points)
    return replace(
        exercise,
        hits=tuple(_later(hit, -start) for hit in exercise.hits if hit.time >= start),
        answers=tuple(_later(hit, -start) for hit in exercise.answers if hit.time >= start),
        tones=tuple(_tone_later(tone, -start) for tone in exercise.tones if tone.time >= start),
        chords=tuple(_mark_later(mark, -start) for mark in exercise.chords if mark.time >= start),
        sections=sections,
        count_in_bars=0,
        bars=exercise.bars - skipped,
        loop_start=Fraction(0),
        dynamics=Dynamics(points),
        tempo=replace(exercise.tempo, changes=tuple(changes)),
    )


def unrolled(exercise: Exercise, times: int) -> Exercise:
    """The exercise with its loop written out `times` times; what comes before it once."""
    start, length = exercise.loop_start, exercise.length - exercise.loop_start
    hits, answers = list(exercise.hits), list(exercise.answers)
    tones, chords = list(exercise.tones), list(exercise.chords)
    sections, points = list(exercise.sections), list(exercise.dynamics.points)
    for i in range(1, times):
        late = i * length
        hits += [_later(each, late) for each in exercise.hits if each.time >= start]
        answers += [_later(each, late) for each in exercise.answers if each.time >= start]
        tones += [_tone_later(each, late) for each in exercise.tones if each.time >= start]
        chords += [_mark_later(each, late) for each in exercise.chords if each.time >= start]
        sections += [
            replace(each, start=each.start + late)
            for each in exercise.sections
            if each.start >= start and each.kind != "count-in"
        ]
        points += [(time + late, level) for time, level in exercise.dynamics.points]
    return replace(
        exercise,
        hits=tuple(hits),
        answers=tuple(answers),
        tones=tuple(tones),
        chords=tuple(chords),
        sections=tuple(sections),
        dynamics=Dynamics(tuple(points)),
        bars=exercise.bars + (times - 1) * int(length / exercise.meter.bar),
    )


def one_section(exercise: Exercise, title: str) -> Exercise:
    """The exercise with a single section after its count-in."""
    kept = tuple(each for each in exercise.sections if each.kind == "count-in")
    whole = Section("exercise", title, Fraction(0), exercise.length)
    return replace(exercise, sections=(*kept, whole))


def chord_bars(exercise: Exercise) -> list[list[str]]:
    """The chord symbols of each bar of the progression, once round it; N.C. for no chord."""
    bar, start = exercise.meter.bar, exercise.loop_start
    bars: list[list[str]] = []
    for mark in exercise.chords:
        if mark.time >= start:
            number = int((mark.time - start) / bar)
            bars += [[] for _ in range(number + 1 - len(bars))]
            bars[number].append(mark.symbol or NO_CHORD)
    for size in range(1, len(bars)):
        if all(bars[i] == bars[i % size] for i in range(size, len(bars))):
            return bars[:size]
    return bars


def _later(hit: Hit, late: Fraction) -> Hit:
    return Hit(hit.time + late, hit.limb, hit.voice, hit.strength, hit.ornament, hit.layer)


def _tone_later(tone: Tone, late: Fraction) -> Tone:
    return Tone(tone.time + late, tone.length, tone.pitch, tone.velocity, tone.track)


def _mark_later(mark: ChordMark, late: Fraction) -> ChordMark:
    return ChordMark(mark.time + late, mark.length, mark.symbol)
