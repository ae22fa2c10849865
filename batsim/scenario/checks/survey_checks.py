"""Checks on what the survey says: names of equipment, the layout of today, the supply."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from batsim.errors import Problem
from batsim.scenario.parts.faults import did_you_mean, shown
from batsim.scenario.parts.fit import BEAM
from batsim.scenario.parts.handling import IN_TRUCK
from batsim.scenario.site import Scenario
from batsim.scenario.text.located_data import LocatedData


def equipment_names(arrangement: Mapping[str, Any]) -> list[str]:
    """Names of equipment that an arrangement uses, from its plain data: devices, bay, sizes, parts, pushes."""
    needs = arrangement.get("needs") or {}
    names = [
        *device_names(arrangement),
        *(name for name in (arrangement["bay"],) if name != IN_TRUCK),
        *_names_under(
            needs, "lifts", "forks", "forks_under", "rolls_on", "beside", "rolls_onto", "sizes", "dimensions"
        ),
        *listed_parts(arrangement),
        *(name for push in needs.get("pushes") or () for name in push["equipment"]),
        *((BEAM,) if needs.get("lifts") else ()),
    ]
    return list(dict.fromkeys(names))


def device_names(arrangement: Mapping[str, Any]) -> list[str]:
    """Names of the devices of an arrangement, from its plain data."""
    return list(_names_under(arrangement, "devices", "watering_devices"))


def listed_parts(arrangement: Mapping[str, Any]) -> list[str]:
    """Names of the parts that an arrangement puts on the equipment list, from its plain data."""
    needs = arrangement.get("needs") or {}
    return [part["part"] for part in needs.get("parts") or ()]


def _names_under(block: Mapping[str, Any], *keys: str) -> Iterator[str]:
    """Names that stand under some keys of a block, one or several each."""
    for key in keys:
        names = block.get(key) or ()
        yield from (names,) if isinstance(names, str) else names


def survey_problems(scenario: Scenario, source: LocatedData, shipped: Sequence[str]) -> Iterator[Problem]:
    """Find equipment that no arrangement uses, parts of devices that are not there, phases.

    `shipped` is the equipment of the arrangements that ship: stated for a layout that is left out, it does no harm.
    """
    kinds = (handling.model_dump(include=EQUIPMENT_KEYS) for handling in scenario.handling.values())
    known = list(dict.fromkeys(name for kind in kinds for name in equipment_names(kind)))
    for name in scenario.equipment:
        if name not in known and name not in shipped:
            rule = f"no arrangement uses it{did_you_mean(name, known)}"
            yield source.problem(("equipment", name), rule, of_key=True)
    yield from _part_devices(scenario, source)
    yield from _dimensions_of(scenario, source)
    if scenario.supply.phases not in (1, 3):
        yield source.problem(("supply", "phases"), "must be 1 or 3", got=str(scenario.supply.phases))


EQUIPMENT_KEYS = {"devices", "watering_devices", "bay", "needs"}
"""Keys of an arrangement that name equipment."""


def _part_devices(scenario: Scenario, source: LocatedData) -> Iterator[Problem]:
    """Find parts of the equipment list that belong to a device which their arrangement does not have."""
    for handling, arrangement in scenario.handling.items():
        devices = [*arrangement.devices, *arrangement.watering_devices]
        for number, part in enumerate(arrangement.needs.parts):
            if part.device is not None and part.device not in devices:
                rule = f"no device of this name in the arrangement{did_you_mean(part.device, devices)}"
                path = ("handling", handling, "needs", "parts", number, "device")
                yield source.problem(path, rule, got=shown(part.device))


def _dimensions_of(scenario: Scenario, source: LocatedData) -> Iterator[Problem]:
    """Find dimensions of what is neither a part nor a device of the arrangement, nor what batteries stand on."""
    for handling, arrangement in scenario.handling.items():
        plain = arrangement.model_dump(include=EQUIPMENT_KEYS)
        plain["needs"].pop("dimensions")
        known = equipment_names(plain)
        for name in arrangement.needs.dimensions:
            if name not in known:
                rule = f"no part, device or bay of this name in the arrangement{did_you_mean(name, known)}"
                yield source.problem(("handling", handling, "needs", "dimensions", name), rule, of_key=True)
