"""Drum-set independence exercises as MIDI, from one drill.

import midiforge

drill = midiforge.check_drill({"sticking": "RLRR LRLL", "feet": "tumbao", "placements": "beat"})
for exercise in midiforge.exercises(drill):
    print(exercise.order, exercise.title, len(exercise.hits))
midiforge.build_lesson(drill, "lesson")
"""

from typing import TYPE_CHECKING

from midiforge.lazy import lazily

__version__ = "0.1.0"

if TYPE_CHECKING:
    from midiforge.drill.drill import Drill
    from midiforge.drill.read import check_drill, read_drill
    from midiforge.errors import MidiforgeError
    from midiforge.kit import Kit, read_kit
    from midiforge.lesson.lesson import exercises
    from midiforge.library.shelf import ostinatos, rudiments, voices
    from midiforge.midi.exercise_file import exercise_bytes
    from midiforge.model.exercise import Exercise, Section, Variant
    from midiforge.model.hit import Hit, Limb, Ornament, Strength
    from midiforge.model.track import ChordMark, Tone, Track
    from midiforge.performance import Note, notes
    from midiforge.phrase.sticking import parse_sticking, write_sticking
    from midiforge.play_along import LoopReport, write_loops
    from midiforge.workshop import Report, build_lesson
else:
    __getattr__ = lazily(
        __name__,
        {
            "ChordMark": "midiforge.model.track",
            "Drill": "midiforge.drill.drill",
            "Exercise": "midiforge.model.exercise",
            "Hit": "midiforge.model.hit",
            "Kit": "midiforge.kit",
            "Limb": "midiforge.model.hit",
            "LoopReport": "midiforge.play_along",
            "MidiforgeError": "midiforge.errors",
            "Note": "midiforge.performance",
            "Ornament": "midiforge.model.hit",
            "Report": "midiforge.workshop",
            "Section": "midiforge.model.exercise",
            "Strength": "midiforge.model.hit",
            "Tone": "midiforge.model.track",
            "Track": "midiforge.model.track",
            "Variant": "midiforge.model.exercise",
            "build_lesson": "midiforge.workshop",
            "check_drill": "midiforge.drill.read",
            "exercise_bytes": "midiforge.midi.exercise_file",
            "exercises": "midiforge.lesson.lesson",
            "notes": "midiforge.performance",
            "ostinatos": "midiforge.library.shelf",
            "parse_sticking": "midiforge.phrase.sticking",
            "read_drill": "midiforge.drill.read",
            "read_kit": "midiforge.kit",
            "rudiments": "midiforge.library.shelf",
            "voices": "midiforge.library.shelf",
            "write_loops": "midiforge.play_along",
            "write_sticking": "midiforge.phrase.sticking",
        },
    )

__all__ = [
    "ChordMark",
    "Drill",
    "Exercise",
    "Hit",
    "Kit",
    "Limb",
    "LoopReport",
    "MidiforgeError",
    "Note",
    "Ornament",
    "Report",
    "Section",
    "Strength",
    "Tone",
    "Track",
    "Variant",
    "build_lesson",
    "check_drill",
    "exercise_bytes",
    "exercises",
    "notes",
    "ostinatos",
    "parse_sticking",
    "read_drill",
    "read_kit",
    "rudiments",
    "voices",
    "write_loops",
    "write_sticking",
]
