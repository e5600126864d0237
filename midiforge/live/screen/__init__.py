"""What is seen while playing."""
