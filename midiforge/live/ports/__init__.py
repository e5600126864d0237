"""MIDI ports, and what goes through them."""
