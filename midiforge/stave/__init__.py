"""A bar as a drummer counts it: what every view of text has in common."""
