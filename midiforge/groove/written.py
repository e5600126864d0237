"""Strokes as a bar of a form has them."""

from typing import NamedTuple

from midiforge.groove.ornaments import Stroke
from midiforge.model.hit import Strength

Key = tuple[str, int]  # voice, and place in the bar


class Written(NamedTuple):
    """A stroke as a bar has it. place: in units of the form. off: s from there, later above 0."""

    stroke: Stroke
    place: int
    off: float
    strength: Strength
