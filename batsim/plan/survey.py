"""What a survey says of trucks and equipment of one layout, put together for the checks."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from batsim.scenario.parts.fit import Equipment
from batsim.scenario.text.yaml_text import path_text

if TYPE_CHECKING:
    from batsim.scenario.parts.batteries import BatteryType
    from batsim.scenario.parts.fit import Compartment
    from batsim.scenario.parts.handling import Arrangement
    from batsim.scenario.site import Scenario


@dataclass(frozen=True)
class Trucks:
    """Trucks that are alike in what has to fit."""

    name: str
    """Names of their groups."""
    path: str
    """Path of the first of these groups."""
    count: int
    compartment: "Compartment"
    battery_name: str
    battery: "BatteryType"

    @property
    def removal(self) -> str:
        """Where the battery leaves: side, top, either, none; either when nobody says."""
        return self.compartment.removal or "either"

    def battery_path(self, key: str) -> str:
        """Path of something that the battery's type states."""
        return path_text(("batteries", self.battery_name, key))


def trucks_alike(scenario: "Scenario") -> tuple[Trucks, ...]:
    """Truck groups, those that are alike put together."""
    found: dict[tuple[str, str], Trucks] = {}
    for number, group in enumerate(scenario.trucks):
        key = (group.battery, group.compartment.model_dump_json())
        before = found.get(key)
        name = group.group if before is None else f"{before.name}, {group.group}"
        path = f"trucks[{number}]" if before is None else before.path
        count = group.count + (0 if before is None else before.count)
        battery = scenario.batteries[group.battery]
        found[key] = Trucks(name, path, count, group.compartment, group.battery, battery)
    return tuple(found.values())


def equipment_of(scenario: "Scenario", arrangement: "Arrangement", name: str) -> Equipment:
    """Sizes of equipment: those of the site, else those that are usually ordered for the arrangement."""
    usual = arrangement.needs.sizes.get(name, Equipment())
    stated = scenario.equipment.get(name)
    if stated is None:
        return usual
    return usual.model_copy(update={key: getattr(stated, key) for key in stated.model_fields_set})


def equipment_path(name: str, key: str) -> str:
    """Path of a size of equipment."""
    return path_text(("equipment", name, key))


def drawn_out(trucks: Trucks, arrangement: "Arrangement") -> bool:
    """Tell whether batteries are pulled out sideways: not through the top by a hoist, and in the truck only by hand."""
    if arrangement.in_truck:
        watering = trucks.battery.watering
        return watering is not None and watering.by == "hand"
    return arrangement.needs.lifts is None or trucks.removal != "top"


def carried_kg(scenario: "Scenario", arrangement: "Arrangement", device: str) -> float:
    """Own mass of what a device carries beside the battery: trolley, and stand where it is pushed along. [kg]"""
    carrier = arrangement.needs.carrier
    loads: list[tuple[str, ...]] = [(carrier,) if carrier is not None else ()]
    loads += [push.equipment for push in arrangement.needs.pushes if device in push.equipment]
    return max(
        sum(equipment_of(scenario, arrangement, each).own_mass_kg or 0.0 for each in load if each != device)
        for load in loads
    )


def words(name: str) -> str:
    """Name of a device or part as people write it."""
    return name.replace("_", " ")


def stated(scenario: "Scenario", name: str, key: str) -> bool:
    """Tell whether the site states a size of its equipment itself."""
    return getattr(scenario.equipment.get(name, Equipment()), key) is not None
