"""Exercises in the terminal. Rich is imported only when something is shown."""
