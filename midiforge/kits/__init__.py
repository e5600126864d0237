"""Kits: which note a voice is."""
