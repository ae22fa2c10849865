"""What the analyst states: frozen models, read from YAML and checked."""
