"""The parts of a scenario: frozen models, one subject a file."""
