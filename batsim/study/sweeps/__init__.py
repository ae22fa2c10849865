"""Sweeps: many points of a scenario, each case run once and kept."""
