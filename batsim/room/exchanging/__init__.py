"""Exchanges: the desk, one exchange under way, its devices."""
