"""What there may be to say of a take: one function for each thing, "" where it is not so."""
