"""Runs: jobs, engines, replications, precision."""
