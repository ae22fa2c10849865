"""Scenarios that many tests look at, each read once."""

from pathlib import Path

import batsim

_ROOT = Path(__file__).parents[1]
_SHIPPED, _UNIT = _ROOT / "scenarios", _ROOT / "tests" / "unit"

KESTREL = batsim.read(_SHIPPED / "kestrel-lane.yaml")
LARKFIELD = batsim.read(_SHIPPED / "larkfield-bottling.yaml")
FROSTHOLM = batsim.read(_SHIPPED / "frostholm-cold-store.yaml")
SOUND = batsim.read(_UNIT / "broken" / "sound.yaml")
CART = batsim.read(_UNIT / "cases" / "cart_room.yaml")
SURVEYED = batsim.read(_UNIT / "cases" / "surveyed.yaml")
LEAD_OR_LITHIUM = batsim.read(_UNIT / "cases" / "lead_or_lithium.yaml")
