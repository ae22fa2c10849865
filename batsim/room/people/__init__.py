"""People: attendants, who is next, jobs of one person."""
