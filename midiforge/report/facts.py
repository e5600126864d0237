"""A review as plain data, for `--json` and for whoever scripts it.

Names end with the unit: `_ms` (milliseconds, below 0 ahead), `_s` (seconds), `_percent` (of a
grid step), `_bpm` (pulses a minute), `_share` (0 to 1). What is not known is null.
"""

import json
import math
from collections.abc import Iterator
from typing import Any

from midiforge.hear.figures import Levels, Tally, Timing
from midiforge.hear.known import NOTHING, Known
from midiforge.hear.review import Review
from midiforge.model.exercise import Exercise
from midiforge.report import studies
from midiforge.report.sentence import advice, said
from midiforge.report.view import View

STROKE_COLUMNS = (
    "kind", "time_s", "off_ms", "velocity", "voice", "limbs", "strength", "bar", "count", "round",
    "due_s",
)  # fmt: skip


def as_json(
    review: Review, known: Known = NOTHING, step: str = "", verdict: str = ""
) -> dict[str, Any]:
    """Everything in a review, of JSON's own kinds only.

    step: what to do next, in words; "" if that is not known. verdict: why it is good or not.

    `strokes` is a table, for it is long: `columns` names what stands in each of `rows`.
    """
    view = View(review)
    found = said(view, known)
    first, points = advice(view, known)
    return {
        "sentence": first.text,
        "verdict": verdict or None,
        "next": step or None,
        "points": points,
        "rules": [rule.name for rule, _ in found],
        "exercise": _exercise(review.exercise),
        "chosen": known.chosen,
        "likelier_kit": known.likelier_kit or None,
        "as_likely": [
            {"number": str(each.number.whole), "title": each.title} for each in known.unsure
        ],
        "compared": [
            {"number": str(each.exercise.number), "title": each.exercise.title,
             "like_share": _number(each.like)}
            for each in known.others
        ],
        "source": review.source,
        "like_share": _number(review.like),
        "start_s": _number(review.start),
        "delay_ms": _number(review.delay_ms),
        "known_delay_ms": _number(review.known_delay_ms),
        "tempo_bpm": _number(review.tempo),
        "played_tempo_bpm": _number(review.played_tempo),
        "drift_ms_per_bar": _number(review.drift_ms_per_bar),
        "bars": _number(review.bars),
        "seconds_s": _number(review.seconds),
        "step_ms": _number(review.step_ms),
        "strokes_all": {**_tally(review.tally), **_timing(review.timing)},
        "limbs": [
            {"limb": each.limb.value, "certain": each.certain, **_tally(each.tally),
             **_timing(each.timing), **_levels(each.levels)}
            for each in review.limbs
        ],
        "counts": [
            {"count": each.count, **_tally(each.tally), **_timing(each.timing),
             "missed_most_by": each.worst.value if each.worst else None}
            for each in review.counts
        ],
        "rounds": [
            {"round": each.number, **_tally(each.tally), **_timing(each.timing),
             "tempo_bpm": _number(each.tempo)}
            for each in review.rounds
        ],
        "tempos": [
            {"tempo_bpm": _number(each.tempo), **_tally(each.tally), **_timing(each.timing)}
            for each in review.tempos
        ],
        "together": [
            {"limbs": [limb.value for limb in each.limbs], "count": each.count,
             "times": each.times, "gap_ms": _number(each.gap_ms),
             "deviation_ms": _number(each.deviation_ms)}
            for each in review.together
        ],
        "doubles": [
            {"limb": each.limb.value, "times": each.times, "late_ms": _number(each.late_ms),
             "deviation_ms": _number(each.deviation_ms),
             "second_to_first_velocity": _number(each.softer)}
            for each in review.doubles
        ],
        "kinds": dict(review.kinds),
        "unknown_notes": {str(number): times for number, times in review.unknown.items()},
        "other_zones": [
            {"expected": wanted, "heard": heard, "times": times}
            for (wanted, heard), times in review.other_zones.items()
        ],
        "remarks": list(review.remarks),
        "professionals": {
            "source": studies.SOURCE,
            "tempos": studies.tempos_of(review.tempo),
            "mean_ms": {
                limb.value: each.said
                for limb, each in studies.professionals(review.tempo).items()
            },
        },
        "players_time": {
            "due_s": [_number(each) for each in review.line.dues],
            "time_s": [_number(each) for each in review.line.times],
            "jumps_s": [[_number(at), _number(shift)] for at, shift in review.line.jumps],
        },
        "strokes": {"columns": list(STROKE_COLUMNS), "rows": list(_rows(view))},
    }  # fmt: skip


def written(facts: dict[str, Any]) -> str:
    """The facts as JSON text, a line to each part; the table of strokes would need thousands."""
    parts = (
        f"{json.dumps(name)}: {json.dumps(value, allow_nan=False)}" for name, value in facts.items()
    )
    return "{\n  " + ",\n  ".join(parts) + "\n}"


def _exercise(exercise: Exercise) -> dict[str, Any]:
    return {
        "number": str(exercise.number),
        "title": exercise.title,
        "stage": exercise.stage,
        "meter": str(exercise.meter),
        "pulse": exercise.meter.pulse_name,
        "tempo_bpm": [_number(float(tempo)) for _, tempo in exercise.tempo.changes],
        "returns_after_bars": exercise.returns_after_bars,
    }


def _rows(view: View) -> Iterator[list[Any]]:
    for stroke in view.review.judged:
        due = stroke.due
        yield [
            stroke.kind,
            None if stroke.time is None else round(stroke.time, 4),
            None if stroke.off_ms is None else round(stroke.off_ms, 1),
            stroke.velocity,
            stroke.voice,
            "+".join([hit.limb.value for hit in due.hits if hit.limb]) if due else None,
            due.hit.strength.value if due else None,
            due.bar if due else None,
            view.count(due.place) if due else None,
            due.round if due else None,
            round(due.time, 4) if due else None,
        ]


def _tally(tally: Tally) -> dict[str, Any]:
    return {
        "expected": tally.expected,
        "hit": tally.hit,
        "moved": tally.moved,
        "pulled": tally.pulled,
        "missed": tally.missed,
        "extra": tally.extra,
        "added": tally.added,
        "clean_share": _number(tally.clean),
    }


def _timing(timing: Timing) -> dict[str, Any]:
    return {
        "mean_ms": _number(timing.mean_ms),
        "deviation_ms": _number(timing.deviation_ms),
        "deviation_percent": _number(timing.deviation_percent),
    }


def _levels(levels: Levels) -> dict[str, Any]:
    return {
        "accent_velocity": _number(levels.accent),
        "tap_velocity": _number(levels.tap),
        "ghost_velocity": _number(levels.ghost),
        "accent_to_tap": _number(levels.ratio),
        "taps_as_loud_as_accents_share": _number(levels.overlap),
    }


def _number(value: float | None) -> int | float | None:
    if value is None or not math.isfinite(value):
        return None
    rounded = round(value, 3)
    return int(rounded) if rounded == int(rounded) else rounded
