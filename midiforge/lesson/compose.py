"""One stage of one variant, written out: from repeating lines to hits on a timeline."""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import lcm

from midiforge.drill.drill import Drill, Line, Shape, Span, Stage, Voicing
from midiforge.errors import MidiforgeError
from midiforge.lesson.cycle import bars_to_meet, turns_to_meet, within_limit
from midiforge.lesson.variants import Material
from midiforge.model.counts import count_name
from midiforge.model.exercise import Dynamics, Section
from midiforge.model.hit import FEET, HANDS, Hit, Limb, Ornament, OrnamentKind, Strength
from midiforge.model.meter import Meter
from midiforge.phrase.phrase import Stroke

_GRACE_KINDS = {1: OrnamentKind.FLAM, 2: OrnamentKind.DRAG}
_LIMB_ORDER: dict[Limb | None, int] = {
    limb: place for place, limb in enumerate((*FEET, *HANDS, None))
}
_CROSS = (Span(1, "exercise"),)
_TITLES = {"time": "Time", "call": "Call", "response": "Response", "exercise": "Exercise"}


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


@dataclass(frozen=True, slots=True)
class _Raw:
    """A stroke in its place, before it has a voice."""

    time: Fraction
    stroke: Stroke | None
    limb: Limb | None
    strength: Strength
    voice: str
    layer: str
    source: str


def compose(drill: Drill, material: Material, stage: Stage, at_least_bars: int = 1) -> Score | None:
    """The score of a stage, or None if it has no player's stroke.

    at_least_bars: how long it must be; it is made as long as whole returns need.
    """
    bar = drill.meter.bar
    form = stage.form or _CROSS
    lines = [line for line in _lines(drill, material, stage) if _kept(line.limb, stage)]
    grooves = [line for line in stage.groove if _kept(line.limb, stage)]
    phrase = material.phrase
    plays = bool(phrase and any(_kept(limb, stage) for limb in phrase.limbs))
    if not plays and not any(line.limb for line in lines):
        return None
    form = form if plays else _CROSS

    form_bars = sum(span.bars for span in form)
    phrase_bars = sum(span.bars for span in form if span.kind in ("exercise", "call"))
    always = [line.pattern.period for line in (*lines, *grooves)]
    turns = bars_to_meet(bar, *always)
    within_limit(turns, "the ostinatos")
    if plays and phrase:
        # The form comes round after `form_bars`; in that time the phrase moves on by
        # `phrase_bars` only.
        passes = bars_to_meet(phrase_bars * bar, phrase.period * material.step)
        turns = lcm(turns, within_limit(passes * form_bars, "phrase and bar line"))
    base = within_limit(lcm(turns, form_bars), "phrase, ostinatos and bar line")

    def raw(bars: int) -> list[_Raw]:
        strokes = [*_repeat(lines, bars * bar)]
        if plays:
            strokes += _through_form(material, stage, form, grooves, bars, drill.meter)
        strokes.sort(key=lambda each: (each.time, _LIMB_ORDER[each.limb], each.layer))
        return strokes

    strokes = raw(base)
    _one_stroke_at_a_time(strokes, drill.meter, material.step)
    returns = within_limit(
        base * _voicing_turns(strokes, stage.voicing), "the voices that take turns"
    )
    unit = returns
    if drill.gap:
        unit = lcm(unit, sum(drill.gap))
    if drill.shape:
        unit = lcm(unit, drill.shape.bars) if drill.shape.bars else 2 * unit
    within_limit(unit, "gaps or dynamics")
    entry = unit if material.entry and plays else 0
    repeats = max(drill.repeats, -(-(at_least_bars - entry) // unit))
    bars = within_limit(unit * repeats + entry, "the exercise, repeats included,")

    if bars != base:
        strokes = raw(bars)
    hits = _voiced(strokes, stage.voicing, material.step)
    silent = entry and material.entry * material.step
    answers: list[Hit] = []
    sounding: list[Hit] = []
    response = _responses(form, bars, bar)
    for hit, stroke in zip(hits, strokes, strict=True):
        if stroke.source == "phrase" and hit.time < silent:
            continue
        (answers if response and _inside(hit.time, response) else sounding).append(hit)
    if response:
        answers = [hit for hit in answers if hit.limb is not None]
    sounding += _click(drill, bars)
    sounding.sort(key=lambda hit: (hit.time, _LIMB_ORDER[hit.limb], hit.layer))
    return Score(
        hits=tuple(sounding),
        answers=tuple(answers),
        sections=tuple(_sections(drill, form, entry, bars)),
        bars=bars,
        returns_after_bars=returns,
        loop_start=entry * bar,
        dynamics=_dynamics(drill.shape, returns, bars, bar),
    )


def _kept(limb: Limb | None, stage: Stage) -> bool:
    return stage.layers if limb is None else limb in stage.limbs


def _lines(drill: Drill, material: Material, stage: Stage) -> Iterator[Line]:
    yield from material.feet
    if stage.layers:
        yield from drill.layers


def _repeat(lines: list[Line], length: Fraction, start: Fraction = Fraction(0)) -> Iterator[_Raw]:
    """The strokes of repeating lines from `start` up to `start + length`."""
    for line in lines:
        pattern = line.pattern
        layer = line.name if line.limb is None else "hands" if line.limb.is_hand else "feet"
        end = start + length
        turn = start // pattern.length * pattern.length
        while turn < end:
            for time, strength in pattern.strokes:
                if start <= turn + time < end:
                    yield _Raw(turn + time, None, line.limb, strength, line.voice, layer, line.name)
            turn += pattern.length


def _through_form(
    material: Material,
    stage: Stage,
    form: tuple[Span, ...],
    grooves: list[Line],
    bars: int,
    meter: Meter,
) -> Iterator[_Raw]:
    """The phrase in its bars of the form, going on where it left off; the groove in the others."""
    phrase = material.phrase
    assert phrase is not None
    size, bar = len(phrase), meter.bar
    steps_in_bar = int(bar / material.step)
    at_bar = done = 0
    while at_bar < bars:
        for span in form:
            start = at_bar * bar
            if span.kind == "time":
                yield from _repeat(grooves, span.bars * bar, start)
            else:
                # A response asks for what its call played.
                first = done - span.bars if span.kind == "response" else done
                for i in range(span.bars * steps_in_bar):
                    for stroke in phrase.steps[(first * steps_in_bar + i) % size]:
                        if stroke.limb in stage.limbs:
                            yield _Raw(
                                start + i * material.step,
                                stroke,
                                stroke.limb,
                                stroke.strength,
                                "",
                                "hands" if stroke.limb.is_hand else "feet",
                                "phrase",
                            )
                if span.kind != "response":
                    done += span.bars
            at_bar += span.bars


def _one_stroke_at_a_time(strokes: list[_Raw], meter: Meter, step: Fraction) -> None:
    """No limb may have two strokes at once, the hand of a grace note included."""
    for before, after in pairwise(strokes):
        if before.time == after.time and before.limb and before.limb is after.limb:
            raise MidiforgeError(
                f"the {before.limb.title} has two strokes at once "
                f"({before.source} and {after.source})",
                _place(before.time, meter, step),
                hint="move one to another limb: 'NAME on LF'",
            )
    at: dict[Fraction, set[Limb | None]] = {}
    for each in strokes:
        if each.limb is not None and each.limb.is_hand:
            at.setdefault(each.time, set()).add(each.limb)
    for each in strokes:
        grace = each.stroke and each.stroke.grace and each.stroke.limb.opposite
        if grace and grace in at[each.time]:
            raise MidiforgeError(
                f"the {grace.title} has a grace note and a stroke at once",
                _place(each.time, meter, step),
            )


def _place(time: Fraction, meter: Meter, step: Fraction) -> str:
    bar = int(time // meter.bar)
    within = (time - bar * meter.bar) / step
    name = count_name(meter, step, int(within)) if within.denominator == 1 else str(within)
    return f"bar {bar + 1}, count {name}"


def _rule(voicing: Voicing, limb: Limb, strength: str) -> tuple[str, ...]:
    return voicing.get((limb, strength)) or voicing[limb, ""]


def _voicing_turns(strokes: list[_Raw], voicing: Voicing) -> int:
    """How often the strokes must go round until voices that take turns begin at their first."""
    dealt: dict[tuple[Limb, str], int] = {}
    for each in strokes:
        if each.limb is not None and not each.voice:
            key = (each.limb, each.strength.value)
            key = key if key in voicing else (each.limb, "")
            dealt[key] = dealt.get(key, 0) + 1
    return lcm(*(turns_to_meet(count, len(voicing[key])) for key, count in dealt.items()))


def _voiced(strokes: list[_Raw], voicing: Voicing, step: Fraction) -> list[Hit]:
    dealt: dict[tuple[Limb, str], int] = {}
    hits = []
    for each in strokes:
        voice = each.voice
        if not voice:
            assert each.limb is not None
            key = (each.limb, each.strength.value)
            key = key if key in voicing else (each.limb, "")
            turn = dealt.get(key, 0)
            dealt[key] = turn + 1
            voice = voicing[key][turn % len(voicing[key])]
        ornament = each.stroke and _ornament(each.stroke, voicing, step)
        hits.append(Hit(each.time, each.limb, voice, each.strength, ornament or None, each.layer))
    return hits


def _ornament(stroke: Stroke, voicing: Voicing, step: Fraction) -> Ornament | None:
    if stroke.buzz:
        return Ornament(OrnamentKind.BUZZ, length=step)
    if stroke.grace:
        limb = stroke.limb.opposite
        kind = _GRACE_KINDS.get(stroke.grace, OrnamentKind.RUFF)
        return Ornament(kind, stroke.grace, limb, _rule(voicing, limb, "grace")[0])
    return None


def _click(drill: Drill, bars: int) -> Iterator[Hit]:
    """The count-in, and the click beside the exercise with its gaps."""
    if drill.click == "off" and not drill.count_in:
        return
    bar = drill.meter.bar
    on, off = drill.gap or (1, 0)
    last = bars if drill.click == "throughout" else 0
    first_voice, voice = drill.click_voices
    for number in range(-drill.count_in, last):
        if number >= 0 and number % (on + off) >= on:
            continue
        for i, beat in enumerate(drill.meter.beats):
            strength = Strength.TAP if i else Strength.ACCENT
            yield Hit(
                number * bar + beat, None, voice if i else first_voice, strength, None, "click"
            )


def _responses(form: tuple[Span, ...], bars: int, bar: Fraction) -> list[tuple[Fraction, Fraction]]:
    spans = []
    for start, span in _spans(form, 0, bars):
        if span.kind == "response":
            spans.append((start * bar, (start + span.bars) * bar))
    return spans


def _inside(time: Fraction, spans: list[tuple[Fraction, Fraction]]) -> bool:
    return any(start <= time < end for start, end in spans)


def _spans(form: tuple[Span, ...], start: int, bars: int) -> Iterator[tuple[int, Span]]:
    at = start
    while at < bars:
        for span in form:
            yield at, span
            at += span.bars


def _sections(drill: Drill, form: tuple[Span, ...], entry: int, bars: int) -> Iterator[Section]:
    bar = drill.meter.bar
    if drill.count_in:
        length = drill.count_in * bar
        yield Section("count-in", "Count-in", -length, length)
    if form is _CROSS:
        if entry:
            yield Section("entry", "Late entry", Fraction(0), entry * bar)
        yield Section("exercise", "Exercise", entry * bar, (bars - entry) * bar)
        return
    for at, span in _spans(form, 0, bars):
        yield Section(span.kind, _TITLES[span.kind], at * bar, span.bars * bar)


def _dynamics(shape: Shape | None, returns: int, bars: int, bar: Fraction) -> Dynamics:
    if shape is None:
        return Dynamics()
    points: list[tuple[Fraction, Fraction]] = []
    size = shape.bars or returns
    for number, start in enumerate(range(0, bars, size)):
        begins, ends = start * bar, (start + size) * bar
        if shape.kind == "swell":
            points += [(begins, shape.start), (ends, shape.end)]
        else:
            level = shape.end if number % 2 else shape.start
            points += [(begins, level), (ends, level)]
    return Dynamics(tuple(points))
