"""Maintenance of batteries out of trucks."""
