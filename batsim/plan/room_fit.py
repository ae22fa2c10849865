"""Whether the room fits: load on the floor, area, aisle, empty bays, the way to the wash."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from batsim.catalogue import figure
from batsim.plan.checks import FAILS, GEOMETRY, OK, ROUNDING, TO_CHECK, Check, cited, missing
from batsim.plan.survey import equipment_of, equipment_path, trucks_alike, words
from batsim.room.blueprint import blueprint_of
from batsim.scenario.parts.base import UNLIMITED
from batsim.scenario.parts.week import WEEK_MIN
from batsim.units import FREE_FALL_M_PER_S2

if TYPE_CHECKING:
    from batsim.plan.survey import Trucks
    from batsim.scenario.site import Scenario

ROOM = "battery room"
WASH = "way to eyewash and shower"
"""Name of the check that puts an eyewash on the equipment list."""


def room_checks(scenario: "Scenario", layout: str) -> Iterator[Check]:
    """Check the room of a layout."""
    acid = any(scenario.batteries[name].chemistry == "vented_lead_acid" for name in scenario.batteries_of(layout))
    if scenario.arrangement(layout).in_truck:
        if acid:
            yield _wash(scenario)
        return
    yield from _floor_load(scenario, layout)
    yield _area(scenario, layout)
    yield _aisle(scenario, layout)
    yield _empty_bays(scenario, layout)
    if acid:
        yield _acid_proof(scenario)
        yield _wash(scenario)


def _floor_load(scenario: "Scenario", layout: str) -> Iterator[Check]:
    """Weight of a battery, or of a stack of them, over its own area."""
    floor = scenario.layouts[layout].floor
    levels = max((row.levels for row in floor.rows), default=1) if floor is not None else 1
    allowed, what = scenario.room.floor_load_kn_per_m2, "load on the floor"
    rule = f"{GEOMETRY}: weight of {'a stack of ' + str(levels) if levels > 1 else 'a battery'} over its own area"
    for trucks in trucks_alike(scenario):
        size, mass = trucks.battery.size, trucks.battery.mass_kg
        limit = "-" if allowed is None else f"at most {allowed:.3g} kN/m2"
        changes = "whether the slab carries rows of batteries; wheels of carriages and trucks load it more locally"
        if size is None or mass is None:
            ask = f"measure battery '{trucks.battery_name}' and read its mass"
            path = trucks.battery_path("size" if size is None else "mass")
            yield missing(ROOM, what, limit, rule, ask, path, changes)
            continue
        load = levels * mass * float(FREE_FALL_M_PER_S2) / 1000.0 / (size.length_mm * size.width_mm / 1e6)
        value = f"{load:.1f} kN/m2"
        if allowed is None:
            ask = "ask the owner of the building what the floor may carry"
            yield missing(ROOM, f"{what}, {value} asked", limit, rule, ask, "room.floor_load", changes)
        elif load <= allowed + ROUNDING:
            sentence = "The floor carries the batteries; have wheel loads looked at too."
            yield Check(ROOM, what, OK, value, limit, rule, sentence)
        else:
            cure = "spread the load on plates that a structural engineer sizes, fewer levels, or another floor"
            sentence = f"The batteries load the floor {load / allowed:.1f} times as much as it may carry."
            yield Check(ROOM, what, FAILS, value, limit, rule, sentence, cure)


def needed_area_m2(scenario: "Scenario", layout: str) -> float | None:
    """Least floor area of the bays with half of the aisle before each; None before batteries are measured."""
    sizes = [trucks.battery.size for trucks in trucks_alike(scenario)]
    plan = blueprint_of(scenario, layout, WEEK_MIN, 0.0)
    if any(size is None for size in sizes):
        return None
    gap = figure("fit.bay_gap").value
    pitch = max(size.length_mm for size in sizes if size is not None) + gap
    depth = max(size.width_mm for size in sizes if size is not None) + gap
    floor = scenario.layouts[layout].floor
    levels = max((row.levels for row in floor.rows), default=1) if floor is not None else 1
    half_aisle = needed_aisle_m(scenario, layout) / 2.0
    return -(-plan.bays // levels) * pitch / 1000.0 * (depth / 1000.0 + half_aisle)


def needed_aisle_m(scenario: "Scenario", layout: str) -> float:
    """Aisle before the bays: the device, the battery pulled out and room to spare; at least what people need."""
    arrangement = scenario.arrangement(layout)
    key = arrangement.needs.beside or arrangement.needs.forks
    device = None if key is None else equipment_of(scenario, arrangement, key)
    size = _longest(trucks_alike(scenario))
    people = figure("room.aisle_width").value
    if device is None or arrangement.needs.lifts is not None:
        return people
    length = device.length_mm if device.length_mm is not None else device.fork_length_mm
    if length is None or size is None:
        return people
    return max(people, (length + size) / 1000.0 + figure("fit.aisle_extra").value)


def _unknown_in_aisle(scenario: "Scenario", layout: str) -> tuple[str, str] | None:
    """What to measure before an aisle can be said to be wide enough for the device, and where it goes."""
    arrangement = scenario.arrangement(layout)
    key = arrangement.needs.beside or arrangement.needs.forks
    if key is None or arrangement.needs.lifts is not None:
        return None
    device = equipment_of(scenario, arrangement, key)
    if device.length_mm is None and device.fork_length_mm is None:
        return f"measure the length of the {words(key)}", equipment_path(key, "length")
    unmeasured = next((trucks for trucks in trucks_alike(scenario) if trucks.battery.size is None), None)
    return None if unmeasured is None else ("measure the batteries", unmeasured.battery_path("size"))


def _longest(trucks: "tuple[Trucks, ...]") -> float | None:
    """Widest battery across the truck, the way it is pulled out. [mm]"""
    sizes = [each.battery.size for each in trucks]
    return max((size.width_mm for size in sizes if size is not None), default=None)


def _area(scenario: "Scenario", layout: str) -> Check:
    """Floor area for all bays."""
    what, rule = "floor area", f"{GEOMETRY}: each bay with half of the aisle before it; stations and routes beside"
    needed, there = needed_area_m2(scenario, layout), scenario.room.area_m2
    changes = "whether the room holds the bays"
    if needed is None:
        unmeasured = next(trucks for trucks in trucks_alike(scenario) if trucks.battery.size is None)
        return missing(ROOM, what, "-", rule, "measure the batteries", unmeasured.battery_path("size"), changes)
    if there is None:
        ask = f"measure length and width of the room ({needed:.0f} m2 are needed for the bays)"
        path = "room.length" if scenario.room.length_m is None else "room.width"
        return missing(ROOM, what, f"at least {needed:.0f} m2", rule, ask, path, changes)
    value, limit = f"{there:.0f} m2", f"at least {needed:.0f} m2"
    if there >= needed - ROUNDING:
        return Check(ROOM, what, OK, value, limit, rule, "The bays fit, by area.")
    cure = "bays on several levels, fewer batteries, or another room"
    return Check(ROOM, what, FAILS, value, limit, rule, f"{needed - there:.0f} m2 are missing.", cure)


def _aisle(scenario: "Scenario", layout: str) -> Check:
    """Clear width in front of the bays."""
    what, there = "aisle", scenario.room.aisle_m
    needed = needed_aisle_m(scenario, layout)
    people = figure("room.aisle_width")
    practice = figure("fit.aisle_extra")
    rule = cited(people) if needed <= people.value else f"device + battery + {practice.text}: {cited(practice)}"
    limit = f"at least {needed:.2f} m"
    if there is None:
        ask = "measure the clear width in front of the bays"
        changes = "whether device and battery can turn out of a bay; trucks need their turning width beside it"
        return missing(ROOM, what, limit, rule, ask, "room.aisle", changes)
    value = f"{there:.2f} m"
    unknown = _unknown_in_aisle(scenario, layout)
    if unknown is not None and there >= needed - ROUNDING:
        return missing(ROOM, what, limit, rule, *unknown, "whether device and battery have room before the bays")
    if there >= needed - ROUNDING:
        return Check(ROOM, what, OK, value, limit, rule, "Device and battery have room before the bays.")
    return Check(
        ROOM,
        what,
        FAILS,
        value,
        limit,
        rule,
        f"The aisle is {needed - there:.2f} m too narrow.",
        "one row of bays less",
    )


def _empty_bays(scenario: "Scenario", layout: str) -> Check:
    """Empty bays while all batteries that are not in trucks stand in theirs."""
    plan, what = blueprint_of(scenario, layout, WEEK_MIN, 0.0), "empty bays"
    spare = sum(scenario.batteries_of(layout).values()) - sum(group.count for group in scenario.trucks)
    empty, wanted = plan.bays - spare, plan.arrangement.empty_bays * plan.stations
    rule = "the arrangement: each exchange begins with its empty bays free"
    bay = words(plan.arrangement.bay)
    if plan.stations >= UNLIMITED:
        return Check(ROOM, what, OK, "unlimited", "-", rule, "Bays are without limit in this layout.")
    value, limit = f"{empty:.0f}", f"at least {wanted:.0f}, one exchange at each station"
    if empty >= wanted:
        return Check(ROOM, what, OK, value, limit, rule, f"Every station finds an empty {bay}.")
    # Fewer than one exchange needs are refused when the scenario is read.
    sentence = f"Stations wait for each other's empty {bay}."
    return Check(ROOM, what, TO_CHECK, value, limit, rule, sentence, f"add {wanted - empty:.0f} x {bay}")


def _acid_proof(scenario: "Scenario") -> Check:
    """Floor that stands acid and leads charges off."""
    what, rule = "floor against acid", "IEC 62485-3:2014 clause 9 (from memory); 29 CFR 1910.178(g)"
    if scenario.room.acid_proof is None:
        ask = "look whether the floor stands acid, leads charges off, and holds back what is spilt"
        return missing(ROOM, what, "yes", rule, ask, "room.acid_proof", "floor work that is not in the equipment list")
    if scenario.room.acid_proof == "yes":
        return Check(ROOM, what, OK, "yes", "yes", rule, "The floor is made for it.")
    most = figure("room.floor_resistance").text
    cure = f"coat the floor (resistance to earth at most {most}), with a sill or trays and means to neutralise"
    return Check(ROOM, what, FAILS, "no", "yes", rule, "Spilt acid would reach the ground or the neighbours.", cure)


def _wash(scenario: "Scenario") -> Check:
    """Way to the eyewash and shower."""
    reach, us = figure("wash.reach"), figure("wash.reach_distance_us")
    what, there = WASH, scenario.room.wash_m
    rule = f"{cited(us)}; about {reach.text} on foot"
    limit = f"at most {us.value:.1f} m"
    if there is None:
        ask = "pace the way from where acid is handled to the nearest eyewash and shower"
        changes = "whether one has to be ordered"
        return missing("acid work", what, limit, rule, ask, "room.wash", changes)
    value = f"{there:.1f} m"
    if there <= us.value + ROUNDING:
        return Check("acid work", what, OK, value, limit, rule, "Near enough, if nothing stands in the way.")
    cure = "order an eyewash and shower next to where acid is handled"
    return Check("acid work", what, FAILS, value, limit, rule, "Too far for somebody who cannot see.", cure)
