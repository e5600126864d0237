"""Voicing: which voice each stroke goes to, voices that take turns included."""

from collections.abc import Iterable
from fractions import Fraction
from math import lcm

from midiforge.drill.drill import Voicing
from midiforge.lesson.strokes import Placed
from midiforge.model.hit import Hit, Limb, Ornament, OrnamentKind
from midiforge.phrase.cycle import turns_to_meet
from midiforge.phrase.phrase import Stroke

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
        ornament = _ornament(placed.stroke, voicing, step) if placed.stroke else None
        layer, grid = placed.layer, placed.grid
        hits.append(Hit(placed.time, placed.limb, voice, placed.strength, ornament, layer, grid))
    return hits


def _ornament(stroke: Stroke, voicing: Voicing, step: Fraction) -> Ornament | None:
    if stroke.buzz:
        return Ornament(OrnamentKind.BUZZ, length=step)
    if stroke.grace:
        hand = stroke.limb.opposite
        voices = voicing.get((hand, "grace")) or voicing[hand, ""]
        kind = _GRACE_KINDS.get(stroke.grace, OrnamentKind.RUFF)
        return Ornament(kind, stroke.grace, hand, voices[0])
    return None
