"""Exercises in the terminal."""
