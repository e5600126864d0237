"""Folders that are written in one go: a lesson, a set of loops."""
