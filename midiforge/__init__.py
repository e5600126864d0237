"""Drum-set independence exercises as MIDI, from one drill.

import midiforge

drill = midiforge.check_drill({"sticking": "RLRR LRLL", "feet": "tumbao", "placements": "beat"})
for exercise in midiforge.exercises(drill):
    print(exercise.number, exercise.title, len(exercise.hits))
midiforge.build_lesson(drill, "lesson")
"""

from typing import TYPE_CHECKING

from midiforge.lazy import lazily

try:  # written when it is installed, from the tag
    from midiforge._version import __version__ as __version__
except ImportError:
    __version__ = "0+unknown"

if TYPE_CHECKING:  # what is public; each is imported when it is first asked for
    from midiforge.calls import advise as advise
    from midiforge.calls import build_lesson as build_lesson
    from midiforge.calls import exercises as exercises
    from midiforge.calls import log_review as log_review
    from midiforge.calls import next_step as next_step
    from midiforge.calls import plan as plan
    from midiforge.calls import play as play
    from midiforge.calls import review as review
    from midiforge.calls import sentences as sentences
    from midiforge.calls import write_loops as write_loops
    from midiforge.calls import write_plan as write_plan
    from midiforge.calls import write_review as write_review
    from midiforge.calls import write_sheet as write_sheet
    from midiforge.drill.drill import Drill as Drill
    from midiforge.drill.read import check_drill as check_drill
    from midiforge.drill.read import read_drill as read_drill
    from midiforge.errors import MidiforgeError as MidiforgeError
    from midiforge.folders.lesson import Built as Built
    from midiforge.folders.loops import LoopReport as LoopReport
    from midiforge.groove.groove import import_groove as import_groove
    from midiforge.groove.imported import Imported as Imported
    from midiforge.hear.choice import Reviewed as Reviewed
    from midiforge.hear.known import Known as Known
    from midiforge.hear.review import Review as Review
    from midiforge.hear.take import Take as Take
    from midiforge.hear.take import read_take as read_take
    from midiforge.kits.kit import Kit as Kit
    from midiforge.kits.kit import kit_names as kit_names
    from midiforge.kits.kit import read_kit as read_kit
    from midiforge.lesson.lesson import Lesson as Lesson
    from midiforge.lesson.outline import LeftOut as LeftOut
    from midiforge.lesson.outline import Outline as Outline
    from midiforge.library.band import Instrument as Instrument
    from midiforge.library.band import Percussion as Percussion
    from midiforge.library.band import Style as Style
    from midiforge.library.band import instruments as instruments
    from midiforge.library.band import percussion as percussion
    from midiforge.library.band import styles as styles
    from midiforge.library.shelf import LibraryOstinato as LibraryOstinato
    from midiforge.library.shelf import Rudiment as Rudiment
    from midiforge.library.shelf import Voice as Voice
    from midiforge.library.shelf import ostinatos as ostinatos
    from midiforge.library.shelf import rudiments as rudiments
    from midiforge.library.shelf import voices as voices
    from midiforge.live.clock.timing import LatenessFigures as LatenessFigures
    from midiforge.live.ports.output import TakesMessages as TakesMessages
    from midiforge.loops import Loop as Loop
    from midiforge.loops import Shape as Shape
    from midiforge.midi.exercise_file import exercise_bytes as exercise_bytes
    from midiforge.midi.mido_file import midi_file as midi_file
    from midiforge.model.band import ChordMark as ChordMark
    from midiforge.model.band import Member as Member
    from midiforge.model.band import Tone as Tone
    from midiforge.model.exercise import Exercise as Exercise
    from midiforge.model.hit import Hit as Hit
    from midiforge.model.hit import Limb as Limb
    from midiforge.model.hit import Ornament as Ornament
    from midiforge.model.hit import OrnamentKind as OrnamentKind
    from midiforge.model.hit import Strength as Strength
    from midiforge.model.meter import Meter as Meter
    from midiforge.model.number import Number as Number
    from midiforge.model.piece import Dynamics as Dynamics
    from midiforge.model.piece import Moved as Moved
    from midiforge.model.piece import Piece as Piece
    from midiforge.model.piece import Section as Section
    from midiforge.model.piece import Touch as Touch
    from midiforge.model.piece import Variant as Variant
    from midiforge.model.piece import Writing as Writing
    from midiforge.model.swing import Swing as Swing
    from midiforge.model.tempo import TempoMap as TempoMap
    from midiforge.performance.notes import held as held
    from midiforge.performance.notes import notes as notes
    from midiforge.performance.seam import Held as Held
    from midiforge.performance.seam import Note as Note
    from midiforge.phrase.phrase import Phrase as Phrase
    from midiforge.phrase.sticking import parse_sticking as parse_sticking
    from midiforge.phrase.sticking import write_sticking as write_sticking
    from midiforge.practice.plan import Plan as Plan
    from midiforge.practice.standing import Advice as Advice
    from midiforge.session import BuildReport as BuildReport
    from midiforge.session import Session as Session
    from midiforge.session import SheetReport as SheetReport
else:
    __getattr__, __dir__ = lazily(__name__, __file__)
