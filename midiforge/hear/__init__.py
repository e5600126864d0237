"""Takes: what was really played, beside what was written."""
