"""What a loop leaves out, so that somebody else can play it."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction
from math import lcm

from midiforge.library import band as players
from midiforge.library import shelf
from midiforge.model.band import Tone
from midiforge.model.exercise import Exercise
from midiforge.model.hit import CLICK, FEET, HANDS, Hit
from midiforge.model.piece import Section, SectionKind
from midiforge.model.rounds import unrolled

_TIMELINE = "timeline"


def without(exercise: Exercise, *limbs: object) -> Exercise:
    """The exercise without the strokes of some limbs; grace notes go with their strokes."""
    hits = tuple(hit for hit in exercise.hits if hit.limb not in limbs)
    return exercise.changed(hits=hits)


def click_and_clave(exercise: Exercise) -> Exercise:
    """Nothing but the click and the timelines beside the player."""
    clave = {track.name for track in exercise.tracks if _is_timeline(track.name)}
    clave |= {hit.layer for hit in exercise.hits if hit.limb is None and _is_timeline(hit.layer)}
    kept = tuple(hit for hit in exercise.hits if hit.limb is None and hit.layer in {CLICK, *clave})
    tracks = tuple(track for track in exercise.tracks if track.name in clave)
    return exercise.changed(hits=kept, tracks=tracks, tones=())


def _is_timeline(name: str) -> bool:
    found, part = shelf.ostinatos().get(name), players.percussion().get(name)
    return bool(found and found.kind == _TIMELINE) or bool(part and part.timeline)


LEAVE_OUTS: dict[str, Callable[[Exercise], Exercise]] = {
    "everything": lambda exercise: exercise,
    "without-hands": lambda exercise: without(exercise, *HANDS),
    "without-feet": lambda exercise: without(exercise, *FEET),
    "without-drums": lambda exercise: without(exercise, *HANDS, *FEET),
    "click-and-clave": click_and_clave,
}


def with_gaps(exercise: Exercise, on: int, off: int) -> Exercise:
    """Of every `on` + `off` bars the last `off` silent, click and all; as long as it must be for
    gaps and loop to close together.

    exercise: a bare loop.
    """
    exercise = unrolled(exercise, lcm(exercise.bars, on + off) // exercise.bars)
    bar, unit = exercise.meter.bar, (on + off) * exercise.meter.bar

    def sounds(time: Fraction) -> bool:
        return time % unit < on * bar

    def held() -> Iterator[Tone]:
        for tone in exercise.tones:
            if sounds(tone.time):
                silence = tone.time // unit * unit + on * bar
                yield replace(tone, length=min(tone.length, silence - tone.time))

    def kept(hit: Hit) -> bool:
        return sounds(hit.time)

    return exercise.changed(
        hits=tuple(filter(kept, exercise.hits)),
        tones=tuple(held()),
        sections=tuple(_gap_sections(exercise, on, off)),
    )


def _gap_sections(exercise: Exercise, on: int, off: int) -> Iterator[Section]:
    bar = exercise.meter.bar
    for number in range(0, exercise.bars, on + off):
        yield Section(SectionKind.EXERCISE, "Play along", number * bar, on * bar)
        yield Section(SectionKind.RESPONSE, "Silence, play on", (number + on) * bar, off * bar)
