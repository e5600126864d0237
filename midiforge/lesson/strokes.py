"""Strokes in their places, repeated and through a form, and the voices that they go to."""

from collections.abc import Iterable, Iterator
from fractions import Fraction
from math import lcm

from midiforge.drill.drill import Span, Voicing
from midiforge.errors import MidiforgeError
from midiforge.frozen import frozen
from midiforge.lesson.form import spans
from midiforge.model.counts import count_name
from midiforge.model.hit import FEET, HANDS, Hit, Limb, Ornament, OrnamentKind, Strength
from midiforge.model.meter import Meter
from midiforge.model.swing import Swing
from midiforge.phrase.cycle import turns_to_meet
from midiforge.phrase.pattern import Line
from midiforge.phrase.phrase import Phrase, Stroke

PHRASE = "the sticking"

LIMB_ORDER: dict[Limb | None, int] = {
    limb: place for place, limb in enumerate((*FEET, *HANDS, None))
}


def by_time(stroke: "Placed | Hit") -> tuple[float, int, str]:
    """What strokes are put in order by: the feet before the hands, the click last."""
    return float(stroke.time), LIMB_ORDER[stroke.limb], stroke.layer


@frozen
class Placed:
    """One stroke in its place.

    stroke: as the sticking has it; of a repeating line only where it has an ornament, else None.
    voice: "" where the voicing decides.
    grid: the step of its line, in quarter notes.
    source: what plays it, for errors: an ostinato's name, or `PHRASE`.
    """

    time: Fraction
    limb: Limb | None
    strength: Strength
    layer: str
    source: str
    grid: Fraction
    voice: str = ""
    stroke: Stroke | None = None


def layer_of(limb: Limb | None, name: str) -> str:
    """The layer a stroke belongs to: the player's hands or feet, or a part of its own."""
    if limb is None:
        return name
    return "hands" if limb.is_hand else "feet"


def repeat(
    lines: Iterable[Line], length: Fraction, start: Fraction = Fraction(0)
) -> Iterator[Placed]:
    """The strokes of repeating lines from `start` up to `start + length`."""
    for line in lines:
        layer, name, grid = layer_of(line.limb, line.name), line.name, line.pattern.grid
        ornaments = {time: (grace, buzz) for time, grace, buzz in line.pattern.ornaments}
        for time, strength in line.pattern.over(length, start):
            stroke = None
            if ornaments and line.limb:
                grace, buzz = ornaments.get(time % line.pattern.length, (0, False))
                stroke = Stroke(line.limb, strength, grace, buzz) if grace or buzz else None
            yield Placed(time, line.limb, strength, layer, name, grid, line.voice, stroke)


def through_form(
    phrase: Phrase,
    step: Fraction,
    form: tuple[Span, ...],
    grooves: Iterable[Line],
    bars: int,
    bar: Fraction,
) -> Iterator[Placed]:
    """The phrase in its bars of the form, going on where it left off; the groove in the others."""
    size, bar_steps = len(phrase), int(bar / step)
    done = 0
    for at_bar, span in spans(form, bars):
        start = at_bar * bar
        if span.kind == "time":
            yield from repeat(grooves, span.bars * bar, start)
            continue
        # A response asks for what its call played.
        first = (done - span.bars if span.kind == "response" else done) * bar_steps
        for i in range(span.bars * bar_steps):
            for stroke in phrase.steps[(first + i) % size]:
                yield Placed(
                    start + i * step,
                    stroke.limb,
                    stroke.strength,
                    layer_of(stroke.limb, PHRASE),
                    PHRASE,
                    step,
                    stroke=stroke,
                )
        if span.kind != "response":
            done += span.bars


def one_at_a_time(strokes: list[Placed], meter: Meter, step: Fraction, swing: Swing) -> None:
    """Checks that no limb has two strokes at once, the hand of a grace note included.

    swing: lines that swing and lines that don't may meet by it.
    """
    at: dict[tuple[Limb | None, int, int], Placed] = {}
    for after in strokes:
        played = swing.played(after.time, after.grid)  # its two numbers hash faster than it does
        before = at.setdefault((after.limb, played.numerator, played.denominator), after)
        if after.limb and before is not after:
            raise MidiforgeError(
                f"the {after.limb.title} has two strokes at once: "
                f"{before.source} and {after.source}",
                _place(before.time, meter, step),
                hint="give one to another limb, such as 'NAME on LF'",
            )
    written = [(placed, placed.stroke) for placed in strokes if placed.stroke]
    graces = [(placed, stroke) for placed, stroke in written if stroke.grace]
    hands = {(placed.time, placed.limb) for placed in strokes if graces and placed.limb in HANDS}
    for placed, stroke in graces:
        if (placed.time, stroke.limb.opposite) in hands:
            raise MidiforgeError(
                f"the {stroke.limb.opposite.title} has a grace note and a stroke at once",
                _place(placed.time, meter, step),
            )


def _place(time: Fraction, meter: Meter, step: Fraction) -> str:
    bar, within = divmod(time, meter.bar)
    steps = within / step
    if steps.denominator == 1:
        return f"bar {bar + 1}, count {count_name(meter, step, int(steps))}"
    return f"bar {bar + 1}, {within} quarter notes in"


_GRACE_KINDS = {1: OrnamentKind.FLAM, 2: OrnamentKind.DRAG}

Rule = tuple[Limb, str]


def _rule(voicing: Voicing, placed: Placed) -> Rule | None:
    """The rule that deals a stroke its voice; None where it has its own."""
    if placed.voice or placed.limb is None:
        return None
    own = (placed.limb, placed.strength.value)
    return own if own in voicing else (placed.limb, "")


def turns(strokes: Iterable[Placed], voicing: Voicing) -> int:
    """How often the strokes go round until voices that take turns are at their first again."""
    dealt: dict[Rule, int] = {}
    for placed in strokes:
        rule = _rule(voicing, placed)
        if rule:
            dealt[rule] = dealt.get(rule, 0) + 1
    return lcm(*(turns_to_meet(count, len(voicing[rule])) for rule, count in dealt.items()))


def voiced(strokes: Iterable[Placed], voicing: Voicing, step: Fraction) -> list[Hit]:
    """The strokes as hits, voices that take turns dealt from the first stroke on."""
    dealt: dict[Rule, int] = {}
    hits = []
    for placed in strokes:
        voice, rule = placed.voice, _rule(voicing, placed)
        if rule:
            turn = dealt.get(rule, 0)
            dealt[rule] = turn + 1
            voices = voicing[rule]
            voice = voices[turn % len(voices)]
        ornament = _ornament(placed.stroke, placed.voice, voicing, step) if placed.stroke else None
        layer, grid = placed.layer, placed.grid
        hits.append(Hit(placed.time, placed.limb, voice, placed.strength, ornament, layer, grid))
    return hits


def _ornament(stroke: Stroke, voice: str, voicing: Voicing, step: Fraction) -> Ornament | None:
    """voice: of a line that has its own; its grace notes are on that, too."""
    if stroke.buzz:
        return Ornament(OrnamentKind.BUZZ, length=step)
    if stroke.grace:
        hand = stroke.limb.opposite
        voices = (voice,) if voice else voicing.get((hand, "grace")) or voicing[hand, ""]
        kind = _GRACE_KINDS.get(stroke.grace, OrnamentKind.RUFF)
        return Ornament(kind, stroke.grace, hand, voices[0])
    return None
