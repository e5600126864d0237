"""The facts of an exercise as plain data, for `--json` and for whoever scripts it."""

from fractions import Fraction
from typing import Any

from midiforge.insight.insight import insight
from midiforge.insight.loop import hands_and_feet, loop_of
from midiforge.insight.syncopation import MEASURE
from midiforge.insight.words import chord_bars
from midiforge.model.counts import place_name
from midiforge.model.exercise import Exercise
from midiforge.model.hit import Hit

_OF_LIMBS = ("strokes", "grace_notes", "per_second", "sustained", "peak")


def as_json(exercise: Exercise) -> dict[str, Any]:
    """The facts that `exercise_lines` tells, of JSON's own kinds only.

    Rates are in strokes a second, rounded to thousandths; bars count from 1; `hits` are the
    player's in one time round.
    """
    found = insight(exercise)
    asked = found.demands
    return {
        "number": str(exercise.number),
        "title": exercise.title,
        "stage": exercise.stage,
        "meter": str(exercise.meter),
        "tempo": [_number(tempo) for _, tempo in exercise.tempo.changes],
        "pulse": exercise.meter.pulse_name,
        "bars": exercise.bars,
        "count_in_bars": exercise.count_in_bars,
        "returns_after_bars": exercise.returns_after_bars,
        "band": [member.title for member in exercise.band],
        "chords": chord_bars(exercise),
        "hits": [_hit(exercise, hit) for hit in loop_of(exercise).hits],
        "limbs": {
            demand.limb.value: {name: _number(getattr(demand, name)) for name in _OF_LIMBS}
            for demand in asked.limbs
        },
        "longest_run": {
            "strokes": asked.longest_run,
            "hand": asked.run_hand.value if asked.run_hand else None,
            "endless": asked.endless,
        },
        "unisons": {"moments": asked.unisons, "share": _number(asked.unison_share)},
        "meetings": [
            {"bar": met.bar, "count": met.count, "limbs": [limb.value for limb in met.limbs]}
            for met in found.meetings
        ],
        "hand_meets_foot": {
            f"{hand.value}+{foot.value}": len(met)
            for (hand, foot), met in hands_and_feet(found.meetings).items()
        },
        "syncopation": {
            "measure": MEASURE,
            "per_bar": {line.name: _number(line.per_bar) for line in found.syncopation.lines},
        },
        "difficulty": {
            "score": _number(found.difficulty.score),
            "parts": {part.name: _number(part.points) for part in found.difficulty.parts.values()},
            "why": [part.why for part in found.difficulty.hardest],
        },
        "warnings": list(found.warnings),
    }


def _hit(exercise: Exercise, hit: Hit) -> dict[str, Any]:
    ornament = hit.ornament
    return {
        "bar": int(hit.time // exercise.meter.bar) + 1,
        "count": place_name(exercise.meter, exercise.step, hit.time),
        "limb": hit.limb.value if hit.limb else None,
        "voice": hit.voice,
        "strength": hit.strength.value,
        "ornament": ornament.kind.value if ornament else None,
    }


def _number(value: Fraction | float) -> int | float:
    rounded = round(float(value), 3)
    return int(rounded) if rounded.is_integer() else rounded
