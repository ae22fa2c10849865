"""Which counts, and which layout: search, answer, ranking."""
