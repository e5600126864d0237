"""What every output reads: exercises, as hits on an exact timeline."""

from midiforge.model.exercise import Exercise
from midiforge.model.hit import Hit, Limb, Ornament, OrnamentKind, Strength
from midiforge.model.meter import Meter
from midiforge.model.piece import Dynamics, Section, SectionKind, Touch, Variant
from midiforge.model.swing import Swing
from midiforge.model.tempo import TempoMap

__all__ = [
    "Dynamics",
    "Exercise",
    "Hit",
    "Limb",
    "Meter",
    "Ornament",
    "OrnamentKind",
    "Section",
    "SectionKind",
    "Strength",
    "Swing",
    "TempoMap",
    "Touch",
    "Variant",
]
