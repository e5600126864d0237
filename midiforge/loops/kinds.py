"""Kinds of loops: something left out so that somebody else can play it, gaps, or a ladder."""

from collections.abc import Collection, Sequence
from dataclasses import replace
from fractions import Fraction
from math import ceil, lcm

from midiforge.errors import MidiforgeError, nearest, quoted
from midiforge.library import shelf
from midiforge.library.band import percussion
from midiforge.model.band import Tone
from midiforge.model.exercise import Exercise
from midiforge.model.hit import CLICK, FEET, HANDS, Hit, Limb
from midiforge.model.piece import Section, SectionKind
from midiforge.model.rounds import unrolled
from midiforge.model.tempo import TempoMap, plain

MOST_BARS = 4096  # of a whole ladder
_TIMELINE = "timeline"


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
    return bool(ostinato and ostinato.kind == _TIMELINE) or bool(part and part.timeline)


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
    steps = [(number * length, tempo) for number, tempo in enumerate(tempos)]
    return unrolled(exercise, rounds * len(tempos)).changed(
        tempo=TempoMap(exercise.tempo.pulse, tuple(steps)),
        sections=tuple(
            Section(SectionKind.TEMPO, f"{plain(tempo)} bpm", start, length)
            for start, tempo in steps
        ),
    )
