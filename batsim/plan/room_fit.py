"""Whether the room fits: load on the floor, area, aisle, empty bays, the way to the wash."""

from collections.abc import Iterator

from batsim.plan.checks import GEOMETRY, ROUNDING, Check, Requirement, cited
from batsim.plan.survey import Trucks, equipment_of, equipment_path, has_acid, spare_batteries, trucks_alike, words
from batsim.room.blueprint import blueprint_of
from batsim.scenario.parts.handling import Arrangement
from batsim.scenario.parts.kinds import UNLIMITED
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.site import Scenario
from batsim.units import FREE_FALL_M_PER_S2

ROOM = "battery room"
WASH = "way to eyewash and shower"
"""Name of the check that puts an eyewash on the equipment list."""


def room_checks(scenario: Scenario, layout: str) -> Iterator[Check]:
    """Check the room of a layout."""
    acid = has_acid(scenario, layout)
    if not scenario.arrangement(layout).in_truck:
        for trucks in trucks_alike(scenario):
            yield _floor_load(scenario, trucks, _levels(scenario, layout))
        yield _area(scenario, layout)
        yield _aisle(scenario, layout)
        yield _empty_bays(scenario, layout)
        if acid:
            yield _acid_proof(scenario)
    if acid:
        yield _wash(scenario)


def _levels(scenario: Scenario, layout: str) -> int:
    """Most bays above one another."""
    floor = scenario.layouts[layout].floor
    return 1 if floor is None else max((row.levels for row in floor.rows), default=1)


def _floor_load(scenario: Scenario, trucks: Trucks, levels: int) -> Check:
    """Weight of a battery, or of a stack of them, over its own area."""
    allowed, size, mass = scenario.room.floor_load_kn_per_m2, trucks.battery.size, trucks.battery.mass_kg
    rule = f"{GEOMETRY}: weight of {'a stack of ' + str(levels) if levels > 1 else 'a battery'} over its own area"
    changes = "whether the slab carries rows of batteries; wheels of carriages and trucks load it more locally"
    slab = Requirement(ROOM, "load on the floor", rule, changes)
    if allowed is not None:
        slab = slab.within(f"at most {allowed:.3g} kN/m²")
    if size is None or mass is None:
        ask = f"measure battery '{trucks.battery_name}' and read its mass"
        return slab.not_known(ask, trucks.battery_path("size" if size is None else "mass"))
    load = levels * mass * float(FREE_FALL_M_PER_S2) / 1000.0 / (size.length_mm * size.width_mm / 1e6)
    value = f"{load:.1f} kN/m²"
    if allowed is None:
        asked = slab._replace(name=f"load on the floor, {value} asked")
        return asked.not_known("ask the owner of the building what the floor may carry", "room.floor_load")
    if load <= allowed + ROUNDING:
        return slab.ok(value, "The floor carries the batteries; have wheel loads looked at too.")
    cure = "spread the load on plates that a structural engineer sizes, fewer levels, or another floor"
    sentence = f"The batteries load the floor {load / allowed:.1f} times as much as it may carry."
    return slab.fails(value, sentence, cure)


def needed_area_m2(scenario: Scenario, layout: str) -> float | None:
    """Least floor area of the bays with half of the aisle before each; None before batteries are measured."""
    sizes = [trucks.battery.size for trucks in trucks_alike(scenario)]
    measured = [size for size in sizes if size is not None]
    if len(measured) < len(sizes):
        return None
    gap = scenario.figures["fit.bay_gap"].value
    pitch, depth = (max(getattr(size, side) for size in measured) + gap for side in ("length_mm", "width_mm"))
    half_aisle = needed_aisle_m(scenario, layout) / 2.0
    on_the_floor = -(-blueprint_of(scenario, layout, WEEK_MIN, 0.0).bays // _levels(scenario, layout))
    area: float = on_the_floor * pitch / 1000.0 * (depth / 1000.0 + half_aisle)
    return area


def _device_in_aisle(arrangement: Arrangement) -> str | None:
    """Device that turns out of a bay with a battery; None where it hangs from above."""
    needs = arrangement.needs
    return None if needs.lifts is not None else needs.beside or needs.forks


def needed_aisle_m(scenario: Scenario, layout: str) -> float:
    """Aisle before the bays: the device, the battery pulled out and room to spare; at least what people need."""
    arrangement = scenario.arrangement(layout)
    key, people_m = _device_in_aisle(arrangement), scenario.figures["room.aisle_width"].value
    # A battery is pulled out across the truck.
    widths = [trucks.battery.size.width_mm for trucks in trucks_alike(scenario) if trucks.battery.size is not None]
    if key is None or not widths:
        return people_m
    device = equipment_of(scenario, arrangement, key)
    length = device.length_mm if device.length_mm is not None else device.fork_length_mm
    if length is None:
        return people_m
    return max(people_m, (length + max(widths)) / 1000.0 + scenario.figures["fit.aisle_extra"].value)


def _unknown_in_aisle(scenario: Scenario, layout: str) -> tuple[str, str] | None:
    """What to measure before an aisle can be said to be wide enough for the device, and where it goes."""
    arrangement = scenario.arrangement(layout)
    key = _device_in_aisle(arrangement)
    if key is None:
        return None
    device = equipment_of(scenario, arrangement, key)
    if device.length_mm is None and device.fork_length_mm is None:
        return f"measure the length of the {words(key)}", equipment_path(key, "length")
    return _unmeasured(scenario)


def _unmeasured(scenario: Scenario) -> tuple[str, str] | None:
    """Battery that nobody has measured, and where its size goes."""
    unmeasured = [trucks for trucks in trucks_alike(scenario) if trucks.battery.size is None]
    return ("measure the batteries", unmeasured[0].battery_path("size")) if unmeasured else None


def _area(scenario: Scenario, layout: str) -> Check:
    """Floor area for all bays."""
    rule = f"{GEOMETRY}: each bay with half of the aisle before it; stations and routes beside"
    room = Requirement(ROOM, "floor area", rule, "whether the room holds the bays")
    needed, there, unmeasured = needed_area_m2(scenario, layout), scenario.room.area_m2, _unmeasured(scenario)
    if unmeasured is not None:
        return room.not_known(*unmeasured)
    assert needed is not None  # as all is measured
    room = room.within(f"at least {needed:.0f} m²")
    if there is None:
        ask = f"measure length and width of the room ({needed:.0f} m² are needed for the bays)"
        return room.not_known(ask, "room.length" if scenario.room.length_m is None else "room.width")
    value = f"{there:.0f} m²"
    if there >= needed - ROUNDING:
        return room.ok(value, "The bays fit, by area.")
    cure = "bays on several levels, fewer batteries, or another room"
    return room.fails(value, f"{needed - there:.0f} m² are missing.", cure)


def _aisle(scenario: Scenario, layout: str) -> Check:
    """Clear width in front of the bays."""
    needed, there = needed_aisle_m(scenario, layout), scenario.room.aisle_m
    people, practice = scenario.figures["room.aisle_width"], scenario.figures["fit.aisle_extra"]
    rule = cited(people) if needed <= people.value else f"device + battery + {practice.text}: {cited(practice)}"
    changes = "whether device and battery can turn out of a bay; trucks need their turning width beside it"
    aisle = Requirement(ROOM, "aisle", rule, changes, f"at least {needed:.2f} m")
    if there is None:
        return aisle.not_known("measure the clear width in front of the bays", "room.aisle")
    if there < needed - ROUNDING:
        sentence = f"The aisle is {needed - there:.2f} m too narrow."
        return aisle.fails(f"{there:.2f} m", sentence, "one row of bays less")
    unknown = _unknown_in_aisle(scenario, layout)
    if unknown is not None:
        aisle = aisle._replace(changes="whether device and battery have room before the bays")
        return aisle.not_known(*unknown)
    return aisle.ok(f"{there:.2f} m", "Device and battery have room before the bays.")


def _empty_bays(scenario: Scenario, layout: str) -> Check:
    """Empty bays while all batteries that are not in trucks stand in theirs."""
    plan = blueprint_of(scenario, layout, WEEK_MIN, 0.0)
    arrangement = scenario.arrangement(layout)
    rule = "the arrangement: each exchange begins with its empty bays free"
    bays, bay = Requirement(ROOM, "empty bays", rule), words(arrangement.bay)
    if plan.stations >= UNLIMITED:
        return bays.ok("unlimited", "Bays are without limit in this layout.")
    empty, wanted = plan.bays - spare_batteries(scenario, layout), arrangement.empty_bays * plan.stations
    bays = bays.within(f"at least {wanted:.0f}, one exchange at each station")
    if empty >= wanted:
        return bays.ok(f"{empty:.0f}", f"Every station finds an empty {bay}.")
    # Fewer than one exchange needs are refused when the scenario is read.
    sentence = f"Stations wait for each other's empty {bay}."
    return bays.to_check(f"{empty:.0f}", sentence, f"add {wanted - empty:.0f} x {bay}")


def _acid_proof(scenario: Scenario) -> Check:
    """Floor that stands acid and leads charges off."""
    rule = "IEC 62485-3:2014 clause 9 (from memory); 29 CFR 1910.178(g)"
    floor = Requirement(ROOM, "floor against acid", rule, "floor work that is not in the equipment list", "yes")
    if scenario.room.acid_proof is None:
        ask = "look whether the floor stands acid, leads charges off, and holds back what is spilt"
        return floor.not_known(ask, "room.acid_proof")
    if scenario.room.acid_proof == "yes":
        return floor.ok("yes", "The floor is made for it.")
    most = scenario.figures["room.floor_resistance"].text
    cure = f"coat the floor (resistance to earth at most {most}), with a sill or trays and means to neutralise"
    return floor.fails("no", "Spilt acid would reach the ground or the neighbours.", cure)


def _wash(scenario: Scenario) -> Check:
    """Way to the eyewash and shower."""
    figures, there = scenario.figures, scenario.room.wash_m
    reach, most = figures["wash.reach"], figures["wash.reach_distance_us"]
    rule, limit = f"{cited(most)}; about {reach.text} on foot", f"at most {most.value:.1f} m"
    wash = Requirement("acid work", WASH, rule, "whether one has to be ordered", limit)
    if there is None:
        ask = "pace the way from where acid is handled to the nearest eyewash and shower"
        return wash.not_known(ask, "room.wash")
    if there <= most.value + ROUNDING:
        return wash.ok(f"{there:.1f} m", "Near enough, if nothing stands in the way.")
    cure = "order an eyewash and shower next to where acid is handled"
    return wash.fails(f"{there:.1f} m", "Too far for somebody who cannot see.", cure)
