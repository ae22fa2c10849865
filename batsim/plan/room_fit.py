"""Whether the room fits: load on the floor, area, aisle, empty bays, the way to the wash."""

from collections.abc import Iterator
from math import ceil

from batsim.plan.checks import ROUNDING, Check, Requirement, cited, of_area
from batsim.plan.survey import (
    BATTERY_ROOM,
    Trucks,
    equipment_of,
    has_acid,
    listed,
    spaces_of,
    spare_batteries,
    trucks_alike,
)
from batsim.scenario.parts.kinds import UNLIMITED
from batsim.scenario.site import Scenario
from batsim.study.running.counts import week_plan
from batsim.units import FREE_FALL_M_PER_S2


def room_checks(scenario: Scenario, layout: str) -> Iterator[Check]:
    """Check the room of a layout: what stands and moves in each area, and whether the room is enough for all."""
    sites = _exchange_areas(scenario, layout)
    if sites:
        for area, site in sites.items():
            loads = [_floor_load(site, trucks, _levels(site, layout)) for trucks in trucks_alike(site)]
            yield from of_area(area, loads)
        yield _area(scenario, layout)
        for check in (_aisle, _empty_bays):
            for area, site in sites.items():
                yield from of_area(area, [check(site, layout)])
        if any(has_acid(site, layout) for site in sites.values()):
            proof = scenario.room.acid_proof
            yield Requirement("acid", BATTERY_ROOM, figures=scenario.figures, proof=proof).case(proof or "no answer")
    if has_acid(scenario, layout):
        yield _wash(scenario)


def _exchange_areas(scenario: Scenario, layout: str) -> dict[str, Scenario]:
    """Areas of a layout whose batteries are charged in the battery room, each as if there were no other."""
    return spaces_of(scenario, layout).get(BATTERY_ROOM, {})


def _levels(scenario: Scenario, layout: str) -> int:
    """Most bays above one another."""
    floor = scenario.layouts[layout].floor
    return 1 if floor is None else max((row.levels for row in floor.rows), default=1)


def _floor_load(scenario: Scenario, trucks: Trucks, levels: int) -> Check:
    """Weight of a battery, or of a stack of them, over its own area."""
    allowed, size, mass = scenario.room.floor_load_kn_per_m2, trucks.battery.size, trucks.battery.mass_kg
    loads = f"a stack of {levels}" if levels > 1 else "a battery"
    limit = "-" if allowed is None else f"at most {allowed:.3g} kN/m²"
    slab = Requirement("floor load", BATTERY_ROOM, trucks=trucks, loads=loads, limit=limit)
    if size is None or mass is None:
        return slab.case("no size" if size is None else "no mass")
    load = levels * mass * float(FREE_FALL_M_PER_S2) / 1000.0 / (size.length_mm * size.width_mm / 1e6)
    if allowed is None:
        return slab.case("no limit", load=load)
    if load <= allowed + ROUNDING:
        return slab.case("ok", load=load)
    fewer = ["fewer levels"] if levels > 1 and load / levels <= allowed + ROUNDING else []
    cures = ["plates that a structural engineer sizes", *fewer, "another floor"]
    return slab.case("too heavy", load=load, times=load / allowed, cure=", or ".join(cures))


def needed_area_m2(scenario: Scenario, layout: str, more_levels: int = 0) -> float | None:
    """Least floor area of the bays of all areas with half of the aisle before each; None before batteries are measured.

    On so many levels more than the layout has.
    """
    needed = [_of_bays_m2(site, layout, more_levels) for site in _exchange_areas(scenario, layout).values()]
    known = [area_m2 for area_m2 in needed if area_m2 is not None]
    return sum(known) if len(known) == len(needed) else None


def _of_bays_m2(scenario: Scenario, layout: str, more_levels: int) -> float | None:
    """The same of one area."""
    sizes = [trucks.battery.size for trucks in trucks_alike(scenario)]
    measured = [size for size in sizes if size is not None]
    if len(measured) < len(sizes):
        return None
    gap = scenario.figures["fit.bay_gap"].value
    pitch, depth = (max(getattr(size, side) for size in measured) + gap for side in ("length_mm", "width_mm"))
    half_aisle = needed_aisle_m(scenario, layout) / 2.0
    on_the_floor = -(-week_plan(scenario, layout).bays // (_levels(scenario, layout) + more_levels))
    area: float = on_the_floor * pitch / 1000.0 * (depth / 1000.0 + half_aisle)
    return area


def _device_in_aisle(scenario: Scenario, layout: str) -> tuple[str | None, float | None]:
    """Device that turns out of a bay with a battery, and its length; None where it hangs from above. [mm]"""
    arrangement = scenario.arrangement(layout)
    needs = arrangement.needs
    key = None if needs.lifts is not None else needs.beside or needs.forks
    if key is None:
        return None, None
    device = equipment_of(scenario, arrangement, key)
    return key, device.fork_length_mm if device.length_mm is None else device.length_mm


def needed_aisle_m(scenario: Scenario, layout: str) -> float:
    """Aisle before the bays, at least what people need: the device, the battery pulled out and room to spare.

    Under a hoist the battery hangs, may turn, and somebody walks beside it.
    """
    (_, length), people_m = _device_in_aisle(scenario, layout), scenario.figures["room.aisle_width"].value
    sizes = [trucks.battery.size for trucks in trucks_alike(scenario) if trucks.battery.size is not None]
    if sizes and scenario.arrangement(layout).needs.lifts is not None:
        return people_m + max(max(size.length_mm, size.width_mm) for size in sizes) / 1000.0
    if length is None or not sizes:
        return people_m
    widest = max(size.width_mm for size in sizes)  # a battery is pulled out across the truck
    return max(people_m, (length + widest) / 1000.0 + scenario.figures["fit.aisle_extra"].value)


def _unmeasured(scenario: Scenario) -> Trucks | None:
    """Trucks whose battery nobody has measured."""
    return next((trucks for trucks in trucks_alike(scenario) if trucks.battery.size is None), None)


def _missing(scenario: Scenario) -> list[str]:
    """Sides of the room that nobody has measured."""
    return [side for side in ("length", "width") if getattr(scenario.room, f"{side}_m") is None]


def _unmeasured_device(scenario: Scenario, layout: str) -> str | None:
    """Device in the aisle of an area whose length nobody has measured."""
    key, length = _device_in_aisle(scenario, layout)
    return key if length is None else None


def _area(scenario: Scenario, layout: str) -> Check:
    """Floor area for the bays of all areas."""
    needed, there, sites = needed_area_m2(scenario, layout), scenario.room.area_m2, _exchange_areas(scenario, layout)
    unmeasured = next(filter(None, map(_unmeasured, sites.values())), None)
    room = Requirement("floor area", BATTERY_ROOM, needed=needed, there=there)
    if unmeasured is not None:
        return room.case("unmeasured", trucks=unmeasured)
    assert needed is not None  # as all is measured
    if there is None:
        missing = _missing(scenario)
        return room.case("no size", sides=listed(missing), side=missing[0])
    if there < needed - ROUNDING:
        return room.case("too small", short=needed - there, cure=_more_room(scenario, layout, needed, there))
    key = next(filter(None, (_unmeasured_device(site, layout) for site in sites.values())), None)
    return room.case("ok" if key is None else "no device length", key=key)


def _more_room(scenario: Scenario, layout: str, needed_m2: float, there_m2: float) -> str:
    """What makes the bays fit: one level more only where that is enough."""
    levels = {_levels(site, layout) + 1 for site in _exchange_areas(scenario, layout).values()}
    enough = (needed_area_m2(scenario, layout, 1) or 0.0) <= there_m2
    stacked = [f"bays on {levels.pop()} levels" if len(levels) == 1 else "bays on one level more"] if enough else []
    return ", or ".join([*stacked, f"a room of {ceil(needed_m2)} m²", "fewer bays"])


def _unmeasured_in_aisle(scenario: Scenario, layout: str) -> str:
    """Case of what nobody has measured of what moves before the bays; empty where all is known."""
    (key, length), hangs = _device_in_aisle(scenario, layout), scenario.arrangement(layout).needs.lifts is not None
    if key is not None and length is None:
        return "no device length"
    return "unmeasured" if (hangs or key is not None) and _unmeasured(scenario) is not None else ""


def _aisle(scenario: Scenario, layout: str) -> Check:
    """Clear width in front of the bays."""
    needed, there = needed_aisle_m(scenario, layout), scenario.room.aisle_m
    missing, hangs = _unmeasured_in_aisle(scenario, layout), scenario.arrangement(layout).needs.lifts is not None
    least = f"{'more than' if missing else 'at least'} {needed:.2f} m"
    aisle = Requirement(
        "aisle", BATTERY_ROOM, rule=_aisle_rule(scenario, needed, hangs=hangs), least=least, there=there
    )
    if there is None:
        return aisle.case("no width")
    if there < needed - ROUNDING:
        return aisle.case("too narrow", short=needed - there)
    key, _ = _device_in_aisle(scenario, layout)
    return aisle.case(missing or "ok", key=key, trucks=_unmeasured(scenario))


def _aisle_rule(scenario: Scenario, needed_m: float, *, hangs: bool) -> str:
    """What an aisle is made up of, and where that comes from."""
    people, practice = scenario.figures["room.aisle_width"], scenario.figures["fit.aisle_extra"]
    if needed_m <= people.value:
        return cited(people)
    if hangs:
        return f"hanging battery + {people.text} for who guides it: {cited(people)}"
    return f"device + battery + {practice.text}: {cited(practice)}"


def _empty_bays(scenario: Scenario, layout: str) -> Check:
    """Empty bays while all batteries that are not in trucks stand in theirs."""
    plan, arrangement = week_plan(scenario, layout), scenario.arrangement(layout)
    empty, wanted = plan.bays - spare_batteries(scenario, layout), arrangement.empty_bays * plan.stations
    bays = Requirement("empty bays", BATTERY_ROOM, bay=arrangement.bay, empty=empty, wanted=wanted, more=wanted - empty)
    if plan.stations >= UNLIMITED:
        return bays.case("unlimited")
    # Fewer than one exchange needs are refused when the scenario is read.
    return bays.case("ok" if empty >= wanted else "too few")


def _wash(scenario: Scenario) -> Check:
    """Way to the eyewash and shower."""
    figures, there = scenario.figures, scenario.room.wash_m
    most = figures["wash.reach_distance_us"]
    wash = Requirement("wash", "acid work", figures=figures, there=there)
    if there is None:
        return wash.case("no way")
    return wash.case("ok" if there <= most.value + ROUNDING else "too far")
