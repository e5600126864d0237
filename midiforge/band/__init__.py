"""What plays beside the drummer: percussion, and a bass line and chords over a progression."""
