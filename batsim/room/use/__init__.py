"""Use of batteries: how a truck's work uses one up."""
