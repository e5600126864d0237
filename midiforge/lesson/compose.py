"""One stage of one variant, written out: how long it must be, and every hit in it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, lcm

from midiforge.drill.drill import Beside, Drill, Stage
from midiforge.errors import MidiforgeError
from midiforge.lesson.band import Company, company, company_bars
from midiforge.lesson.click import click
from midiforge.lesson.cycle import bars_to_meet, within_limit
from midiforge.lesson.dynamics import dynamics, shaped_bars
from midiforge.lesson.form import (
    JUST_THE_EXERCISE,
    form_bars,
    phrase_bars,
    response_bars,
    sections,
)
from midiforge.lesson.strokes import (
    LIMB_ORDER,
    PHRASE,
    Placed,
    one_at_a_time,
    repeat,
    through_form,
)
from midiforge.lesson.variants import Material
from midiforge.lesson.voices import turns, voiced
from midiforge.model.band import ChordMark, Tone, Track
from midiforge.model.exercise import Dynamics, Section, SectionKind
from midiforge.model.hit import Hit, Limb
from midiforge.model.meter import Meter

MOST_STROKES = 100_000


@dataclass(frozen=True, slots=True)
class Score:
    """What a stage of a variant writes, whatever its tempo; as in `Exercise`."""

    hits: tuple[Hit, ...]
    answers: tuple[Hit, ...]
    sections: tuple[Section, ...]
    bars: int
    returns_after_bars: int
    loop_start: Fraction
    dynamics: Dynamics
    tracks: tuple[Track, ...] = ()
    tones: tuple[Tone, ...] = ()
    chords: tuple[ChordMark, ...] = ()


def compose(drill: Drill, material: Material, stage: Stage, at_least_bars: int = 1) -> Score | None:
    """The score of a stage, or None if the player has no stroke in it.

    at_least_bars: how long it must be; it is made as long as whole returns need.
    Raises MidiforgeError where a limb would have two strokes at once, or where things meet
    again only after more bars than midiforge writes.
    """

    def kept(limb: Limb | None) -> bool:
        return stage.layers if limb is None else limb in stage.limbs

    bar, step = drill.meter.bar, material.step
    lines = [line for line in (*material.feet, *drill.layers) if kept(line.limb)]
    phrase = material.phrase.only(stage.limbs) if material.phrase else None
    if phrase and not phrase.limbs:
        phrase = None
    if phrase is None and not any(line.limb for line in lines):
        return None
    form = stage.form if phrase and stage.form else JUST_THE_EXERCISE
    keeps_time = any(span.kind == SectionKind.TIME for span in form)
    grooves = [line for line in stage.groove if kept(line.limb)] if keeps_time else []

    def strokes(bars: int) -> list[Placed]:
        found = [*repeat(lines, bars * bar)]
        if phrase:
            found += through_form(phrase, step, form, grooves, bars, bar)
        found.sort(key=lambda placed: (float(placed.time), LIMB_ORDER[placed.limb], placed.layer))
        return found

    # When repeating lines, phrase, form and bar line begin together again
    repeating = [line.pattern.period for line in (*lines, *grooves)]
    meeting = within_limit(bars_to_meet(bar, *repeating), "the ostinatos")
    if phrase:
        passes = bars_to_meet(phrase_bars(form) * bar, phrase.period * step)
        meeting = lcm(meeting, within_limit(passes * form_bars(form), "phrase and bar line"))
    meeting = within_limit(lcm(meeting, form_bars(form)), "phrase, ostinatos and bar line")

    # ... and voices that take turns, gaps of the click, changes of level
    once = strokes(meeting)
    one_at_a_time(once, drill.meter, step, drill.feel)
    returns = within_limit(meeting * turns(once, stage.voicing), "the voices that take turns")
    unit = lcm(returns, sum(drill.gap)) if drill.gap else returns
    if drill.shape:
        unit = lcm(unit, shaped_bars(drill.shape, returns))
    within_limit(unit, "the exercise with its gaps and dynamics")
    beside = drill.beside if stage.layers else _NOBODY
    unit = lcm(unit, company_bars(beside, bar))
    within_limit(unit, "the exercise with what plays beside it")
    late = material.entry * step if phrase else Fraction(0)
    entry = unit * ceil(late / (unit * bar))
    repeats = max(drill.repeats, -(-(at_least_bars - entry) // unit))
    bars = within_limit(entry + unit * repeats, "the exercise with its repeats")

    many = len(once) * bars // meeting
    if many > MOST_STROKES:
        raise MidiforgeError(
            f"the exercise would have {many:,} strokes",
            hint=f"up to {MOST_STROKES:,}; fewer repeats",
        )

    whole = once if bars == meeting else strokes(bars)
    to_answer = response_bars(form, bars)
    hits = [*click(drill, bars)]
    answers: list[Hit] = []
    for placed, hit in zip(whole, voiced(whole, stage.voicing, step), strict=True):
        if placed.source == PHRASE and hit.time < late:
            continue
        left = hit.limb is not None and hit.time // bar in to_answer
        (answers if left else hits).append(hit)
    tones: list[Tone] = []
    chords: list[ChordMark] = []
    for each in _companies(beside, drill.meter, entry, bars, hits) if beside.tracks else ():
        hits += each.hits
        tones += each.tones
        chords += each.chords
    hits.sort(key=lambda hit: (float(hit.time), LIMB_ORDER[hit.limb], hit.layer))
    return Score(
        hits=tuple(hits),
        answers=tuple(answers),
        sections=tuple(sections(form, drill.count_in, entry, bars, bar)),
        bars=bars,
        returns_after_bars=returns,
        loop_start=entry * bar,
        dynamics=dynamics(drill.shape, returns, bars, bar),
        tracks=beside.tracks,
        tones=tuple(tones),
        chords=tuple(chords),
    )


_NOBODY = Beside()


def _companies(
    beside: Beside, meter: Meter, entry: int, bars: int, hits: Sequence[Hit]
) -> Iterator[Company]:
    """What plays beside the drummer, the first time through and in the loop, each closed in
    itself."""
    drum = sorted(hit.time for hit in hits if hit.limb is Limb.RIGHT_FOOT)
    for start, end in ((0, entry), (entry, bars)):
        if end > start:
            yield company(beside, meter, start * meter.bar, (end - start) * meter.bar, drum)
