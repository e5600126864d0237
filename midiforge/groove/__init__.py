"""Bringing in a groove: a MIDI file of drums becomes a drill."""
