"""What sounds: hits as notes."""
