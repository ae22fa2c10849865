"""Checks against the outside: what is expected is data, with its source; a small function by subject comes to it."""
