"""Checks on what the survey says: names of equipment, the layout of today, the supply."""

from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any

from batsim import catalogue
from batsim.errors import Problem
from batsim.scenario.parts.base import did_you_mean, shown
from batsim.scenario.parts.fit import BEAM
from batsim.scenario.parts.handling import IN_TRUCK
from batsim.scenario.site import Scenario
from batsim.scenario.text.located_data import LocatedData, Path
from batsim.scenario.text.problems import problem
from batsim.scenario.text.yaml_text import read_file


def equipment_names(arrangement: Mapping[str, Any]) -> list[str]:
    """Names of equipment that an arrangement uses, from its plain data: devices, bay, sizes, parts, pushes."""
    needs = arrangement.get("needs") or {}
    names = [
        *(arrangement.get("devices") or ()),
        *(arrangement.get("watering_devices") or ()),
        *(name for name in (arrangement["bay"],) if name != IN_TRUCK),
        *(name for key in ("lifts", "forks", "carrier", "beside") if (name := needs.get(key)) is not None),
        *(needs.get("rolls_onto") or ()),
        *(needs.get("sizes") or ()),
        *(part["part"] for part in needs.get("parts") or ()),
        *(name for push in needs.get("pushes") or () for name in push["equipment"]),
        *((BEAM,) if needs.get("lifts") is not None else ()),
    ]
    return list(dict.fromkeys(names))


def _in_use(scenario: Scenario) -> list[str]:
    """Equipment of the arrangements of a scenario."""
    kinds = (
        each.model_dump(include={"devices", "watering_devices", "bay", "needs"}) for each in scenario.handling.values()
    )
    return list(dict.fromkeys(name for each in kinds for name in equipment_names(each)))


@cache
def _shipped() -> frozenset[str]:
    """Equipment of the arrangements that ship: stated for a layout that is left out, it does no harm."""
    kinds = [read_file(catalogue.document(f"handling/{name}")).data for name in catalogue.handling_names()]
    return frozenset(name for each in kinds for name in equipment_names(each))


def survey_problems(scenario: Scenario, source: LocatedData) -> Iterator[Problem]:
    """Find equipment that no arrangement uses, parts of devices and a layout of today that are not there, phases."""
    known = _in_use(scenario) if scenario.equipment else []
    for name in scenario.equipment:
        path: Path = ("equipment", name)
        if name not in known and name not in _shipped():
            yield problem(source, path, f"no arrangement uses it{did_you_mean(name, known)}", of_key=True)
    for handling, arrangement in scenario.handling.items():
        devices = [*arrangement.devices, *arrangement.watering_devices]
        for number, part in enumerate(arrangement.needs.parts):
            if part.device is not None and part.device not in devices:
                rule = f"no device of this name in the arrangement{did_you_mean(part.device, devices)}"
                path = ("handling", handling, "needs", "parts", number, "device")
                yield problem(source, path, rule, got=shown(part.device))
    if scenario.present is not None and scenario.present not in scenario.layouts:
        rule = f"no layout of this name{did_you_mean(scenario.present, list(scenario.layouts))}"
        yield problem(source, ("present",), rule, got=shown(scenario.present))
    if scenario.supply.phases not in (1, 3):
        yield problem(source, ("supply", "phases"), "must be 1 or 3", got=str(scenario.supply.phases))
