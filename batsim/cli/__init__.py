"""The commands of batsim. Only wires; heavy parts are loaded when a command needs them."""

from batsim.cli import layouts, looks, plans, scenarios, studies
from batsim.cli.group import main

__all__ = ["layouts", "looks", "main", "plans", "scenarios", "studies"]
