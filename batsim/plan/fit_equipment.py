"""Whether equipment fits trucks and batteries: forks, rollers, doors, hoists, spreader beams."""

from collections.abc import Iterator

from batsim.catalogue import Figure, Figures
from batsim.plan.checks import GEOMETRY, PRACTICE, ROUNDING, Check, Requirement, cited, mm, span
from batsim.plan.survey import (
    Trucks,
    carried_kg,
    equipment_of,
    equipment_path,
    measured,
    pulled_out,
    trucks_alike,
    words,
)
from batsim.scenario.parts.fit import BEAM, Equipment, Opening
from batsim.scenario.parts.handling import Arrangement
from batsim.scenario.site import Scenario


def equipment_checks(scenario: Scenario, layout: str) -> Iterator[Check]:
    """Check the equipment of a layout against every kind of truck."""
    arrangement, figures = scenario.arrangement(layout), scenario.figures
    needs = arrangement.needs
    for trucks in trucks_alike(scenario):
        if needs.forks is not None and pulled_out(trucks, arrangement):
            yield from fork_checks(scenario, arrangement, trucks)
        for name in needs.rolls_onto:
            yield _rollers(trucks, name, equipment_of(scenario, arrangement, name), figures)
        if needs.beside is not None:
            yield _door(trucks, needs.beside, equipment_of(scenario, arrangement, needs.beside), figures)
        if needs.lifts is not None:
            yield from hoist_checks(scenario, arrangement, trucks)
        if needs.beside is not None:
            yield _rating(trucks, needs.beside, equipment_of(scenario, arrangement, needs.beside), 0.0)


def fork_checks(scenario: Scenario, arrangement: Arrangement, trucks: Trucks) -> Iterator[Check]:
    """Forks against the frame, the trolley, the mass and the stand."""
    needs, figures = arrangement.needs, scenario.figures
    assert needs.forks is not None  # asked for before
    forks, carrier_name = equipment_of(scenario, arrangement, needs.forks), needs.carrier or "stand"
    carrier = equipment_of(scenario, arrangement, carrier_name)
    own = measured(scenario, needs.forks, "fork_length_mm")
    yield _fork_length(trucks, needs.forks, forks, figures, own=own)
    usual = needs.sizes.get(needs.forks)
    if own and forks.fork_length_mm is not None and usual is not None and usual.fork_length_mm is not None:
        yield _fork_suits(words(needs.forks), carrier_name, forks.fork_length_mm, usual.fork_length_mm, figures)
    yield _fork_width(needs.forks, forks, carrier_name, carrier, figures)
    yield _rating(trucks, needs.forks, forks, carried_kg(scenario, arrangement, needs.forks))
    yield _lift(needs.forks, forks.raised_mm, carrier_name, carrier.lift_from_mm)


def _fork_length(trucks: Trucks, key: str, forks: Equipment, figures: Figures, *, own: bool) -> Check:
    """Longer forks hit the far side of the truck's frame."""
    changes = "which pallet truck can be used: long forks hit the frame before the battery stands on them"
    fit = Requirement(words(key), "fork length against the far side of the frame", GEOMETRY, changes)
    depth, length = trucks.compartment.frame_depth_mm, forks.fork_length_mm
    if length is None:
        return fit.not_known(f"measure the forks of the {words(key)}", equipment_path(key, "fork_length"))
    if depth is None:
        ask = f"measure from the open side to the far side of the frame of {trucks.name}"
        return fit.not_known(ask, trucks.compartment_path("frame_depth"))
    fit, value = fit.within(f"at most {mm(depth)}"), mm(length) + ("" if own else ", as usually ordered")
    if length <= depth + ROUNDING:
        return fit.ok(value, f"The forks go in under the battery of {trucks.name}.")
    access = figures["fit.access.fork_length"].text
    cure = f"use a pallet truck with forks of at most {mm(depth)} ({access} are usual for access on two rollers)"
    sentence = f"The forks are {mm(length - depth)} too long and hit the far side of the frame of {trucks.name}."
    return fit.fails(value, sentence, cure)


def _fork_suits(name: str, carrier: str, length: float, usual: float, figures: Figures) -> Check:
    """Forks of about the length that is usual for the trolley."""
    fit = Requirement(name, f"fork length for the {carrier}", PRACTICE, limit=f"about {mm(usual)}")
    if abs(length - usual) <= figures["fit.fork_step"].value + ROUNDING:
        return fit.ok(mm(length), "The usual length for this trolley.")
    cure = f"use a pallet truck with forks of {mm(usual)}, or have the trolley's maker confirm these"
    if length < usual:
        return fit.fails(mm(length), "Shorter than usual: the battery may not be held over its middle.", cure)
    return fit.to_check(mm(length), "Longer than usual: the ends stick out beyond the trolley.", cure)


def _fork_width(key: str, forks: Equipment, carrier_name: str, carrier: Equipment, figures: Figures) -> Check:
    """Width over both forks against the clear width of what they lift."""
    room, width = carrier.fork_room_mm, forks.forks_over_both_mm
    fit = Requirement(words(key), f"forks in the {carrier_name}", GEOMETRY, "whether the forks go under it at all")
    usual = fit.within(f"usual: forks {figures['fit.forks_over_both'].text} over both")
    if width is None:
        ask = f"measure the width over both forks of the {words(key)}"
        return usual.not_known(ask, equipment_path(key, "forks_over_both"))
    if room is None:
        ask = f"measure the clear width for forks of the {carrier_name}"
        return usual.not_known(ask, equipment_path(carrier_name, "fork_room"))
    fit, value = fit.within(f"at most {mm(room)}"), f"{mm(width)} over both forks"
    if width <= room + ROUNDING:
        return fit.ok(value, f"The forks go under the {carrier_name}.")
    cure = f"use a narrow pallet truck, at most {mm(room)} over both forks"
    return fit.fails(value, f"The forks are {mm(width - room)} too wide for the {carrier_name}.", cure)


def _rating(trucks: Trucks, key: str, device: Equipment, beside_kg: float) -> Check:
    """Rated mass of a device against the battery and what goes with it."""
    name, mass, rated_kg = words(key), trucks.battery.mass_kg, device.rated_mass_kg
    plate = Requirement(name, "rated mass", f"the plate of the {name}", "whether the device may carry the battery")
    if mass is None:
        return plate.not_known(*trucks.ask_mass)
    load = mass + beside_kg
    if rated_kg is None:
        plate = plate.within(f"at least {load:.0f} kg")
        return plate.not_known(f"read the rated mass on the plate of the {name}", equipment_path(key, "rated_mass"))
    plate, value = plate.within(f"at most {rated_kg:.0f} kg"), f"{load:.0f} kg"
    if load <= rated_kg + ROUNDING:
        return plate.ok(value, f"It may carry the battery of {trucks.name}.")
    sentence = f"The battery with what carries it is {load - rated_kg:.0f} kg above the rated mass."
    return plate.fails(value, sentence, f"use a {name} rated for at least {load:.0f} kg")


def _lift(key: str, raised: float | None, carrier: str, needed: float | None) -> Check:
    """Height of raised forks against what lifts the carrier off the floor."""
    changes = "whether the pallet truck lifts it off the floor at all"
    fit = Requirement(words(key), f"lift under the {carrier}", GEOMETRY, changes)
    if needed is None:
        ask = f"measure how high forks must reach to lift the {carrier}"
        return fit.not_known(ask, equipment_path(carrier, "lift_from"))
    fit = fit.within(f"at least {mm(needed)}")
    if raised is None:
        ask = f"measure how high the raised forks of the {words(key)} stand"
        return fit.not_known(ask, equipment_path(key, "raised"))
    if raised >= needed - ROUNDING:
        return fit.ok(mm(raised), f"It lifts the {carrier} off the floor.")
    cure = f"use a pallet truck that lifts higher, or a lower {carrier}"
    return fit.fails(mm(raised), f"It does not lift the {carrier} off the floor.", cure)


def _rollers(trucks: Trucks, key: str, device: Equipment, figures: Figures) -> Check:
    """Roller height of the truck against that of carriage, bay or stand."""
    name, step = words(key), figures["fit.roller_step"]
    floor, window = trucks.compartment.floor_height_mm, device.roller_height_mm
    changes = "whether the battery crosses; it must match with the truck's full weight on its springs and tyres"
    fit = Requirement(name, "roller height", cited(step), changes, f"within {mm(step.value)} of the truck")
    if floor is None:
        usual = figures["fit.roller_top"].text
        ask = f"measure how high the battery's floor in {trucks.name} is, battery in (usual on roller beds: {usual})"
        return fit.not_known(ask, trucks.compartment_path("floor_height"))
    if window is None:
        return fit.not_known(f"measure the height of the rollers of the {name}", equipment_path(key, "roller_height"))
    fit, value = fit.within(f"{mm(floor)} ± {step.value:.0f} mm"), span(window.least, window.most)
    gap = max(0.0, window.least - floor, floor - window.most)
    if gap <= step.value + ROUNDING:
        return fit.ok(value, f"It meets the floor of the battery in {trucks.name}; level it again under full weight.")
    sentence = f"The heights differ by {mm(gap)}: the battery would tip or stick at the step."
    return fit.fails(value, sentence, f"order the {name} with rollers at {mm(floor)}, or adjustable to it")


STANDING = {"along": "along the truck", "flush": "flush with the frame", "apart": "apart from the truck"}
"""Where a device stands beside a truck."""


def _door(trucks: Trucks, key: str, device: Equipment, figures: Figures) -> Check:
    """How the side opens, where anybody has looked."""
    comes, along = device.comes or "along", figures["fit.door_along"]
    wide = f"a door that opens {along.text}, or a removable cover"
    need = {"along": wide, "flush": "a removable cover", "apart": "any side opening"}[comes]
    changes = (
        "whether the device can stand where it has to; a wider door or a removable cover is ordered with the truck"
    )
    fit = Requirement(words(key), f"side opening of {trucks.name}", cited(along), changes, need)
    opening = trucks.compartment.opening
    if opening is None:
        usual = figures["fit.door_usual"].text
        ask = f"look how the side of {trucks.name} opens, and how far (usual: {usual})"
        return fit.not_known(ask, trucks.compartment_path("opening"))
    if opening.kind == "door" and opening.angle_deg is None and comes == "along":
        fit = fit._replace(changes="whether the truck can drive along the device")
        ask = f"measure how far the side door of {trucks.name} opens"
        return fit.not_known(ask, trucks.compartment_path("opening.angle"))
    return _stands_beside(fit, opening, comes, along)


def _stands_beside(fit: Requirement, opening: Opening, comes: str, along: Figure) -> Check:
    """How the side opens against how close the device comes."""
    name, angle, wide = fit.subject, opening.angle_deg, f"a door that opens {along.text}, or a removable cover"
    value = words(opening.kind) + ("" if angle is None else f", {angle:.0f} deg")
    swings_away = comes == "along" and (angle or 0.0) >= along.value
    if opening.kind != "door" or comes == "apart" or swings_away:
        return fit.ok(value, f"The {name} can stand {STANDING[comes]}.")
    beside = f"a removable cover, or a {name} that stands along the truck and a door that opens {along.text}"
    cure = f"order {wide if comes == 'along' else beside}"
    return fit.fails(value, f"The door stands in the way: the {name} cannot stand {STANDING[comes]}.", cure)


def hoist_checks(scenario: Scenario, arrangement: Arrangement, trucks: Trucks) -> Iterator[Check]:
    """Rating, hooks and headroom of a hoist."""
    key, figures = arrangement.needs.lifts, scenario.figures
    assert key is not None  # asked for before
    hoist, beam = equipment_of(scenario, arrangement, key), equipment_of(scenario, arrangement, BEAM)
    yield _rating(trucks, key, hoist, beam.own_mass_kg or 0.0)
    yield _rating(trucks, BEAM, beam, 0.0)
    yield _hooks(trucks, beam, figures["fit.tray_tolerance"].value)
    yield _insulated(beam)
    yield _headroom(trucks, key, hoist, beam, figures["fit.lift_clearance"].value)


def _hooks(trucks: Trucks, beam: Equipment, tolerance_mm: float) -> Check:
    """Hooks as far apart as the lifting eyes."""
    rule = "hooks as far apart as the eyes; never two chains on one hook"
    changes = "whether the beam pulls straight; slanting chains bend the tray and slip"
    fit = Requirement(BEAM, "hooks against lifting eyes", PRACTICE, changes, rule)
    eyes, window = trucks.battery.lifting_eyes_mm, beam.hook_spacing_mm
    if eyes is None:
        ask = f"measure the distance between the lifting eyes of battery '{trucks.battery_name}'"
        return fit.not_known(ask, trucks.battery_path("lifting_eyes"))
    if window is None:
        ask = "measure how far apart the hooks of the spreader beam can be set"
        return fit.not_known(ask, equipment_path(BEAM, "hook_spacing"))
    fit, value = fit.within(f"{mm(eyes)} ± {tolerance_mm:.0f} mm"), span(window.least, window.most)
    if max(0.0, window.least - eyes, eyes - window.most) <= tolerance_mm + ROUNDING:
        return fit.ok(value, "The hooks hang straight over the eyes.")
    return fit.fails(value, "The chains would hang at a slant.", f"order a beam whose hooks can be set to {mm(eyes)}")


def _insulated(beam: Equipment) -> Check:
    """Beam that cannot bridge the poles."""
    fit = Requirement(BEAM, "insulation", PRACTICE, limit="insulated beam; chains kept off bare poles")
    if beam.insulated == "no":
        cure = "order an insulated beam with chain containers, or cover the battery while it is lifted"
        return fit.fails("not insulated", "It could bridge the poles.", cure)
    return fit.ok("insulated", "Order it insulated, and cover bare battery tops.")


def _headroom(trucks: Trucks, key: str, hoist: Equipment, beam: Equipment, clearance_mm: float) -> Check:
    """Height that the hook must reach so that the battery clears the open compartment."""
    compartment, size, hook = trucks.compartment, trucks.battery.size, hoist.hook_height_mm
    rule = f"{GEOMETRY}: floor + compartment + battery + beam + {clearance_mm:.0f} mm to spare"
    changes = "whether the battery can be lifted clear of the truck"
    fit = Requirement(words(key), "headroom over the open cover", rule, changes)
    below_hook = {
        f"the battery's floor in {trucks.name}": (compartment.floor_height_mm, trucks.compartment_path("floor_height")),
        f"the compartment of {trucks.name}": (compartment.height_mm, trucks.compartment_path("height")),
        "the battery with its eyes": (None if size is None else size.height_mm, trucks.battery_path("size")),
        "beam and chains between hook and eyes": (beam.takes_up_mm, equipment_path(BEAM, "takes_up")),
    }
    for what, (height, path) in below_hook.items():
        if height is None:
            return fit.not_known(f"measure the height of {what}", path)
    if hook is None:
        ask = f"measure the height of the highest hook of the {words(key)}"
        return fit.not_known(ask, equipment_path(key, "hook_height"))
    needed = sum(height or 0.0 for height, _ in below_hook.values()) + clearance_mm
    fit = fit.within(f"at least {mm(needed)}")
    if hook >= needed - ROUNDING:
        return fit.ok(mm(hook), f"The battery of {trucks.name} comes clear.")
    sentence = f"The hook is {mm(needed - hook)} too low to lift the battery of {trucks.name} clear."
    cure = "use a shorter beam or a hoist that reaches higher, or pull the battery out sideways first"
    return fit.fails(mm(hook), sentence, cure)
