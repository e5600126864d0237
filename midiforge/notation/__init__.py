"""How an exercise is written: staff places, note values, bars that repeat."""

from midiforge.notation.score import Score
from midiforge.notation.write import scores, write

__all__ = ["Score", "scores", "write"]
