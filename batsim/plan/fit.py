"""Whether the battery fits the truck: mass, sizes, voltage, connector, removal, base, the truck maker's approval."""

from collections.abc import Iterator

import numpy as np

from batsim.catalogue import Figures
from batsim.plan.checks import ROUNDING, Check, Requirement, of_area
from batsim.plan.evidence import Evidence
from batsim.plan.survey import Trucks, pulled_out, trucks_alike
from batsim.scenario.checks.strength import SHORTEST_RUN_MIN, greatest_kw
from batsim.scenario.parts.handling import Arrangement
from batsim.scenario.site import Scenario

SIDES = (("length", "along the truck"), ("width", "across the truck"))


def truck_checks(scenario: Scenario, layout: str) -> Iterator[Check]:
    """Check each kind of truck with its battery in a layout."""
    arrangement, figures = scenario.arrangement(layout), scenario.figures
    needs = arrangement.needs
    for trucks in trucks_alike(scenario):
        yield _mass(trucks)
        yield from _sizes(trucks, figures)
        yield _height(trucks)
        yield _voltage(trucks, figures)
        yield _connector(trucks)
        if needs.removal != "any" or (trucks.removal == "none" and not arrangement.in_truck):
            yield _removal(trucks, needs.removal)
        if (needs.rolls_onto or needs.rolls_on) and pulled_out(trucks, arrangement):
            yield _base(trucks, arrangement)
        if needs.approval:
            yield _approval(trucks, arrangement.title)


def _mass(trucks: Trucks) -> Check:
    """Battery mass inside the window of the truck's plate."""
    window, mass = trucks.compartment.battery_mass_kg, trucks.battery.mass_kg
    plate = Requirement("mass", trucks.name, trucks=trucks, window=window, mass=mass)
    if window is None:
        return plate.case("no window")
    if mass is None:
        return plate.case("no mass")
    if window.holds(mass):
        return plate.case("ok")
    return plate.case("too heavy" if mass > window.most else "too light", beyond=mass - window.most,
                      short=window.least - mass)  # fmt: skip


def _sizes(trucks: Trucks, figures: Figures) -> Iterator[Check]:
    """Length and width in the compartment, and the free play that is left."""
    play, size = figures["fit.free_play"], trucks.battery.size
    for side, way in SIDES:
        fit = Requirement("size", trucks.name, trucks=trucks, play=play, side=side, way=way)
        room = getattr(trucks.compartment, f"{side}_mm")
        if size is None or room is None:
            yield fit.case("no battery size" if size is None else "no compartment size")
            continue
        left = room - getattr(size, f"{side}_mm")
        too_large, loose = left < -ROUNDING, left > play.value + ROUNDING
        yield fit.case("too large" if too_large else "loose" if loose else "ok", left=left, beyond=-left)


def _height(trucks: Trucks) -> Check:
    """Height of the battery under the hood or cover."""
    size, room = trucks.battery.size, trucks.compartment.height_mm
    fit = Requirement("height", trucks.name, trucks=trucks, room=room)
    if size is None or room is None:
        return fit.case("no battery size" if size is None else "no compartment size")
    height, left = size.height_mm, room - size.height_mm
    return fit.case("ok" if left >= -ROUNDING else "too high", height=height, left=max(0.0, left), beyond=-left)


def _voltage(trucks: Trucks, figures: Figures) -> Check:
    """Nominal voltage of truck and battery."""
    wanted, has = trucks.compartment.voltage_v, trucks.battery.nominal_v
    plate = Requirement("voltage", trucks.name, trucks=trucks, wanted=wanted)
    if wanted is None:
        return plate.case("no voltage")
    if abs(has - wanted) < ROUNDING:
        return plate.case("ok")
    near = abs(has / wanted - 1.0) < figures["fit.voltage_step"].value / 100.0
    return plate.case("near" if near and trucks.battery.chemistry == "lithium_ion" else "other")


def _connector(trucks: Trucks) -> Check:
    """Connector of truck and battery, as they are marked."""
    mine, other = trucks.compartment.connector, trucks.battery.connector
    alike = Requirement("connector", trucks.name, trucks=trucks)
    if other is None or mine is None:
        return alike.case("of the battery" if other is None else "of the truck")
    return alike.case("ok" if mine == other else "other")


def _removal(trucks: Trucks, wanted: str) -> Check:
    """Where the battery leaves the truck against what the arrangement needs."""
    way = "no" if trucks.removal == "none" else trucks.removal
    fit = Requirement("removal", trucks.name, trucks=trucks, wanted=wanted, way=way)
    if trucks.removal == "either":
        return fit.case("either")
    return fit.case("ok" if trucks.removal == wanted else f"not {wanted}")


def _base(trucks: Trucks, arrangement: Arrangement) -> Check:
    """Rollers on one side only: a tray with rollers wants a flat floor, a flat tray wants rollers."""
    needs, base, floor = arrangement.needs, trucks.battery.base, trucks.compartment.floor
    tray = "with rollers" if base == "rollers" else "with a flat base"
    fit = Requirement("base", trucks.name, trucks=trucks, floor=floor, tray=tray, rolls_on=needs.rolls_on)
    if floor is None or base is None:
        return fit.case("no floor" if floor is None else "no base")
    if base == "rollers" and (floor == "rollers" or needs.rolls_onto):
        return fit.case("rollers")
    if floor == base:
        return fit.case("flat" if needs.rolls_on is None else "carried")
    return fit.case("ok")


def _approval(trucks: Trucks, title: str) -> Check:
    """The truck maker's approval of the change equipment."""
    approval = Requirement("approval", trucks.name, trucks=trucks, title=title)
    return approval.case(trucks.compartment.maker_approves or "no answer")


def strength_checks(scenario: Scenario, evidence: Evidence) -> Iterator[Check]:
    """Check the powers drawn for each truck group against what a full battery gives."""
    for area, site in scenario.areas_of(evidence.layout).items():
        yield from of_area(area, _strength(site, evidence))


def _strength(scenario: Scenario, evidence: Evidence) -> Iterator[Check]:
    """Check the truck groups of an area."""
    for number, group in enumerate(scenario.trucks):
        powers_kw = evidence.shift_kw(group.group)
        if not powers_kw.size:
            continue
        most_kw, hardest_kw = greatest_kw(scenario, number), float(np.max(powers_kw))
        beyond = int(np.sum(powers_kw > most_kw))
        work = Requirement(
            "strength",
            group.group,
            group=group,
            most_kw=most_kw,
            hardest_kw=hardest_kw,
            beyond=beyond,
            shifts=powers_kw.size,
            least_min=SHORTEST_RUN_MIN,
        )
        yield work.case("too weak" if beyond else "ok")
