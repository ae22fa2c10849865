"""Whether the battery fits the truck: mass, sizes, voltage, connector, removal, base, the maker's approval."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from batsim import units
from batsim.catalogue import figure
from batsim.plan.checks import FAILS, GEOMETRY, OK, PLATE, ROUNDING, TO_CHECK, Check, cited, missing, mm
from batsim.plan.survey import Trucks, drawn_out, trucks_alike

if TYPE_CHECKING:
    from batsim.scenario.parts.handling import Arrangement
    from batsim.scenario.site import Scenario

SIDES = (("length", "along the truck"), ("width", "across the truck"))


def truck_checks(scenario: "Scenario", layout: str) -> Iterator[Check]:
    """Check each kind of truck with its battery in a layout."""
    arrangement = scenario.arrangement(layout)
    for trucks in trucks_alike(scenario):
        yield _mass(trucks)
        yield from _sizes(trucks, bed=_bed_ordered(arrangement) and trucks.compartment.floor != "rollers")
        yield _voltage(trucks)
        yield from _connector(trucks)
        if arrangement.needs.removal != "any" or (trucks.removal == "none" and not arrangement.in_truck):
            yield _removal(trucks, arrangement.needs.removal)
        if (arrangement.needs.rolls_onto or arrangement.needs.carrier) and drawn_out(trucks, arrangement):
            yield from _base(trucks, arrangement)
        if arrangement.needs.approval:
            yield _approval(trucks, scenario.arrangement(layout).title)


def _mass(trucks: Trucks) -> Check:
    """Battery mass inside the window of the truck's plate."""
    window, mass = trucks.compartment.battery_mass_kg, trucks.battery.mass_kg
    path, name = f"{trucks.path}.compartment.battery_mass", "battery mass"
    changes = "a battery outside the window makes the truck unstable or overloads it: it must not be used"
    if window is None:
        ask = f"read the least and greatest battery mass on the plate of {trucks.name}"
        return missing(trucks.name, name, "-", PLATE, ask, path, changes)
    limit = f"{window.least:.0f} to {window.most:.0f} kg"
    if mass is None:
        ask = f"read the mass on the plate of battery '{trucks.battery_name}'"
        return missing(trucks.name, name, limit, PLATE, ask, trucks.battery_path("mass"), changes)
    value = f"{mass:.0f} kg"
    if window.holds(mass):
        return Check(trucks.name, name, OK, value, limit, PLATE, "The mass lies within the truck's limits.")
    heavy = mass > window.most
    cure = (
        "choose a lighter battery, or a truck whose plate allows this one"
        if heavy
        else "choose a heavier battery, or ballast that the truck's maker approves; never ballast of your own"
    )
    by = mass - window.most if heavy else window.least - mass
    sentence = f"The battery is {by:.0f} kg too {'heavy' if heavy else 'light'} for the truck's plate."
    return Check(trucks.name, name, FAILS, value, limit, PLATE, sentence, cure)


def _bed_ordered(arrangement: "Arrangement") -> bool:
    """Tell whether a roller bed for the truck is on the equipment list."""
    return any(part.fitted == "rollers" for part in arrangement.needs.parts)


def _sizes(trucks: Trucks, *, bed: bool) -> Iterator[Check]:
    """Length, width and height in the compartment, and the free play that is left."""
    play = figure("fit.free_play")
    size, compartment = trucks.battery.size, trucks.compartment
    for side, way in SIDES:
        path, name = f"{trucks.path}.compartment.{side}", f"battery {side} in the compartment"
        limit, rule = f"free play at most {mm(play.value)}", cited(play)
        changes = "whether the battery goes in, and whether it is held"
        room = getattr(compartment, f"{side}_mm")
        if size is None or room is None:
            whose = f"battery '{trucks.battery_name}'" if size is None else f"the compartment of {trucks.name}"
            path = trucks.battery_path("size") if size is None else path
            yield missing(trucks.name, name, limit, rule, f"measure the {side} of {whose}", path, changes)
            continue
        left = room - getattr(size, f"{side}_mm")
        value = f"{mm(left)} free {way}"
        if left < -ROUNDING:
            sentence = f"The battery is {mm(-left)} longer than its compartment {way}."
            cure = "choose a battery in a smaller tray"
            yield Check(trucks.name, name, FAILS, value, limit, GEOMETRY, sentence, cure)
        elif left > play.value + ROUNDING:
            sentence = "The battery can move in its compartment."
            cure = "fit spacers that the truck's maker approves, or a wider tray"
            yield Check(trucks.name, name, FAILS, value, limit, rule, sentence, cure)
        else:
            yield Check(trucks.name, name, OK, value, limit, rule, "It goes in and cannot move.")
    yield _height(trucks, bed=bed)


def _height(trucks: Trucks, *, bed: bool) -> Check:
    """Height of the battery under the hood or cover."""
    name, path = "battery height in the compartment", f"{trucks.path}.compartment.height"
    size, room = trucks.battery.size, trucks.compartment.height_mm
    usual = figure("fit.height_on_rollers")
    changes = "whether the cover closes; a roller bed takes height away"
    if size is None or room is None:
        whose = f"battery '{trucks.battery_name}'" if size is None else f"the compartment of {trucks.name}"
        path = trucks.battery_path("size") if size is None else path
        ask = f"measure the height of {whose} (a roller bed leaves about {usual.text})"
        return missing(trucks.name, name, "-", GEOMETRY, ask, path, changes)
    value, limit = mm(size.height_mm), f"at most {mm(room)}"
    if bed:
        limit = f"about {mm(on_rollers_mm(room))} over the roller bed"
        if size.height_mm <= on_rollers_mm(room) + ROUNDING:
            sentence = "It should go in over the roller bed; the truck's maker gives the exact height."
            return Check(
                trucks.name, name, TO_CHECK, value, limit, cited(usual), sentence, "ask for the height over the bed"
            )
        sentence = "Too high once the roller bed is in."
        return Check(trucks.name, name, FAILS, value, limit, cited(usual), sentence, "choose a lower battery")
    left = room - size.height_mm
    if left >= -ROUNDING:
        return Check(trucks.name, name, OK, value, limit, GEOMETRY, f"{mm(max(0.0, left))} are left above it.")
    sentence = f"The battery stands {mm(-left)} too high."
    cure = "choose a lower battery, or keep the flat floor instead of a roller bed"
    return Check(trucks.name, name, FAILS, value, limit, GEOMETRY, sentence, cure)


def on_rollers_mm(height_mm: float) -> float:
    """Clear height over a roller bed that is still to be fitted, as it usually is. [mm]"""
    return min(height_mm, units.convert(figure("fit.height_on_rollers").value, "in", "length"))


def _voltage(trucks: Trucks) -> Check:
    """Nominal voltage of truck and battery."""
    wanted, has = trucks.compartment.voltage_v, trucks.battery.nominal_v
    path = f"{trucks.path}.compartment.voltage"
    if wanted is None:
        ask = f"read the voltage on the plate of {trucks.name}"
        changes = "a battery of another voltage destroys the truck's electronics"
        return missing(trucks.name, "voltage", "-", PLATE, ask, path, changes)
    lithium = trucks.battery.chemistry == "lithium_ion"
    value, limit = f"{has:.4g} V", f"{wanted:.4g} V"
    if abs(has - wanted) < ROUNDING:
        return Check(trucks.name, "voltage", OK, value, limit, PLATE, "Truck and battery have the same voltage.")
    if lithium and abs(has / wanted - 1.0) < figure("fit.voltage_step").value / 100.0:
        sentence = "Near the truck's voltage, as lithium-ion batteries are; the truck's maker has to approve it."
        return Check(
            trucks.name, "voltage", TO_CHECK, value, limit, PLATE, sentence, "ask the truck's maker in writing"
        )
    sentence = "Truck and battery have different voltages."
    return Check(
        trucks.name, "voltage", FAILS, value, limit, PLATE, sentence, "choose a battery of the truck's voltage"
    )


def _connector(trucks: Trucks) -> Iterator[Check]:
    """Connector of truck and battery, as they are marked."""
    mine, other = trucks.compartment.connector, trucks.battery.connector
    rule = "same connector, colour and polarity as local rules mark them"
    changes = "adapters, and the hazard of reversed or mixed voltages"
    if mine is None or other is None:
        whose = f"battery '{trucks.battery_name}'" if other is None else f"{trucks.name}"
        path = trucks.battery_path("connector") if other is None else f"{trucks.path}.compartment.connector"
        ask = f"read the marking of the connector of {whose}"
        yield missing(trucks.name, "connector", "the same on both", rule, ask, path, changes)
    elif mine == other:
        yield Check(trucks.name, "connector", OK, other, mine, rule, "The connectors are marked alike.")
    else:
        cure = "change the connector of the batteries; no adapters between voltages"
        yield Check(trucks.name, "connector", FAILS, other, mine, rule, "The connectors differ.", cure)


def _removal(trucks: Trucks, wanted: str) -> Check:
    """Where the battery leaves the truck against what the arrangement needs."""
    limit, rule, name = f"{wanted} removal", "the way the arrangement moves a battery", "battery removal"
    path, changes = f"{trucks.path}.compartment.removal", "whether this arrangement is possible at all"
    if trucks.removal == "either":
        ask = f"look whether the battery of {trucks.name} leaves at the side or upwards"
        return missing(trucks.name, name, limit, rule, ask, path, changes)
    if trucks.removal == wanted:
        return Check(trucks.name, name, OK, f"{trucks.removal} removal", limit, rule, "The battery leaves that way.")
    cure = (
        "ask the truck's maker for a conversion to side removal (four-wheel trucks as a rule; three-wheel trucks "
        "lose strength in the frame), or choose a hoist"
        if wanted == "side"
        else "charge in the truck, or ask the truck's maker for a conversion"
        if wanted == "any"
        else "choose an arrangement with side removal"
    )
    value = "no removal" if trucks.removal == "none" else f"{trucks.removal} removal"
    sentence = "The battery cannot be taken out." if wanted == "any" else f"The battery does not leave at the {wanted}."
    return Check(trucks.name, name, FAILS, value, limit, rule, sentence, cure)


def _base(trucks: Trucks, arrangement: "Arrangement") -> Iterator[Check]:
    """Rollers on one side only: a tray with rollers wants a flat floor, a flat tray wants rollers."""
    floor, base = trucks.compartment.floor, trucks.battery.base
    if _bed_ordered(arrangement):
        floor = "rollers"
    name, rule = "rollers under the battery", "rollers either in the truck or under the tray"
    path = f"{trucks.path}.compartment.floor" if floor is None else trucks.battery_path("base")
    changes = "whether the battery can be pulled out, and whether it rolls away when it should not"
    if floor is None or base is None:
        whose = f"the floor of the compartment of {trucks.name}" if floor is None else f"'{trucks.battery_name}'"
        ask = f"look whether {whose} has rollers or is flat"
        yield missing(trucks.name, name, "one of the two", rule, ask, path, changes)
        return
    value = f"{floor} floor, tray {'with rollers' if base == 'rollers' else 'with a flat base'}"
    if arrangement.needs.carrier is not None and base == "flat":
        sentence = f"The battery stands on a {arrangement.needs.carrier}."
        yield Check(trucks.name, name, OK, value, rule, GEOMETRY, sentence)
    elif floor != base:
        yield Check(trucks.name, name, OK, value, rule, GEOMETRY, "The battery rolls.")
    elif floor == "flat":
        sentence = "Flat on flat does not roll."
        yield Check(
            trucks.name, name, FAILS, value, rule, GEOMETRY, sentence, "fit a roller bed in the truck, or a trolley"
        )
    else:
        sentence = "Rollers on rollers: the battery cannot be held in bay."
        yield Check(trucks.name, name, FAILS, value, rule, GEOMETRY, sentence, "order trays with a flat base")


def _approval(trucks: Trucks, title: str) -> Check:
    """The truck maker's approval of the change equipment."""
    said = trucks.compartment.maker_approves
    name, rule = "the maker's approval", "the truck maker's instructions: change equipment approved for truck and tray"
    path = f"{trucks.path}.compartment.maker_approves"
    if said is None:
        ask = f"see the document in which the maker of {trucks.name} approves the change equipment"
        changes = "without it the arrangement must not be used, whatever the other checks say"
        return missing(trucks.name, name, "approved", rule, ask, path, changes)
    if said == "yes":
        sentence = f"The maker approves: {title[0].lower()}{title[1:]}."
        return Check(trucks.name, name, OK, "approved", "approved", rule, sentence)
    cure = "ask the maker which change equipment is approved for this truck and tray, and choose that"
    return Check(trucks.name, name, FAILS, "not approved", "approved", rule, "The maker does not approve it.", cure)
