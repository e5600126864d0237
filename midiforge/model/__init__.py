"""What every output reads: exercises, as hits on an exact timeline."""
