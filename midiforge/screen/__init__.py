"""Exercises in the terminal. Rich is imported only when something is shown."""

from midiforge.screen.facts import as_json
from midiforge.screen.show import show_exercise

__all__ = ["as_json", "show_exercise"]
