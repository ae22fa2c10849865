"""Whether the battery fits the truck: mass, sizes, voltage, connector, removal, base, the maker's approval."""

from collections.abc import Iterator

from batsim import units
from batsim.catalogue import Figures
from batsim.plan.checks import GEOMETRY, PLATE, ROUNDING, Check, Requirement, cited, mm
from batsim.plan.survey import Trucks, pulled_out, trucks_alike
from batsim.scenario.parts.handling import Arrangement
from batsim.scenario.site import Scenario

SIDES = (("length", "along the truck"), ("width", "across the truck"))


def truck_checks(scenario: Scenario, layout: str) -> Iterator[Check]:
    """Check each kind of truck with its battery in a layout."""
    arrangement, figures = scenario.arrangement(layout), scenario.figures
    for trucks in trucks_alike(scenario):
        yield _mass(trucks)
        yield from _sizes(trucks, figures)
        yield _height(trucks, figures, bed=_bed_ordered(arrangement) and trucks.compartment.floor != "rollers")
        yield _voltage(trucks, figures)
        yield _connector(trucks)
        if arrangement.needs.removal != "any" or (trucks.removal == "none" and not arrangement.in_truck):
            yield _removal(trucks, arrangement.needs.removal)
        if (arrangement.needs.rolls_onto or arrangement.needs.carrier) and pulled_out(trucks, arrangement):
            yield _base(trucks, arrangement)
        if arrangement.needs.approval:
            yield _approval(trucks, arrangement.title)


def _mass(trucks: Trucks) -> Check:
    """Battery mass inside the window of the truck's plate."""
    window, mass = trucks.compartment.battery_mass_kg, trucks.battery.mass_kg
    changes = "a battery outside the window makes the truck unstable or overloads it: it must not be used"
    plate = Requirement(trucks.name, "battery mass", PLATE, changes)
    if window is None:
        ask = f"read the least and greatest battery mass on the plate of {trucks.name}"
        return plate.not_known(ask, trucks.compartment_path("battery_mass"))
    plate = plate.within(f"{window.least:.0f} to {window.most:.0f} kg")
    if mass is None:
        return plate.not_known(*trucks.ask_mass)
    value = f"{mass:.0f} kg"
    if window.holds(mass):
        return plate.ok(value, "The mass lies within the truck's limits.")
    if mass > window.most:
        cure = "choose a lighter battery, or a truck whose plate allows this one"
        return plate.fails(value, f"The battery is {mass - window.most:.0f} kg too heavy for the truck's plate.", cure)
    cure = "choose a heavier battery, or ballast that the truck's maker approves; never ballast of your own"
    return plate.fails(value, f"The battery is {window.least - mass:.0f} kg too light for the truck's plate.", cure)


def _bed_ordered(arrangement: Arrangement) -> bool:
    """Whether a roller bed for the truck is on the equipment list."""
    return any(part.fitted == "rollers" for part in arrangement.needs.parts)


def _sizes(trucks: Trucks, figures: Figures) -> Iterator[Check]:
    """Length and width in the compartment, and the free play that is left."""
    play, changes = figures["fit.free_play"], "whether the battery goes in, and whether it is held"
    for side, way in SIDES:
        fit = Requirement(trucks.name, f"battery {side} in the compartment", cited(play), changes)
        fit = fit.within(f"free play at most {mm(play.value)}")
        size, room = trucks.battery.size, getattr(trucks.compartment, f"{side}_mm")
        if size is None or room is None:
            yield fit.not_known(*trucks.ask_size(side))
            continue
        left = room - getattr(size, f"{side}_mm")
        value = f"{mm(left)} free {way}"
        if left < -ROUNDING:
            sentence = f"The battery is {mm(-left)} longer than its compartment {way}."
            yield fit._replace(rule=GEOMETRY).fails(value, sentence, "choose a battery in a smaller tray")
        elif left > play.value + ROUNDING:
            cure = "fit spacers that the truck's maker approves, or a wider tray"
            yield fit.fails(value, "The battery can move in its compartment.", cure)
        else:
            yield fit.ok(value, "It goes in and cannot move.")


def _height(trucks: Trucks, figures: Figures, *, bed: bool) -> Check:
    """Height of the battery under the hood or cover."""
    changes = "whether the cover closes; a roller bed takes height away"
    fit = Requirement(trucks.name, "battery height in the compartment", GEOMETRY, changes)
    size, room = trucks.battery.size, trucks.compartment.height_mm
    if size is None or room is None:
        ask, path = trucks.ask_size("height")
        usual = figures["fit.height_on_rollers"].text
        return fit.not_known(f"{ask} (a roller bed leaves about {usual})", path)
    if bed:
        return _height_over_bed(fit, size.height_mm, room, figures)
    fit, left = fit.within(f"at most {mm(room)}"), room - size.height_mm
    if left >= -ROUNDING:
        return fit.ok(mm(size.height_mm), f"{mm(max(0.0, left))} are left above it.")
    cure = "choose a lower battery, or keep the flat floor instead of a roller bed"
    return fit.fails(mm(size.height_mm), f"The battery stands {mm(-left)} too high.", cure)


def _height_over_bed(fit: Requirement, height_mm: float, room_mm: float, figures: Figures) -> Check:
    """The same over a roller bed that is still to be fitted."""
    usual = figures["fit.height_on_rollers"]
    clear_mm = min(room_mm, units.convert(usual.value, "in", "length"))
    fit = fit._replace(rule=cited(usual), limit=f"about {mm(clear_mm)} over the roller bed")
    if height_mm <= clear_mm + ROUNDING:
        sentence = "It should go in over the roller bed; the truck's maker gives the exact height."
        return fit.to_check(mm(height_mm), sentence, "ask for the height over the bed")
    return fit.fails(mm(height_mm), "Too high once the roller bed is in.", "choose a lower battery")


def _voltage(trucks: Trucks, figures: Figures) -> Check:
    """Nominal voltage of truck and battery."""
    wanted, has = trucks.compartment.voltage_v, trucks.battery.nominal_v
    plate = Requirement(trucks.name, "voltage", PLATE, "a battery of another voltage destroys the truck's electronics")
    if wanted is None:
        ask = f"read the voltage on the plate of {trucks.name}"
        return plate.not_known(ask, trucks.compartment_path("voltage"))
    plate, value = plate.within(f"{wanted:.4g} V"), f"{has:.4g} V"
    if abs(has - wanted) < ROUNDING:
        return plate.ok(value, "Truck and battery have the same voltage.")
    near = abs(has / wanted - 1.0) < figures["fit.voltage_step"].value / 100.0
    if near and trucks.battery.chemistry == "lithium_ion":
        sentence = "Near the truck's voltage, as lithium-ion batteries are; the truck's maker has to approve it."
        return plate.to_check(value, sentence, "ask the truck's maker in writing")
    return plate.fails(value, "Truck and battery have different voltages.", "choose a battery of the truck's voltage")


def _connector(trucks: Trucks) -> Check:
    """Connector of truck and battery, as they are marked."""
    mine, other = trucks.compartment.connector, trucks.battery.connector
    rule = "same connector, colour and polarity as local rules mark them"
    changes = "adapters, and the hazard of reversed or mixed voltages"
    alike = Requirement(trucks.name, "connector", rule, changes, "the same on both")
    ask = "read the marking of the connector of"
    if other is None:
        return alike.not_known(f"{ask} battery '{trucks.battery_name}'", trucks.battery_path("connector"))
    if mine is None:
        return alike.not_known(f"{ask} {trucks.name}", trucks.compartment_path("connector"))
    if mine == other:
        return alike.within(mine).ok(other, "The connectors are marked alike.")
    cure = "change the connector of the batteries; no adapters between voltages"
    return alike.within(mine).fails(other, "The connectors differ.", cure)


def _removal(trucks: Trucks, wanted: str) -> Check:
    """Where the battery leaves the truck against what the arrangement needs."""
    way, changes = "the way the arrangement moves a battery", "whether this arrangement is possible at all"
    fit = Requirement(trucks.name, "battery removal", way, changes, f"{wanted} removal")
    if trucks.removal == "either":
        ask = f"look whether the battery of {trucks.name} leaves at the side or upwards"
        return fit.not_known(ask, trucks.compartment_path("removal"))
    if trucks.removal == wanted:
        return fit.ok(f"{trucks.removal} removal", "The battery leaves that way.")
    value = "no removal" if trucks.removal == "none" else f"{trucks.removal} removal"
    if wanted == "any":
        cure = "charge in the truck, or ask the truck's maker for a conversion"
        return fit.fails(value, "The battery cannot be taken out.", cure)
    cure = "choose an arrangement with side removal"
    if wanted == "side":
        cure = (
            "ask the truck's maker for a conversion to side removal (four-wheel trucks as a rule; three-wheel trucks "
            "lose strength in the frame), or choose a hoist"
        )
    return fit.fails(value, f"The battery does not leave at the {wanted}.", cure)


def _base(trucks: Trucks, arrangement: Arrangement) -> Check:
    """Rollers on one side only: a tray with rollers wants a flat floor, a flat tray wants rollers."""
    floor, base = trucks.compartment.floor, trucks.battery.base
    if _bed_ordered(arrangement):
        floor = "rollers"
    rule = "rollers either in the truck or under the tray"
    changes = "whether the battery can be pulled out, and whether it rolls away when it should not"
    fit = Requirement(trucks.name, "rollers under the battery", rule, changes, "one of the two")
    if floor is None:
        ask = f"look whether the floor of the compartment of {trucks.name} has rollers or is flat"
        return fit.not_known(ask, trucks.compartment_path("floor"))
    if base is None:
        ask = f"look whether '{trucks.battery_name}' has rollers or is flat"
        return fit.not_known(ask, trucks.battery_path("base"))
    fit = fit._replace(limit=rule, rule=GEOMETRY)
    value = f"{floor} floor, tray {'with rollers' if base == 'rollers' else 'with a flat base'}"
    if arrangement.needs.carrier is not None and base == "flat":
        return fit.ok(value, f"The battery stands on a {arrangement.needs.carrier}.")
    if floor != base:
        return fit.ok(value, "The battery rolls.")
    if floor == "flat":
        return fit.fails(value, "Flat on flat does not roll.", "fit a roller bed in the truck, or a trolley")
    sentence = "Rollers on rollers: the battery cannot be held in place."
    return fit.fails(value, sentence, "order trays with a flat base")


def _approval(trucks: Trucks, title: str) -> Check:
    """The truck maker's approval of the change equipment."""
    rule = "the truck maker's instructions: change equipment approved for truck and tray"
    changes = "without it the arrangement must not be used, whatever the other checks say"
    approval = Requirement(trucks.name, "the maker's approval", rule, changes, "approved")
    answer = trucks.compartment.maker_approves
    if answer is None:
        ask = f"see the document in which the maker of {trucks.name} approves the change equipment"
        return approval.not_known(ask, trucks.compartment_path("maker_approves"))
    if answer == "yes":
        return approval.ok("approved", f"The maker approves: {title[0].lower()}{title[1:]}.")
    cure = "ask the maker which change equipment is approved for this truck and tray, and choose that"
    return approval.fails("not approved", "The maker does not approve it.", cure)
