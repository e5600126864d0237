"""Exercises in the terminal."""

from midiforge.screen.facts import as_json
from midiforge.screen.show import exercise_lines

__all__ = ["as_json", "exercise_lines"]
