"""Standard MIDI Files: bytes read, and bytes made of exercises."""
