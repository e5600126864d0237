"""One stage of one variant, written out: how long it must be, and every hit in it."""

from fractions import Fraction
from itertools import pairwise
from math import ceil, lcm
from typing import TYPE_CHECKING

from midiforge.band.band import Band
from midiforge.drill.drill import Stage
from midiforge.errors import MidiforgeError
from midiforge.frozen import frozen

if TYPE_CHECKING:
    from midiforge.lesson.outline import Outline

from midiforge.lesson.form import (
    JUST_THE_EXERCISE,
    click,
    dynamics,
    form_bars,
    phrase_bars,
    response_bars,
    sections,
    shaped_bars,
)
from midiforge.lesson.sameness import line_text, strokes_text
from midiforge.lesson.strokes import (
    PHRASE,
    Placed,
    by_time,
    one_at_a_time,
    repeat,
    through_form,
    turns,
    voiced,
)
from midiforge.model.band import ChordMark, Tone
from midiforge.model.hit import Hit, Limb
from midiforge.model.piece import Piece, SectionKind
from midiforge.moves.move import Material
from midiforge.phrase.cycle import bars_to_meet, within_limit
from midiforge.phrase.pattern import Line
from midiforge.phrase.phrase import Phrase

MOST_STROKES = 100_000


@frozen
class Played:
    """What a stage keeps of a material: the phrase, and the lines that repeat.

    late: grid steps by which the phrase enters late.
    """

    phrase: Phrase | None
    lines: tuple[Line, ...]
    step: Fraction
    late: int

    @classmethod
    def of(cls, material: Material, stage: Stage) -> "Played | None":
        """None if the player has no stroke in it."""
        lines = tuple(
            line for line in (*material.feet, *material.layers) if keeps(stage, line.limb)
        )
        phrase = material.phrase.only(stage.limbs) if material.phrase else None
        if phrase and not phrase.limbs:
            phrase = None
        if phrase is None and not any(line.limb for line in lines):
            return None
        return cls(phrase, lines, material.step, material.entry if phrase else 0)

    @property
    def text(self) -> str:
        """The same for what comes out the same."""
        strokes = strokes_text(self.phrase, self.step) if self.phrase else ""
        return "\n".join((strokes, str(self.late), *map(line_text, self.lines)))


def keeps(stage: Stage, limb: Limb | None) -> bool:
    """Whether a stage keeps what a limb plays, or what none does."""
    return stage.layers if limb is None else limb in stage.limbs


def compose(outline: "Outline") -> Piece:
    """A stage of a material written out, as long as whole returns need.

    Raises MidiforgeError where a limb would have two strokes at once, or where things meet
    again only after more bars than midiforge writes.
    """
    drill, material, stage = outline.drill, outline.material, outline.stage
    played = Played.of(material, stage)
    assert played is not None  # or there would be no outline of it
    phrase, lines = played.phrase, played.lines
    bar, step = drill.meter.bar, material.step
    form = stage.form if phrase and stage.form else JUST_THE_EXERCISE
    keeps_time = any(span.kind == SectionKind.TIME for span in form)
    grooves = [line for line in stage.groove if keeps(stage, line.limb)] if keeps_time else []

    def strokes(bars: int) -> list[Placed]:
        placed = [*repeat(lines, bars * bar)]
        if phrase:
            placed += through_form(phrase, step, form, grooves, bars, bar)
        return sorted(placed, key=by_time)

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
    band = drill.band if stage.layers else Band()
    unit = within_limit(lcm(unit, band.bars(bar)), "the exercise with its band")
    late = played.late * step
    entry = unit * ceil(late / (unit * bar))
    ramp = len(drill.ramp.tempos) * drill.ramp.bars if drill.ramp else 1
    rounds = max(outline.repeats, -(-(ramp - entry) // unit))
    bars = within_limit(entry + unit * rounds, "the exercise with its repeats")

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
    bass_drum = sorted(hit.time for hit in hits if hit.limb is Limb.RIGHT_FOOT)
    # The first time through and the loop are closed in themselves.
    for start, end in pairwise(sorted({0, entry, bars})) if band.members else ():
        struck, held, marks = band.over(drill.meter, start * bar, (end - start) * bar, bass_drum)
        hits += struck
        tones += held
        chords += marks
    hits.sort(key=by_time)
    return Piece(
        number=outline.number,
        stage=stage.name,
        title=outline.title,
        ending=outline.ending,
        variant=outline.variant,
        feet=outline.feet,
        meter=drill.meter,
        step=step,
        swing=drill.feel,
        hits=tuple(hits),
        answers=tuple(answers),
        sections=sections(drill, form, entry, bars),
        count_in_bars=drill.count_in,
        bars=bars,
        returns_after_bars=returns,
        loop_start=entry * bar,
        dynamics=dynamics(drill.shape, returns, bars, bar),
        touch=drill.touch,
        parts=outline.parts,
        band=band.members,
        tones=tuple(tones),
        chords=tuple(chords),
        text=stage.text,
        repeats=outline.repeats,
        writing=drill.writing,
        hands="; ".join(
            f"{line.limb.title}: {line.title}"
            for line in material.layers
            if line.limb in stage.limbs and line.limb and line.limb.is_hand
        ),
    )
