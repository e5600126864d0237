"""How a review reads: one sentence, the terminal, JSON, one HTML page."""
