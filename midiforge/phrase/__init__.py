"""The material: stickings and repeating lines, and the ways to move them."""

from midiforge.phrase.phrase import Phrase, Stroke
from midiforge.phrase.sticking import parse_sticking, write_sticking

__all__ = ["Phrase", "Stroke", "parse_sticking", "write_sticking"]
