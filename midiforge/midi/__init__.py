"""Standard MIDI Files: one for each exercise, and one for the whole lesson."""

from midiforge.midi.exercise_file import exercise_bytes
from midiforge.midi.folder import Built, build

__all__ = ["Built", "build", "exercise_bytes"]
