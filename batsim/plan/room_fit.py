"""Whether the room fits: load on the floor, area, aisle, empty bays, the way to the wash."""

from collections.abc import Iterator
from math import ceil

from batsim.plan.checks import ROUNDING, Check, Requirement, cited
from batsim.plan.survey import Trucks, equipment_of, has_acid, listed, spare_batteries, trucks_alike
from batsim.scenario.parts.kinds import UNLIMITED
from batsim.scenario.site import Scenario
from batsim.study.running.counts import week_plan
from batsim.units import FREE_FALL_M_PER_S2

ROOM = "battery room"


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
            proof = scenario.room.acid_proof
            yield Requirement("acid", ROOM, figures=scenario.figures, proof=proof).case(proof or "no answer")
    if acid:
        yield _wash(scenario)


def _levels(scenario: Scenario, layout: str) -> int:
    """Most bays above one another."""
    floor = scenario.layouts[layout].floor
    return 1 if floor is None else max((row.levels for row in floor.rows), default=1)


def _floor_load(scenario: Scenario, trucks: Trucks, levels: int) -> Check:
    """Weight of a battery, or of a stack of them, over its own area."""
    allowed, size, mass = scenario.room.floor_load_kn_per_m2, trucks.battery.size, trucks.battery.mass_kg
    loads = f"a stack of {levels}" if levels > 1 else "a battery"
    limit = "-" if allowed is None else f"at most {allowed:.3g} kN/m²"
    slab = Requirement("floor load", ROOM, trucks=trucks, loads=loads, limit=limit)
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


def needed_area_m2(scenario: Scenario, layout: str, levels: int | None = None) -> float | None:
    """Least floor area of the bays with half of the aisle before each; None before batteries are measured.

    On the levels of the layout when none are given.
    """
    sizes = [trucks.battery.size for trucks in trucks_alike(scenario)]
    measured = [size for size in sizes if size is not None]
    if len(measured) < len(sizes):
        return None
    gap = scenario.figures["fit.bay_gap"].value
    pitch, depth = (max(getattr(size, side) for size in measured) + gap for side in ("length_mm", "width_mm"))
    half_aisle = needed_aisle_m(scenario, layout) / 2.0
    on_the_floor = -(-week_plan(scenario, layout).bays // (levels or _levels(scenario, layout)))
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


def _area(scenario: Scenario, layout: str) -> Check:
    """Floor area for all bays."""
    needed, there, unmeasured = needed_area_m2(scenario, layout), scenario.room.area_m2, _unmeasured(scenario)
    room = Requirement("floor area", ROOM, needed=needed, there=there)
    if unmeasured is not None:
        return room.case("unmeasured", trucks=unmeasured)
    assert needed is not None  # as all is measured
    if there is None:
        missing = [side for side in ("length", "width") if getattr(scenario.room, f"{side}_m") is None]
        return room.case("no size", sides=listed(missing), side=missing[0])
    if there < needed - ROUNDING:
        return room.case("too small", short=needed - there, cure=_more_room(scenario, layout, needed, there))
    key, length = _device_in_aisle(scenario, layout)
    return room.case("ok" if key is None or length is not None else "no device length", key=key)


def _more_room(scenario: Scenario, layout: str, needed_m2: float, there_m2: float) -> str:
    """What makes the bays fit: one level more only where that is enough."""
    levels = _levels(scenario, layout) + 1
    enough = (needed_area_m2(scenario, layout, levels) or 0.0) <= there_m2
    stacked = [f"bays on {levels} levels"] if enough else []
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
    aisle = Requirement("aisle", ROOM, rule=_aisle_rule(scenario, needed, hangs=hangs), least=least, there=there)
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
    bays = Requirement("empty bays", ROOM, bay=arrangement.bay, empty=empty, wanted=wanted, more=wanted - empty)
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
