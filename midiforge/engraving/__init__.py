"""Engraved notation: bars as shapes, cut into pieces that stand side by side."""
