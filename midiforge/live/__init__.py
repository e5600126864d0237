"""Live MIDI: an exercise streamed to a port in time, and what comes back from the kit."""
