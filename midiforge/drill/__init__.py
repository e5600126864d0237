"""A drill: the one idea a lesson is made from, read and checked."""

from midiforge.drill.drill import Drill
from midiforge.drill.read import check_drill, read_drill

__all__ = ["Drill", "check_drill", "read_drill"]
