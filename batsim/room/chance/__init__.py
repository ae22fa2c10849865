"""Random numbers: one stream for each purpose, and what is drawn from them in blocks."""
