"""What is live: it runs in processes of its own, so that the page does not hold up a note, and a
MIDI library that crashes does not take the page along."""
