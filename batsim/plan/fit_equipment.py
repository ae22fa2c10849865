"""Whether equipment fits trucks and batteries: forks, rollers, doors, hoists, spreader beams."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from batsim.catalogue import figure
from batsim.plan.checks import FAILS, GEOMETRY, OK, PRACTICE, ROUNDING, TO_CHECK, Check, cited, missing, mm
from batsim.plan.survey import (
    Trucks,
    carried_kg,
    drawn_out,
    equipment_of,
    equipment_path,
    stated,
    trucks_alike,
    words,
)
from batsim.scenario.parts.fit import BEAM

if TYPE_CHECKING:
    from batsim.scenario.parts.fit import Equipment
    from batsim.scenario.parts.handling import Arrangement
    from batsim.scenario.site import Scenario


def equipment_checks(scenario: "Scenario", layout: str) -> Iterator[Check]:
    """Check the equipment of a layout against every kind of truck."""
    arrangement = scenario.arrangement(layout)
    for trucks in trucks_alike(scenario):
        needs = arrangement.needs
        if needs.forks is not None and drawn_out(trucks, arrangement):
            yield from fork_checks(scenario, arrangement, trucks)
        for name in needs.rolls_onto:
            yield _rollers(trucks, name, equipment_of(scenario, arrangement, name))
        if needs.beside is not None:
            yield _door(trucks, needs.beside, equipment_of(scenario, arrangement, needs.beside))
        if needs.lifts is not None:
            yield from hoist_checks(scenario, arrangement, trucks)
        if needs.beside is not None:
            yield _rating(trucks, needs.beside, equipment_of(scenario, arrangement, needs.beside), 0.0)


def fork_checks(scenario: "Scenario", arrangement: "Arrangement", trucks: Trucks) -> Iterator[Check]:
    """Forks against the frame, the trolley, the mass and the stand."""
    needs = arrangement.needs
    assert needs.forks is not None  # asked for before
    name = words(needs.forks)
    forks, usual = equipment_of(scenario, arrangement, needs.forks), needs.sizes.get(needs.forks)
    carrier_name = needs.carrier or "stand"
    carrier = equipment_of(scenario, arrangement, carrier_name)
    measured = stated(scenario, needs.forks, "fork_length_mm")
    yield _fork_length(trucks, name, needs.forks, forks, measured=measured)
    if usual is not None and usual.fork_length_mm is not None and forks.fork_length_mm is not None and measured:
        yield _fork_suits(name, carrier_name, forks.fork_length_mm, usual.fork_length_mm)
    yield _fork_width(name, needs.forks, forks, carrier_name, carrier)
    yield _rating(trucks, needs.forks, forks, carried_kg(scenario, arrangement, needs.forks))
    yield _lift(name, needs.forks, forks.raised_mm, carrier_name, carrier.lift_from_mm)


def _fork_length(trucks: Trucks, name: str, key: str, forks: "Equipment", *, measured: bool) -> Check:
    """Longer forks hit the far side of the truck's frame."""
    what, rule = "fork length against the far side of the frame", GEOMETRY
    depth, length = trucks.compartment.frame_depth_mm, forks.fork_length_mm
    changes = "which pallet truck can be used: long forks hit the frame before the battery stands on them"
    if length is None:
        ask = f"measure the forks of the {name}"
        return missing(name, what, "-", rule, ask, equipment_path(key, "fork_length"), changes)
    value = mm(length) + ("" if measured else ", as usually ordered")
    if depth is None:
        ask = f"measure from the open side to the far side of the frame of {trucks.name}"
        return missing(name, what, "-", rule, ask, f"{trucks.path}.compartment.frame_depth", changes)
    limit = f"at most {mm(depth)}"
    if length <= depth + ROUNDING:
        return Check(name, what, OK, value, limit, rule, f"The forks go in under the battery of {trucks.name}.")
    access = figure("fit.access.fork_length")
    cure = f"use a pallet truck with forks of at most {mm(depth)} ({access.text} are usual for access on two rollers)"
    sentence = f"The forks are {mm(length - depth)} too long and hit the far side of the frame of {trucks.name}."
    return Check(name, what, FAILS, value, limit, rule, sentence, cure)


def _fork_suits(name: str, carrier: str, length: float, usual: float) -> Check:
    """Forks of about the length that is usual for the trolley."""
    what, step = f"fork length for the {carrier}", figure("fit.fork_step").value
    value, limit = mm(length), f"about {mm(usual)}"
    if abs(length - usual) <= step + ROUNDING:
        return Check(name, what, OK, value, limit, PRACTICE, "The usual length for this trolley.")
    short = length < usual
    sentence = (
        "Shorter than usual: the battery may not be held over its middle."
        if short
        else "Longer than usual: the ends stick out beyond the trolley."
    )
    cure = f"use a pallet truck with forks of {mm(usual)}, or have the trolley's maker confirm these"
    return Check(name, what, FAILS if short else TO_CHECK, value, limit, PRACTICE, sentence, cure)


def _fork_width(name: str, key: str, forks: "Equipment", carrier_name: str, carrier: "Equipment") -> Check:
    """Width over both forks against the clear width of what they lift."""
    what, room, width = f"forks in the {carrier_name}", carrier.fork_room_mm, forks.forks_over_both_mm
    changes = "whether the forks go under it at all"
    if width is None or room is None:
        ask = (
            f"measure the width over both forks of the {name}"
            if width is None
            else f"measure the clear width for forks of the {carrier_name}"
        )
        path = equipment_path(key, "forks_over_both") if width is None else equipment_path(carrier_name, "fork_room")
        usual = figure("fit.forks_over_both")
        return missing(name, what, f"usual: forks {usual.text} over both", GEOMETRY, ask, path, changes)
    value, limit = f"{mm(width)} over both forks", f"at most {mm(room)}"
    if width <= room + ROUNDING:
        return Check(name, what, OK, value, limit, GEOMETRY, f"The forks go under the {carrier_name}.")
    cure = f"use a narrow pallet truck, at most {mm(room)} over both forks"
    sentence = f"The forks are {mm(width - room)} too wide for the {carrier_name}."
    return Check(name, what, FAILS, value, limit, GEOMETRY, sentence, cure)


def _rating(trucks: Trucks, key: str, device: "Equipment", beside_kg: float) -> Check:
    """Rated mass of a device against the battery and what goes with it."""
    name, what, mass = words(key), "rated mass", trucks.battery.mass_kg
    changes = "whether the device may carry the battery"
    rule = f"the plate of the {name}"
    if mass is None:
        ask = f"read the mass on the plate of battery '{trucks.battery_name}'"
        return missing(name, what, "-", rule, ask, trucks.battery_path("mass"), changes)
    load, limit_kg = mass + beside_kg, device.rated_mass_kg
    if limit_kg is None:
        ask = f"read the rated mass on the plate of the {name}"
        return missing(name, what, f"at least {load:.0f} kg", rule, ask, equipment_path(key, "rated_mass"), changes)
    value, limit = f"{load:.0f} kg", f"at most {limit_kg:.0f} kg"
    if load <= limit_kg + ROUNDING:
        return Check(name, what, OK, value, limit, rule, f"It may carry the battery of {trucks.name}.")
    cure = f"use a {name} rated for at least {load:.0f} kg"
    sentence = f"The battery with what carries it is {load - limit_kg:.0f} kg above the rated mass."
    return Check(name, what, FAILS, value, limit, rule, sentence, cure)


def _lift(name: str, key: str, raised: float | None, carrier: str, needed: float | None) -> Check:
    """Height of raised forks against what lifts the carrier off the floor."""
    what, limit = f"lift under the {carrier}", "-" if needed is None else f"at least {mm(needed)}"
    if needed is None or raised is None:
        ask, path = f"measure how high the raised forks of the {name} stand", equipment_path(key, "raised")
        if needed is None:
            ask, path = f"measure how high forks must reach to lift the {carrier}", equipment_path(carrier, "lift_from")
        return missing(name, what, limit, GEOMETRY, ask, path, "whether the pallet truck lifts it off the floor at all")
    value = mm(raised)
    if raised >= needed - ROUNDING:
        return Check(name, what, OK, value, limit, GEOMETRY, f"It lifts the {carrier} off the floor.")
    cure = f"use a pallet truck that lifts higher, or a lower {carrier}"
    return Check(name, what, FAILS, value, limit, GEOMETRY, f"It does not lift the {carrier} off the floor.", cure)


def _rollers(trucks: Trucks, key: str, device: "Equipment") -> Check:
    """Roller height of the truck against that of carriage, bay or stand."""
    name, what = words(key), "roller height"
    step, floor, window = figure("fit.roller_step"), trucks.compartment.floor_height_mm, device.roller_height_mm
    limit_text = f"within {mm(step.value)} of the truck"
    changes = "whether the battery crosses; it must match with the truck's full weight on its springs and tyres"
    if floor is None or window is None:
        usual = figure("fit.roller_top")
        ask = (
            f"measure how high the battery's floor in {trucks.name} is, battery in (usual on roller beds: {usual.text})"
            if floor is None
            else f"measure the height of the rollers of the {name}"
        )
        path = f"{trucks.path}.compartment.floor_height" if floor is None else equipment_path(key, "roller_height")
        return missing(name, what, limit_text, cited(step), ask, path, changes)
    value = mm(window.least) if window.least == window.most else f"{mm(window.least)} to {mm(window.most)}"
    limit = f"{mm(floor)} ± {step.value:.0f} mm"
    gap = max(0.0, window.least - floor, floor - window.most)
    if gap <= step.value + ROUNDING:
        sentence = f"It meets the floor of the battery in {trucks.name}; level it again under full weight."
        return Check(name, what, OK, value, limit, cited(step), sentence)
    sentence = f"The heights differ by {mm(gap)}: the battery would tip or stick at the step."
    cure = f"order the {name} with rollers at {mm(floor)}, or adjustable to it"
    return Check(name, what, FAILS, value, limit, cited(step), sentence, cure)


def _door(trucks: Trucks, key: str, device: "Equipment") -> Check:
    """How the side opens against how close the device comes."""
    name, what = words(key), f"side opening of {trucks.name}"
    opening, comes = trucks.compartment.opening, device.comes or "along"
    along, usual = figure("fit.door_along"), figure("fit.door_usual")
    rule = cited(along)
    path = f"{trucks.path}.compartment.opening"
    need = {
        "along": f"a door that opens {along.text}, or a removable cover",
        "flush": "a removable cover",
        "apart": "any side opening",
    }[comes]
    if opening is None:
        ask = f"look how the side of {trucks.name} opens, and how far (usual: {usual.text})"
        changes = (
            "whether the device can stand where it has to; a wider door or a removable cover is ordered with the truck"
        )
        return missing(name, what, need, rule, ask, path, changes)
    angle = opening.angle_deg
    if opening.kind == "door" and angle is None and comes == "along":
        ask = f"measure how far the side door of {trucks.name} opens"
        return missing(name, what, need, rule, ask, f"{path}.angle", "whether the truck can drive along the device")
    value = opening.kind.replace("_", " ") + ("" if angle is None else f", {angle:.0f} deg")
    enough = opening.kind != "door" or comes == "apart" or (comes == "along" and (angle or 0.0) >= along.value)
    if enough:
        return Check(name, what, OK, value, need, rule, f"The {name} can stand {_standing(comes)}.")
    cure = (
        f"order a door that opens {along.text}, or a removable cover"
        if comes == "along"
        else f"order a removable cover, or a {name} that stands along the truck and a door that opens {along.text}"
    )
    sentence = f"The door stands in the way: the {name} cannot stand {_standing(comes)}."
    return Check(name, what, FAILS, value, need, rule, sentence, cure)


def _standing(comes: str) -> str:
    return {"along": "along the truck", "flush": "flush with the frame", "apart": "apart from the truck"}[comes]


def hoist_checks(scenario: "Scenario", arrangement: "Arrangement", trucks: Trucks) -> Iterator[Check]:
    """Rating, hooks and headroom of a hoist."""
    key = arrangement.needs.lifts
    assert key is not None  # asked for before
    hoist, beam = equipment_of(scenario, arrangement, key), equipment_of(scenario, arrangement, BEAM)
    yield _rating(trucks, key, hoist, beam.own_mass_kg or 0.0)
    yield _rating(trucks, BEAM, beam, 0.0)
    yield _hooks(trucks, beam)
    yield _insulated(beam)
    yield _headroom(trucks, words(key), key, hoist, beam)


def _hooks(trucks: Trucks, beam: "Equipment") -> Check:
    """Hooks as far apart as the lifting eyes."""
    what, rule = "hooks against lifting eyes", "hooks as far apart as the eyes; never two chains on one hook"
    eyes, window = trucks.battery.lifting_eyes_mm, beam.hook_spacing_mm
    if eyes is None or window is None:
        ask = (
            f"measure the distance between the lifting eyes of battery '{trucks.battery_name}'"
            if eyes is None
            else "measure how far apart the hooks of the spreader beam can be set"
        )
        path = trucks.battery_path("lifting_eyes") if eyes is None else equipment_path(BEAM, "hook_spacing")
        changes = "whether the beam pulls straight; slanting chains bend the tray and slip"
        return missing(BEAM, what, rule, PRACTICE, ask, path, changes)
    tolerance = figure("fit.tray_tolerance").value
    value = mm(window.least) if window.least == window.most else f"{mm(window.least)} to {mm(window.most)}"
    limit = f"{mm(eyes)} ± {tolerance:.0f} mm"
    if max(0.0, window.least - eyes, eyes - window.most) <= tolerance + ROUNDING:
        return Check(BEAM, what, OK, value, limit, PRACTICE, "The hooks hang straight over the eyes.")
    cure = f"order a beam whose hooks can be set to {mm(eyes)}"
    return Check(BEAM, what, FAILS, value, limit, PRACTICE, "The chains would hang at a slant.", cure)


def _insulated(beam: "Equipment") -> Check:
    """Beam that cannot bridge the poles."""
    what, rule = "insulation", "insulated beam; chains kept off bare poles"
    if beam.insulated == "no":
        cure = "order an insulated beam with chain containers, or cover the battery while it is lifted"
        return Check(BEAM, what, FAILS, "not insulated", rule, PRACTICE, "It could bridge the poles.", cure)
    return Check(BEAM, what, OK, "insulated", rule, PRACTICE, "Order it insulated, and cover bare battery tops.")


def _headroom(trucks: Trucks, name: str, key: str, hoist: "Equipment", beam: "Equipment") -> Check:
    """Height that the hook must reach so that the battery clears the open compartment."""
    what, size = "headroom over the open cover", trucks.battery.size
    compartment, clearance = trucks.compartment, figure("fit.lift_clearance").value
    asks = (
        (
            compartment.floor_height_mm,
            f"{trucks.path}.compartment.floor_height",
            f"the battery's floor in {trucks.name}",
        ),
        (compartment.height_mm, f"{trucks.path}.compartment.height", f"the compartment of {trucks.name}"),
        (
            None if size is None else size.height_mm,
            trucks.battery_path("size"),
            "the battery with its eyes",
        ),
        (beam.takes_up_mm, equipment_path(BEAM, "takes_up"), "beam and chains between hook and eyes"),
        (hoist.hook_height_mm, equipment_path(key, "hook_height"), f"the highest hook of the {name}"),
    )
    rule = f"{GEOMETRY}: floor + compartment + battery + beam + {clearance:.0f} mm to spare"
    for known, path, of in asks:
        if known is None:
            ask = f"measure the height of {of}"
            return missing(name, what, "-", rule, ask, path, "whether the battery can be lifted clear of the truck")
    needed = sum(known or 0.0 for known, _, _ in asks[:4]) + clearance
    hook = asks[4][0] or 0.0
    value, limit = mm(hook), f"at least {mm(needed)}"
    if hook >= needed - ROUNDING:
        return Check(name, what, OK, value, limit, rule, f"The battery of {trucks.name} comes clear.")
    sentence = f"The hook is {mm(needed - hook)} too low to lift the battery of {trucks.name} clear."
    cure = "use a shorter beam or a hoist that reaches higher, or pull the battery out sideways first"
    return Check(name, what, FAILS, value, limit, rule, sentence, cure)
