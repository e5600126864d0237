"""The band: percussion, and a bass line and chords over a progression."""
