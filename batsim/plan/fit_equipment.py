"""Whether equipment fits trucks and batteries: forks, rollers, doors, hoists, spreader beams."""

from collections.abc import Iterator

from batsim.catalogue import Figures
from batsim.plan.checks import ROUNDING, Check, Requirement
from batsim.plan.survey import Trucks, carried_kg, equipment_of, measured, pulled_out, trucks_alike, words
from batsim.scenario.parts.fit import BEAM, Equipment
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
    depth, length, ordered = (
        trucks.compartment.frame_depth_mm,
        forks.fork_length_mm,
        "" if own else ", as usually ordered",
    )
    fit = Requirement("fork length", words(key), trucks=trucks, key=key, figures=figures, depth=depth, length=length,
                      ordered=ordered)  # fmt: skip
    if length is None or depth is None:
        return fit.case("no length" if length is None else "no depth")
    return fit.case("ok" if length <= depth + ROUNDING else "too long", beyond=length - depth)


def _fork_suits(name: str, carrier: str, length: float, usual: float, figures: Figures) -> Check:
    """Forks of about the length that is usual for the trolley."""
    fit = Requirement("fork length for the trolley", name, carrier=carrier, length=length, usual=usual)
    if abs(length - usual) <= figures["fit.fork_step"].value + ROUNDING:
        return fit.case("ok")
    return fit.case("shorter" if length < usual else "longer")


def _fork_width(key: str, forks: Equipment, carrier_name: str, carrier: Equipment, figures: Figures) -> Check:
    """Width over both forks against the clear width of what they lift."""
    room, width = carrier.fork_room_mm, forks.forks_over_both_mm
    fit = Requirement("fork width", words(key), key=key, carrier=carrier_name, figures=figures, room=room, width=width)
    if width is None or room is None:
        return fit.case("no width" if width is None else "no room")
    return fit.case("ok" if width <= room + ROUNDING else "too wide", beyond=width - room)


def _rating(trucks: Trucks, key: str, device: Equipment, beside_kg: float) -> Check:
    """Rated mass of a device against the battery and what goes with it."""
    mass, rated = trucks.battery.mass_kg, device.rated_mass_kg
    plate = Requirement("rating", words(key), trucks=trucks, key=key, rated=rated)
    if mass is None:
        return plate.case("no mass")
    load = mass + beside_kg
    if rated is None:
        return plate.case("no rating", load=load)
    return plate.case("ok" if load <= rated + ROUNDING else "too heavy", load=load, beyond=load - rated)


def _lift(key: str, raised: float | None, carrier: str, needed: float | None) -> Check:
    """Height of raised forks against what lifts the carrier off the floor."""
    fit = Requirement("lift", words(key), key=key, carrier=carrier, raised=raised, needed=needed)
    if needed is None or raised is None:
        return fit.case("no need" if needed is None else "no height")
    return fit.case("ok" if raised >= needed - ROUNDING else "too low")


def _rollers(trucks: Trucks, key: str, device: Equipment, figures: Figures) -> Check:
    """Roller height of the truck against that of carriage, bay or stand."""
    step, floor, window = figures["fit.roller_step"], trucks.compartment.floor_height_mm, device.roller_height_mm
    fit = Requirement("roller height", words(key), trucks=trucks, key=key, figures=figures, step=step, floor=floor,
                      window=window)  # fmt: skip
    if floor is None or window is None:
        return fit.case("no floor height" if floor is None else "no roller height")
    gap = max(0.0, window.least - floor, floor - window.most)
    return fit.case("ok" if gap <= step.value + ROUNDING else "step", gap=gap)


STANDING = {"along": "along the truck", "flush": "flush with the frame", "apart": "apart from the truck"}
"""Where a device stands beside a truck."""


def _door(trucks: Trucks, key: str, device: Equipment, figures: Figures) -> Check:
    """How the side opens against how close the device comes, where anybody has looked."""
    comes, along, opening = device.comes or "along", figures["fit.door_along"], trucks.compartment.opening
    wide = f"a door that opens {along.text}, or a removable cover"
    need = {"along": wide, "flush": "a removable cover", "apart": "any side opening"}[comes]
    fit = Requirement("door", words(key), trucks=trucks, key=key, figures=figures, along=along, need=need,
                      opening=opening, stands=STANDING[comes])  # fmt: skip
    if opening is None:
        return fit.case("no opening")
    angle = opening.angle_deg
    written = "" if angle is None else f", {angle:.0f} deg"
    if opening.kind != "door" or comes == "apart":
        return fit.case("ok", angle=written)
    if comes == "along" and (angle is None or angle >= along.value):
        return fit.case("no angle" if angle is None else "ok", angle=written)
    return fit.case(comes, angle=written)


def hoist_checks(scenario: Scenario, arrangement: Arrangement, trucks: Trucks) -> Iterator[Check]:
    """Rating, hooks and headroom of a hoist."""
    key, figures = arrangement.needs.lifts, scenario.figures
    assert key is not None  # asked for before
    hoist, beam = equipment_of(scenario, arrangement, key), equipment_of(scenario, arrangement, BEAM)
    yield _rating(trucks, key, hoist, beam.own_mass_kg or 0.0)
    yield _rating(trucks, BEAM, beam, 0.0)
    yield _hooks(trucks, beam, figures["fit.tray_tolerance"].value)
    yield Requirement("insulation", BEAM).case("no" if beam.insulated == "no" else "ok")
    yield _headroom(trucks, key, hoist, beam, figures["fit.lift_clearance"].value)


def _hooks(trucks: Trucks, beam: Equipment, tolerance_mm: float) -> Check:
    """Hooks as far apart as the lifting eyes."""
    eyes, window = trucks.battery.lifting_eyes_mm, beam.hook_spacing_mm
    fit = Requirement("hooks", BEAM, trucks=trucks, beam=BEAM, eyes=eyes, window=window, tolerance=tolerance_mm)
    if eyes is None or window is None:
        return fit.case("no eyes" if eyes is None else "no hooks")
    straight = max(0.0, window.least - eyes, eyes - window.most) <= tolerance_mm + ROUNDING
    return fit.case("ok" if straight else "slant")


def _headroom(trucks: Trucks, key: str, hoist: Equipment, beam: Equipment, clearance_mm: float) -> Check:
    """Height that the hook must reach so that the battery clears the open compartment."""
    compartment, size, hook = trucks.compartment, trucks.battery.size, hoist.hook_height_mm
    fit = Requirement("headroom", words(key), trucks=trucks, key=key, beam=BEAM, hook=hook, clearance=clearance_mm)
    below_hook = {
        "no floor height": compartment.floor_height_mm,
        "no compartment height": compartment.height_mm,
        "no battery size": None if size is None else size.height_mm,
        "no beam height": beam.takes_up_mm,
    }
    for case, height in below_hook.items():
        if height is None:
            return fit.case(case)
    if hook is None:
        return fit.case("no hook height")
    needed = sum(height or 0.0 for height in below_hook.values()) + clearance_mm
    return fit.case("ok" if hook >= needed - ROUNDING else "too low", needed=needed, short=needed - hook)
