"""What an exercise asks of the player; reads exercises and nothing else."""

from midiforge.insight.demands import LIMITS, Demands, LimbDemand, Limit, demands, warnings
from midiforge.insight.difficulty import Difficulty, Part, difficulty, easiest_first
from midiforge.insight.insight import Insight, insight
from midiforge.insight.meetings import Meeting, hands_and_feet, meetings
from midiforge.insight.syncopation import MEASURE, Line, Syncopation, syncopation, syncopations

__all__ = [
    "LIMITS",
    "MEASURE",
    "Demands",
    "Difficulty",
    "Insight",
    "LimbDemand",
    "Limit",
    "Line",
    "Meeting",
    "Part",
    "Syncopation",
    "demands",
    "difficulty",
    "easiest_first",
    "hands_and_feet",
    "insight",
    "meetings",
    "syncopation",
    "syncopations",
    "warnings",
]
