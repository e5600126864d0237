"""Loops to play along with: an exercise with something left out, gaps in it, or a ladder of it."""
