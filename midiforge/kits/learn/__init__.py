"""Learning a kit from its player, pad by pad."""
