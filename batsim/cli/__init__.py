"""The commands of batsim. Only wires; heavy parts are loaded when a command needs them."""

from batsim.cli import calibrate, guide, inspect, layouts, new, plans, scenarios, studies, survey, verify
from batsim.cli.group import main

__all__ = [
    "calibrate", "guide", "inspect", "layouts", "main", "new", "plans", "scenarios", "studies", "survey", "verify",
]  # fmt: skip
