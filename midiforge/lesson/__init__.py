"""From a drill to its exercises: the music is made here and nowhere else."""

from midiforge.lesson.lesson import exercises, pieces
from midiforge.lesson.variants import Dropped, Material

__all__ = ["Dropped", "Material", "exercises", "pieces"]
