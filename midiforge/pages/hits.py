"""CSV: a row for every stroke, once through each exercise, for spreadsheets and statistics.

The drummer's strokes and those of time layers and the band's percussion; no click, and no tones.
"""

import csv
from collections.abc import Iterable, Iterator
from dataclasses import replace
from fractions import Fraction
from io import StringIO

from midiforge.files.table import cells
from midiforge.kits.kit import Kit
from midiforge.model.counts import place_name
from midiforge.model.exercise import Exercise
from midiforge.model.hit import CLICK
from midiforge.model.spelling import spelled_hit
from midiforge.model.tempo import plain
from midiforge.performance.notes import notes

# bar: from 1. count, step: where in it, as it is said, and from 1 on the exercise's grid ("" for
#   what lies off it).
# numerator, denominator: quarter notes from the first downbeat, as written and exact; in two
#   columns, for a spreadsheet takes 3/2 for a day.
# seconds: from there too, as played, swing and unevenness included.
# layer: "hands", "feet", or what the time layer or percussion part is called.
# stroke: as stickings spell it, ">R", "(L)", "lR".
# sounds: 1, or 0 for what the player answers in bars that are left to them.
COLUMNS = (
    *("exercise", "title", "tempo", "bar", "count", "step", "numerator", "denominator", "seconds"),
    *("limb", "layer", "voice", "stroke", "strength", "ornament", "grace_notes"),
    *("sounds", "channel", "note", "velocity"),
)


def table(exercises: Iterable[Exercise], kit: Kit) -> str:
    """The strokes of exercises as CSV, a row for each."""
    text = StringIO()
    writer = csv.writer(text)
    writer.writerow(COLUMNS)
    for exercise in exercises:
        writer.writerows(cells(row) for row in _rows(exercise, kit))
    return text.getvalue()


def _rows(exercise: Exercise, kit: Kit) -> Iterator[tuple[object, ...]]:
    meter, step, tempo = exercise.meter, exercise.step, exercise.tempo
    strokes = [(hit, 1) for hit in exercise.hits if hit.layer != CLICK]
    strokes += [(hit, 0) for hit in exercise.answers]
    strokes.sort(key=lambda stroke: stroke[0].time)
    # Without its ornament every hit is one note, the stroke itself.
    plain_hits = tuple(replace(hit, ornament=None) for hit, _ in strokes)
    played = notes(exercise.changed(hits=plain_hits), kit)
    for (hit, sounds), note in zip(strokes, played, strict=True):
        bar, within = divmod(hit.time, meter.bar)
        place = within / step
        bpm = 60 / (tempo.quarter(hit.time, after=True) * tempo.pulse)
        seconds = float(tempo.seconds(Fraction(0), note.time)) + note.offset / 1000
        yield (
            *(exercise.number, exercise.title, plain(bpm)),
            *(int(bar) + 1, place_name(meter, step, within)),
            int(place) + 1 if place.denominator == 1 else "",
            *(hit.time.numerator, hit.time.denominator, f"{seconds:.6f}"),
            *(hit.limb or "", hit.layer, hit.voice, spelled_hit(hit) if hit.limb else ""),
            *(hit.strength, hit.ornament.kind if hit.ornament else ""),
            hit.ornament.grace_notes if hit.ornament else 0,
            *(sounds, kit.channel, note.number, note.velocity),
        )
