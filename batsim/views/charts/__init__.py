"""Charts: each takes a result and draws it."""
