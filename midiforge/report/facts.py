"""A review as plain data, for `--json` and for whoever scripts it.

Names end with the unit: `_ms` (milliseconds, below 0 ahead), `_s` (seconds), `_percent` (of a
grid step), `_bpm` (pulses a minute), `_share` (0 to 1). What is not known is null.
"""

import json
import math
from collections.abc import Iterator
from typing import Any

from midiforge.hear.figures import CountFigures, Levels, LimbFigures, RoundFigures, TempoFigures
from midiforge.hear.known import NOTHING, Known
from midiforge.hear.review import Review
from midiforge.model.exercise import Exercise
from midiforge.report import studies
from midiforge.report.sentence import advice, said
from midiforge.report.view import View

Plain = dict[str, Any]

STROKE_COLUMNS = (
    "kind", "time_s", "off_ms", "velocity", "voice", "limbs", "strength", "bar", "count", "round",
    "due_s",
)  # fmt: skip


def as_json(review: Review, known: Known = NOTHING, step: str = "", verdict: str = "") -> Plain:
    """Everything in a review, of JSON's own kinds only.

    step: what to do next, in words; "" if that is not known. verdict: why it is good or not.

    `strokes` is a table, for it is long: `columns` names what stands in each of `rows`.
    """
    view = View(review)
    first, points = advice(view, known)
    facts = {
        "sentence": first.text,
        "verdict": verdict or None,
        "next": step or None,
        "points": points,
        "rules": [rule.name for rule, _ in said(view, known)],
        "exercise": _exercise(review.exercise),
        "chosen": known.chosen,
        "likelier_kit": known.likelier_kit or None,
        "as_likely": [
            {"number": str(exercise.number.whole), "title": exercise.title}
            for exercise in known.unsure
        ],
        "changed_over": str(known.changed_over.number) if known.changed_over else None,
        "compared": [
            {"number": str(other.exercise.number), "title": other.exercise.title,
             "like_share": other.like}
            for other in known.others
        ],
        "source": review.source,
        "like_share": review.like,
        "start_s": review.start,
        "delay_ms": review.delay_ms,
        "known_delay_ms": review.known_delay_ms,
        "tempo_bpm": review.tempo,
        "played_tempo_bpm": review.played_tempo,
        "drift_ms_per_bar": review.drift_ms_per_bar,
        "bars": review.bars,
        "seconds_s": review.seconds,
        "step_ms": review.step_ms,
        "strokes_all": _figures(review),
        "limbs": [
            {"limb": limb.limb.value, "certain": limb.certain, **_figures(limb),
             **_levels(limb.levels)}
            for limb in review.limbs
        ],
        "counts": [
            {"count": count.count, **_figures(count),
             "missed_most_by": count.worst.value if count.worst else None}
            for count in review.counts
        ],
        "rounds": [
            {"round": time.number, **_figures(time), "tempo_bpm": time.tempo}
            for time in review.rounds
        ],
        "tempos": [{"tempo_bpm": tempo.tempo, **_figures(tempo)} for tempo in review.tempos],
        "together": [
            {"limbs": [limb.value for limb in pair.limbs], "count": pair.count,
             "times": pair.times, "gap_ms": pair.gap_ms, "deviation_ms": pair.deviation_ms}
            for pair in review.together
        ],
        "doubles": [
            {"limb": double.limb.value, "times": double.times, "late_ms": double.late_ms,
             "deviation_ms": double.deviation_ms, "second_to_first_velocity": double.softer}
            for double in review.doubles
        ],
        "graces": [
            {"ornament": figures.kind.value, "times": figures.times, "heard": figures.heard,
             "gap_ms": figures.gap_ms}
            for figures in review.graces
        ],
        "kinds": dict(review.kinds),
        "unknown_notes": {str(number): times for number, times in review.unknown.items()},
        "other_zones": [
            {"expected": wanted, "heard": heard, "times": times}
            for (wanted, heard), times in review.other_zones.items()
        ],
        "remarks": review.remarks,
        "professionals": {
            "source": studies.SOURCE,
            "tempos": studies.tempos_of(review.tempo),
            "mean_ms": {
                limb.value: professional.said
                for limb, professional in studies.professionals(review.tempo).items()
            },
        },
        "players_time": {
            "due_s": review.line.dues,
            "time_s": review.line.times,
            "jumps_s": review.line.jumps,
        },
    }  # fmt: skip
    strokes = {"columns": list(STROKE_COLUMNS), "rows": list(_rows(view))}
    return {**{name: _plain(value) for name, value in facts.items()}, "strokes": strokes}


def written(facts: Plain) -> str:
    """The facts as JSON text, a line to each part; the table of strokes would need thousands."""
    parts = (
        f"{json.dumps(name)}: {json.dumps(value, allow_nan=False)}" for name, value in facts.items()
    )
    return "{\n  " + ",\n  ".join(parts) + "\n}"


def _exercise(exercise: Exercise) -> Plain:
    return {
        "number": str(exercise.number),
        "title": exercise.title,
        "stage": exercise.stage,
        "meter": str(exercise.meter),
        "pulse": exercise.meter.pulse_name,
        "tempo_bpm": [float(tempo) for _, tempo in exercise.tempo.changes],
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


def _figures(of: Review | LimbFigures | CountFigures | RoundFigures | TempoFigures) -> Plain:
    """What became of strokes, and how they lie."""
    tally, timing = of.tally, of.timing
    return {
        "expected": tally.expected,
        "hit": tally.hit,
        "moved": tally.moved,
        "pulled": tally.pulled,
        "missed": tally.missed,
        "extra": tally.extra,
        "added": tally.added,
        "clean_share": tally.clean,
        "mean_ms": timing.mean_ms,
        "deviation_ms": timing.deviation_ms,
        "deviation_percent": timing.deviation_percent,
    }


def _levels(levels: Levels) -> Plain:
    return {
        "accent_velocity": levels.accent,
        "tap_velocity": levels.tap,
        "ghost_velocity": levels.ghost,
        "accent_to_tap": levels.ratio,
        "taps_as_loud_as_accents_share": levels.overlap,
    }


def _plain(value: Any) -> Any:
    """Of JSON's own kinds only; numbers to three decimals."""
    match value:
        case dict():
            return {name: _plain(part) for name, part in value.items()}
        case list() | tuple():
            return [*map(_plain, value)]
        case float() if not math.isfinite(value):
            return None
        case float():
            rounded = round(value, 3)
            return int(rounded) if rounded == int(rounded) else rounded
    return value
