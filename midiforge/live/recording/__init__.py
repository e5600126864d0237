"""What the kit sends, kept as takes."""
