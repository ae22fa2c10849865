"""Checks on what the survey says: names of equipment, the layout of today, the supply."""

from collections.abc import Iterator

from batsim.errors import Problem
from batsim.scenario.base import shown
from batsim.scenario.handling import Arrangement
from batsim.scenario.marked import Marked, Path
from batsim.scenario.problems import did_you_mean, problem
from batsim.scenario.site import Scenario

BESIDE = ("spreader beam",)
"""Equipment that arrangements with a hoist use, beside what they name."""


def equipment_names(arrangement: Arrangement) -> list[str]:
    """Names of equipment that an arrangement uses: devices, places, sizes, parts, what is pushed."""
    needs = arrangement.needs
    asked = (needs.lifts, needs.forks, needs.carrier, needs.beside)
    names = [
        *arrangement.devices,
        *arrangement.watering_devices,
        *([] if arrangement.in_truck else [arrangement.place]),
        *(name for name in asked if name is not None),
        *needs.rolls_onto,
        *needs.sizes,
        *(part.part for part in needs.parts),
        *(name for push in needs.pushes for name in push.equipment),
        *(BESIDE if needs.lifts is not None else ()),
    ]
    return list(dict.fromkeys(names))


def survey_problems(scenario: Scenario, stated: Marked) -> Iterator[Problem]:
    """Find equipment that no arrangement uses, parts of devices and a layout of today that are not there, phases."""
    known = list(dict.fromkeys(name for each in scenario.handling.values() for name in equipment_names(each)))
    for name in scenario.equipment:
        path: Path = ("equipment", name)
        if name not in known and name not in ALL_SHIPPED:
            yield problem(stated, path, f"no arrangement uses it{did_you_mean(name, known)}", of_key=True)
    for handling, arrangement in scenario.handling.items():
        devices = [*arrangement.devices, *arrangement.watering_devices]
        for number, part in enumerate(arrangement.needs.parts):
            if part.device is not None and part.device not in devices:
                rule = f"no device of this name in the arrangement{did_you_mean(part.device, devices)}"
                path = ("handling", handling, "needs", "parts", number, "device")
                yield problem(stated, path, rule, got=shown(part.device))
    if scenario.present is not None and scenario.present not in scenario.layouts:
        rule = f"no layout of this name{did_you_mean(scenario.present, list(scenario.layouts))}"
        yield problem(stated, ("present",), rule, got=shown(scenario.present))
    if scenario.supply.phases not in (1, 3):
        yield problem(stated, ("supply", "phases"), "must be 1 or 3", got=str(scenario.supply.phases))


ALL_SHIPPED = frozenset(
    {
        "battery_carriage",
        "roller bay",
        "hand_pallet_truck",
        "four-roller trolley",
        "two-roller trolley",
        "stand",
        "hoist",
        "spreader beam",
    }
)
"""Equipment of the arrangements that ship: stated for a layout that is left out, it does no harm."""
