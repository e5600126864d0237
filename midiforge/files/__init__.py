"""Files: read and written whole, known as ours, replaced all or none."""
