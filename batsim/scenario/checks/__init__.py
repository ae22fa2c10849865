"""Rules that need more than one part of a scenario."""
