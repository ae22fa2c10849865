"""What a survey says of trucks and equipment of one layout, put together for the checks."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from batsim.scenario.parts.batteries import BatteryType
from batsim.scenario.parts.fit import BEAM, Compartment, Equipment
from batsim.scenario.parts.handling import Arrangement
from batsim.scenario.parts.trucks import TruckGroup
from batsim.scenario.site import Scenario
from batsim.scenario.text.located_data import path_text

BATTERY_ROOM, BUILDING = "battery room", "building"
"""Spaces in which batteries are charged: out of their trucks, and in them."""


def spaces_of(scenario: Scenario, layout: str) -> dict[str, dict[str, Scenario]]:
    """Areas of a layout, each as if there were no other, by the space in which they charge; the battery room first."""
    spaces: dict[str, dict[str, Scenario]] = {BATTERY_ROOM: {}, BUILDING: {}}
    for area, site in scenario.areas_of(layout).items():
        spaces[BUILDING if site.arrangement(layout).in_truck else BATTERY_ROOM][area] = site
    return {space: areas for space, areas in spaces.items() if areas}


@dataclass(frozen=True)
class Trucks:
    """Trucks that are alike in what has to fit."""

    name: str
    """Names of their groups."""
    path: str
    """Path of the first of these groups."""
    count: int
    compartment: Compartment
    battery_name: str
    battery: BatteryType

    @property
    def removal(self) -> str:
        """Where the battery leaves: side, top, either, none; either when nobody says."""
        return self.compartment.removal or "either"

    @property
    def battery_at(self) -> str:
        """Path of the battery's type."""
        return path_text(("batteries", self.battery_name))

    @property
    def compartment_at(self) -> str:
        """Path of the compartment."""
        return f"{self.path}.compartment"


def trucks_alike(scenario: Scenario) -> tuple[Trucks, ...]:
    """Truck groups, those that are alike put together."""
    alike: dict[tuple[str, str], list[TruckGroup]] = {}
    for group in scenario.trucks:
        alike.setdefault((group.battery, group.compartment.model_dump_json()), []).append(group)
    return tuple(_together(scenario, groups) for groups in alike.values())


def _together(scenario: Scenario, groups: Sequence[TruckGroup]) -> Trucks:
    """Truck groups that are alike as one."""
    first, *_ = groups
    return Trucks(
        listed([group.group for group in groups]),
        f"trucks[{scenario.number_of(first.group)}]",
        sum(group.count for group in groups),
        first.compartment,
        first.battery,
        scenario.batteries[first.battery],
    )


def equipment_of(scenario: Scenario, arrangement: Arrangement, name: str) -> Equipment:
    """Sizes of equipment: those of the site, else those that are usually ordered for the arrangement."""
    usual = arrangement.needs.sizes.get(name, Equipment())
    own = scenario.equipment.get(name)
    if own is None:
        return usual
    return usual.model_copy(update={key: getattr(own, key) for key in own.model_fields_set})


def equipment_path(name: str) -> str:
    """Path of a kind of equipment."""
    return path_text(("equipment", name))


def pulled_out(trucks: Trucks, arrangement: Arrangement) -> bool:
    """Whether batteries are pulled out sideways: not through the top by a hoist, and in the truck only by hand."""
    if arrangement.in_truck:
        watering = trucks.battery.watering
        return watering is not None and watering.by == "hand"
    return arrangement.needs.lifts is None or trucks.removal != "top"


def carried_kg(scenario: Scenario, arrangement: Arrangement, device: str) -> float:
    """Own mass of what a device carries beside the battery: a spreader beam, or what forks go under. [kg]"""
    needs = arrangement.needs
    beside = {needs.lifts: BEAM, needs.forks: needs.forks_under}.get(device)
    return 0.0 if beside is None else equipment_of(scenario, arrangement, beside).own_mass_kg or 0.0


def has_rollers(trucks: Trucks) -> bool:
    """Whether the battery rolls already: on rollers in the truck, or on those under its tray."""
    return "rollers" in (trucks.compartment.floor, trucks.battery.base)


def is_there(scenario: Scenario, layout: str, name: str) -> bool:
    """Whether equipment is there to be measured: the survey says something of it, or the layout owns it."""
    owned = scenario.layouts[layout].owned if layout in scenario.layouts else ()
    return name in scenario.equipment or name in owned


def spare_batteries(scenario: Scenario, layout: str) -> int:
    """Batteries of a layout beside those in trucks."""
    return sum(scenario.batteries_of(layout).values()) - sum(group.count for group in scenario.trucks)


def has_acid(scenario: Scenario, layout: str) -> bool:
    """Whether a layout has vented batteries, whose acid can spill."""
    return any(scenario.batteries[name].chemistry == "vented_lead_acid" for name in scenario.batteries_of(layout))


def coldest_degc(scenario: Scenario, battery: str) -> float:
    """Coldest air of the year about batteries of a type, or of their electrolyte where that is stated. [degC]"""
    groups = [group for group in scenario.trucks if group.battery == battery]
    airs = [min(group.air) for group in groups if group.air is not None]
    stated = [group.temperature_degc for group in groups if group.temperature_degc is not None]
    return min([*scenario.site.room_air, *airs, *stated])


def named(area: str, text: str) -> str:
    """Something of an area in a few words, with the area's name before it where it has one."""
    return f"{area}: {text}" if area else text


def in_area(area: str, text: str) -> str:
    """What is said of an area, with its name before it where it has one."""
    return f"area '{area}': {text}" if area else text


def each_once(found: Iterable[tuple[str, str]], areas: Collection[str]) -> list[str]:
    """Texts that are about areas, each once: of several areas, with the names of those that it is about before it."""
    about: dict[str, dict[str, None]] = {}
    for area, text in found:
        about.setdefault(text, {})[f"'{area}'"] = None
    return [
        text if len(names) == len(areas) else f"area{'s' * (len(names) > 1)} {listed([*names])}: {text}"
        for text, names in about.items()
    ]


def sentence_of(text: str) -> str:
    """Text as it begins a sentence."""
    return f"{text[0].upper()}{text[1:]}"


def inside(title: str) -> str:
    """Title as it is written within a sentence."""
    return f"{title[0].lower()}{title[1:]}"


def listed(names: Sequence[str]) -> str:
    """Names in a row, the last after an `and`."""
    return " and ".join(part for part in (", ".join(names[:-1]), *names[-1:]) if part)
