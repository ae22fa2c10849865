"""The text of a scenario: YAML with its places, problems in the user's words."""
