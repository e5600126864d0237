"""Everything there is to say about one exercise, read once."""

from midiforge.frozen import frozen
from midiforge.insight.demands import Demands, demands, warnings
from midiforge.insight.difficulty import Difficulty, difficulty
from midiforge.insight.loop import Meeting, loop_of, meetings
from midiforge.insight.syncopation import Syncopation, syncopation
from midiforge.model.exercise import Exercise


@frozen
class Insight:
    """What an exercise asks of the player, all of it."""

    demands: Demands
    meetings: tuple[Meeting, ...]
    syncopation: Syncopation
    difficulty: Difficulty
    warnings: tuple[str, ...]


def insight(exercise: Exercise) -> Insight:
    """Everything there is to say about an exercise."""
    loop = loop_of(exercise)
    asked = demands(exercise, loop)
    off_beat = syncopation(exercise, loop)
    return Insight(
        demands=asked,
        meetings=meetings(exercise, loop),
        syncopation=off_beat,
        difficulty=difficulty(exercise, asked, off_beat, loop),
        warnings=warnings(asked),
    )
