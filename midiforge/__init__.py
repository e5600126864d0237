"""Drum-set independence exercises as MIDI, from one drill.

import midiforge

drill = midiforge.check_drill({"sticking": "RLRR LRLL", "feet": "tumbao", "placements": "beat"})
for exercise in midiforge.exercises(drill):
    print(exercise.number, exercise.title, len(exercise.hits))
midiforge.build_lesson(drill, "lesson")
"""

from typing import TYPE_CHECKING

from midiforge.lazy import lazily

__version__ = "0.1.0"

if TYPE_CHECKING:
    from midiforge.calls import (
        advise,
        build_lesson,
        exercises,
        log_review,
        next_step,
        plan,
        play,
        review,
        sentences,
        write_plan,
        write_review,
        write_sheet,
    )
    from midiforge.drill.drill import Drill
    from midiforge.drill.read import check_drill, read_drill
    from midiforge.errors import MidiforgeError
    from midiforge.folders.lesson import Built
    from midiforge.folders.loops import LoopReport
    from midiforge.groove.groove import import_groove
    from midiforge.groove.imported import Imported
    from midiforge.hear.choice import Reviewed
    from midiforge.hear.known import Known
    from midiforge.hear.review import Review
    from midiforge.hear.take import Take, read_take
    from midiforge.kits.kit import Kit, kit_names, read_kit
    from midiforge.lesson.lesson import Lesson
    from midiforge.lesson.outline import LeftOut, Outline
    from midiforge.library.band import (
        Instrument,
        Percussion,
        Style,
        instruments,
        percussion,
        styles,
    )
    from midiforge.library.shelf import (
        LibraryOstinato,
        Rudiment,
        Voice,
        ostinatos,
        rudiments,
        voices,
    )
    from midiforge.live.clock.timing import LatenessFigures
    from midiforge.loops.loop_set import Loop, Shape
    from midiforge.midi.exercise_file import exercise_bytes
    from midiforge.midi.mido_file import midi_file
    from midiforge.model.band import ChordMark, Tone, Track
    from midiforge.model.exercise import Exercise
    from midiforge.model.hit import Hit, Limb, Ornament, OrnamentKind, Strength
    from midiforge.model.meter import Meter
    from midiforge.model.number import Number
    from midiforge.model.piece import Dynamics, Moved, Piece, Section, Touch, Variant
    from midiforge.model.swing import Swing
    from midiforge.model.tempo import TempoMap
    from midiforge.performance.notes import Held, Note, held, notes
    from midiforge.phrase.phrase import Phrase
    from midiforge.phrase.sticking import parse_sticking, write_sticking
    from midiforge.practice.plan import Plan
    from midiforge.practice.standing import Advice
    from midiforge.session import BuildReport, Session, SheetReport
else:
    __getattr__, __dir__ = lazily(
        __name__,
        {
            "Advice": "midiforge.practice.standing",
            "Built": "midiforge.folders.lesson",
            "ChordMark": "midiforge.model.band",
            "Drill": "midiforge.drill.drill",
            "LeftOut": "midiforge.lesson.outline",
            "Lesson": "midiforge.lesson.lesson",
            "Moved": "midiforge.model.piece",
            "Outline": "midiforge.lesson.outline",
            "Session": "midiforge.session",
            "Dynamics": "midiforge.model.piece",
            "Exercise": "midiforge.model.exercise",
            "Held": "midiforge.performance.notes",
            "Hit": "midiforge.model.hit",
            "Imported": "midiforge.groove.imported",
            "Instrument": "midiforge.library.band",
            "Kit": "midiforge.kits.kit",
            "Known": "midiforge.hear.known",
            "LatenessFigures": "midiforge.live.clock.timing",
            "LibraryOstinato": "midiforge.library.shelf",
            "Limb": "midiforge.model.hit",
            "Loop": "midiforge.loops.loop_set",
            "LoopReport": "midiforge.folders.loops",
            "Meter": "midiforge.model.meter",
            "MidiforgeError": "midiforge.errors",
            "Note": "midiforge.performance.notes",
            "Number": "midiforge.model.number",
            "Piece": "midiforge.model.piece",
            "Ornament": "midiforge.model.hit",
            "OrnamentKind": "midiforge.model.hit",
            "Percussion": "midiforge.library.band",
            "Phrase": "midiforge.phrase.phrase",
            "Plan": "midiforge.practice.plan",
            "BuildReport": "midiforge.session",
            "Review": "midiforge.hear.review",
            "Reviewed": "midiforge.hear.choice",
            "Rudiment": "midiforge.library.shelf",
            "Section": "midiforge.model.piece",
            "Shape": "midiforge.loops.loop_set",
            "SheetReport": "midiforge.session",
            "Strength": "midiforge.model.hit",
            "Style": "midiforge.library.band",
            "Swing": "midiforge.model.swing",
            "Take": "midiforge.hear.take",
            "TempoMap": "midiforge.model.tempo",
            "Tone": "midiforge.model.band",
            "Touch": "midiforge.model.piece",
            "Track": "midiforge.model.band",
            "Variant": "midiforge.model.piece",
            "Voice": "midiforge.library.shelf",
            "advise": "midiforge.calls",
            "build_lesson": "midiforge.calls",
            "check_drill": "midiforge.drill.read",
            "exercise_bytes": "midiforge.midi.exercise_file",
            "exercises": "midiforge.calls",
            "held": "midiforge.performance.notes",
            "import_groove": "midiforge.groove.groove",
            "instruments": "midiforge.library.band",
            "kit_names": "midiforge.kits.kit",
            "log_review": "midiforge.calls",
            "midi_file": "midiforge.midi.mido_file",
            "notes": "midiforge.performance.notes",
            "ostinatos": "midiforge.library.shelf",
            "parse_sticking": "midiforge.phrase.sticking",
            "percussion": "midiforge.library.band",
            "next_step": "midiforge.calls",
            "plan": "midiforge.calls",
            "play": "midiforge.calls",
            "read_drill": "midiforge.drill.read",
            "read_kit": "midiforge.kits.kit",
            "read_take": "midiforge.hear.take",
            "review": "midiforge.calls",
            "rudiments": "midiforge.library.shelf",
            "sentences": "midiforge.calls",
            "styles": "midiforge.library.band",
            "voices": "midiforge.library.shelf",
            "write_loops": "midiforge.calls",
            "write_plan": "midiforge.calls",
            "write_review": "midiforge.calls",
            "write_sheet": "midiforge.calls",
            "write_sticking": "midiforge.phrase.sticking",
        },
    )

__all__ = [
    "Advice",
    "BuildReport",
    "Built",
    "ChordMark",
    "Drill",
    "Dynamics",
    "Exercise",
    "Held",
    "Hit",
    "Imported",
    "Instrument",
    "Kit",
    "Known",
    "LatenessFigures",
    "LeftOut",
    "Lesson",
    "LibraryOstinato",
    "Limb",
    "Loop",
    "LoopReport",
    "Meter",
    "MidiforgeError",
    "Moved",
    "Note",
    "Number",
    "Ornament",
    "OrnamentKind",
    "Outline",
    "Percussion",
    "Phrase",
    "Piece",
    "Plan",
    "Review",
    "Reviewed",
    "Rudiment",
    "Section",
    "Session",
    "Shape",
    "SheetReport",
    "Strength",
    "Style",
    "Swing",
    "Take",
    "TempoMap",
    "Tone",
    "Touch",
    "Track",
    "Variant",
    "Voice",
    "advise",
    "build_lesson",
    "check_drill",
    "exercise_bytes",
    "exercises",
    "held",
    "import_groove",
    "instruments",
    "kit_names",
    "log_review",
    "midi_file",
    "next_step",
    "notes",
    "ostinatos",
    "parse_sticking",
    "percussion",
    "plan",
    "play",
    "read_drill",
    "read_kit",
    "read_take",
    "review",
    "rudiments",
    "sentences",
    "styles",
    "voices",
    "write_loops",
    "write_plan",
    "write_review",
    "write_sheet",
    "write_sticking",
]
