"""Pages: the report, and what a notebook shows."""
