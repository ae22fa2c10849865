"""Equipment list: what to order for a layout, how many and why, ready for a quotation; what is owned apart."""

from collections import defaultdict
from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

from batsim.catalogue import figure
from batsim.plan.checks import FAILS, NOT_KNOWN, Check, mm
from batsim.plan.room_fit import WASH
from batsim.plan.survey import carried_kg, equipment_of, trucks_alike, words
from batsim.plan.ventilation import AIR
from batsim.room.blueprint import blueprint_of
from batsim.scenario.parts.base import UNLIMITED
from batsim.scenario.parts.fit import BEAM
from batsim.scenario.parts.week import WEEK_MIN
from batsim.study.prices import Price, battery_price, charger_price, device_price, part_price, price_of

if TYPE_CHECKING:
    from batsim.room.blueprint import Blueprint
    from batsim.scenario.parts.needs import Part
    from batsim.scenario.site import Scenario

SECTIONS = {
    "energy": "Batteries and chargers",
    "handling": "Handling equipment",
    "truck": "Truck side",
    "maintenance": "Watering and maintenance",
    "room": "Room and safety",
    "standby": "Standby",
}
"""Sections of the list, in their order."""
BY_HAND = ("hand_pallet_truck",)
"""Devices that are borrowed or bought within a day; where there is one of any other, all exchanges stop with it."""


STANDBY_METHOD = "standby method (stand with hand pallet truck)"
"""What is listed where one device serves all and nothing is stated that stands by."""


class Line(NamedTuple):
    """A line of the list."""

    section: str
    """A key of `SECTIONS`."""
    item: str
    size: str
    """Key dimension or rating."""
    number: float
    owned: float
    """Of these, already there."""
    reason: str
    price: Price
    """Of one."""
    life: str
    """Key of the life of such things: battery, charger, device or room."""
    battery: str = ""
    """Battery type, on its own line."""

    @property
    def to_order(self) -> float:
        """What is not there yet."""
        return max(0.0, self.number - self.owned)

    @property
    def cost(self) -> Price:
        """Of what is to be ordered."""
        return self.price.times(self.to_order)


def equipment_list(
    scenario: "Scenario", layout: str, checks: tuple[Check, ...], air_m3_per_h: float = 0.0
) -> tuple[Line, ...]:
    """List what a layout needs.

    Parameters
    ----------
    scenario, layout
        Counts are those of the layout.
    checks
        Checks of the layout: what they miss is listed.
    air_m3_per_h
        Air that the room must have. [m3/h]
    """
    plan = blueprint_of(scenario, layout, WEEK_MIN, 0.0)
    lines = [
        *_batteries(scenario, layout),
        *_chargers(scenario, layout),
        *_devices(scenario, layout, plan),
        *_bays(scenario, layout, plan),
        *_parts(scenario, layout, plan),
        *_maintenance(scenario, layout),
        *_room(scenario, layout, checks, air_m3_per_h),
        *_standby(scenario, layout, plan),
    ]
    there = _there(scenario, layout)
    lines = [
        line._replace(owned=min(line.number, max(line.owned, there[line.section, line.item])))
        for line in lines
        if line.number > 0.0
    ]
    order = list(SECTIONS)
    return tuple(sorted(lines, key=lambda line: order.index(line.section)))


def _there(scenario: "Scenario", layout: str) -> defaultdict[tuple[str, str], float]:
    """What the layout of today has, by section and item; for itself all of it."""
    present = scenario.present
    if present is None:
        return defaultdict(float)
    if present == layout:
        return defaultdict(lambda: UNLIMITED)
    lines = equipment_list(scenario, present, ())
    return defaultdict(float, {(line.section, line.item): line.number for line in lines})


def _owned(scenario: "Scenario", layout: str, number: float, *names: str) -> float:
    """How many are there already: all, where any of the names stands under `owned`."""
    return number if set(names) & set(scenario.layouts[layout].owned) else 0.0


def _batteries(scenario: "Scenario", layout: str) -> Iterator[Line]:
    for name, number in scenario.batteries_of(layout).items():
        battery, price = scenario.batteries[name], battery_price(scenario, name)
        trucks = sum(group.count for group in scenario.trucks if group.battery == name)
        size = f"{battery.nominal_v:g} V, {battery.capacity.ah:g} Ah at {battery.capacity.rate_h:g} h"
        size += "" if battery.mass_kg is None else f", {battery.mass_kg:.0f} kg"
        reason = f"{trucks} in trucks and {number - trucks} beside them" if number > trucks else "one in each truck"
        owned = _owned(scenario, layout, number, "batteries", name)
        yield Line("energy", f"battery ({words(name)})", size, number, owned, reason, price, "battery", name)


def _chargers(scenario: "Scenario", layout: str) -> Iterator[Line]:
    batteries = {name: scenario.batteries[name] for name in scenario.batteries_of(layout)}
    for count in scenario.layouts[layout].chargers:
        if count.number >= UNLIMITED:
            continue
        charger = scenario.chargers[count.charger]
        fits = [each for name, each in batteries.items() if charger.fits(name, each)]
        amps = max((charger.main_current.of(each.capacity.ah) for each in fits), default=0.0)
        volts = max((each.nominal_v for each in fits), default=0.0)
        price = charger_price(scenario, count.charger)
        owned = _owned(scenario, layout, count.number, "chargers", count.charger)
        size = f"{volts:g} V, {amps:.0f} A, {charger.profile}"
        reason = "batteries that charge at once, as simulated"
        yield Line("energy", f"charger ({words(count.charger)})", size, count.number, owned, reason, price, "charger")


def _devices(scenario: "Scenario", layout: str, plan: "Blueprint") -> Iterator[Line]:
    arrangement = scenario.arrangement(layout)
    if arrangement.in_truck and not _watered(scenario, layout, "hand"):
        return
    for name, number in plan.devices.items():
        if number >= UNLIMITED:
            continue
        owned = _owned(scenario, layout, number, "devices", name)
        why = "to draw batteries out for watering" if arrangement.in_truck else "exchanges at the same time"
        price = device_price(scenario, name)
        yield Line("handling", words(name), _size(scenario, layout, name), number, owned, why, price, "device")


def _size(scenario: "Scenario", layout: str, name: str) -> str:
    """Key dimension of equipment: its forks, rollers or rating."""
    arrangement = scenario.arrangement(layout)
    found, parts = equipment_of(scenario, arrangement, name), []
    heaviest = max((trucks.battery.mass_kg or 0.0 for trucks in trucks_alike(scenario)), default=0.0)
    if found.fork_length_mm is not None:
        depths = [trucks.compartment.frame_depth_mm for trucks in trucks_alike(scenario)]
        length = min([found.fork_length_mm, *(depth for depth in depths if depth is not None)])
        parts.append(
            f"forks {mm(length)} long" if length == found.fork_length_mm else f"forks at most {mm(length)} long"
        )
    if found.forks_over_both_mm is not None:
        parts.append(f"{mm(found.forks_over_both_mm)} over both")
    if found.roller_height_mm is not None:
        parts.append(f"rollers at {mm(found.roller_height_mm.most)}")
    eyes = [trucks.battery.lifting_eyes_mm for trucks in trucks_alike(scenario)]
    if name in (arrangement.needs.lifts, arrangement.needs.beside, arrangement.needs.forks, BEAM):
        beside = carried_kg(scenario, arrangement, name) if name == arrangement.needs.forks else 0.0
        rating = found.rated_mass_kg
        if heaviest:
            parts.append(
                f"rated {rating:.0f} kg"
                if rating is not None
                else f"to be rated for at least {heaviest + beside:.0f} kg"
            )
    if name == BEAM and (spacing := next((each for each in eyes if each is not None), None)) is not None:
        parts.append(f"hooks {mm(spacing)} apart")
    if found.moved is not None and name not in ("stand",):
        parts.append(words(found.moved))
    return ", ".join(parts)


def _bays(scenario: "Scenario", layout: str, plan: "Blueprint") -> Iterator[Line]:
    arrangement = scenario.arrangement(layout)
    if not arrangement.in_truck:
        spare = sum(scenario.batteries_of(layout).values()) - sum(group.count for group in scenario.trucks)
        reason = f"{spare} batteries beside those in trucks, and {plan.bays - spare:.0f} empty for exchanges"
        owned = _owned(scenario, layout, plan.bays, "bays")
        size = _size(scenario, layout, arrangement.bay)
        price = price_of(scenario, "bay", scenario.prices.bay)
        yield Line("handling", arrangement.bay, size, plan.bays, owned, reason, price, "room")
    if plan.stations < UNLIMITED:
        owned = _owned(scenario, layout, plan.stations, "stations")
        what = "charging spot" if arrangement.in_truck else "exchange station"
        price = price_of(scenario, "station", scenario.prices.station)
        reason = "trucks that charge at once" if arrangement.in_truck else "trucks that are exchanged at once"
        yield Line("room", what, "marked, guarded against trucks", plan.stations, owned, reason, price, "room")


def _parts(scenario: "Scenario", layout: str, plan: "Blueprint") -> Iterator[Line]:
    """Parts that the arrangement names, counted by their rule."""
    for part in scenario.arrangement(layout).needs.parts:
        number = _number(scenario, layout, plan, part)
        if part.watered_by is not None and not _watered(scenario, layout, part.watered_by):
            continue
        if not 0.0 < number < UNLIMITED:
            continue
        counted = {"spare_battery": "battery beside those in trucks", "device": words(part.device or "")}
        each = counted.get(part.for_each, part.for_each)
        rule = "one" if part.number == 1 else str(part.number)
        reason = f"{rule} for each {each}" if part.for_each != "room" else "for the room"
        reason += f": {part.why}" if part.why else ""
        owned = max(_owned(scenario, layout, number, part.part), _fitted(scenario, part))
        priced = device_price if part.part in scenario.arrangement(layout).devices else part_price
        price, size = priced(scenario, part.part), _size(scenario, layout, part.size_of or part.part)
        yield Line(part.section, words(part.part), size, number, owned, reason, price, "device")


def _fitted(scenario: "Scenario", part: "Part") -> float:
    """Trucks that have a part already, as the survey says."""
    along = figure("fit.door_along").value
    fitted = 0
    for trucks in trucks_alike(scenario):
        opening = trucks.compartment.opening
        there = {
            "rollers": trucks.compartment.floor == "rollers",
            "opens": opening is not None,
            "opens_wide": opening is not None and (opening.kind != "door" or (opening.angle_deg or 0.0) >= along),
        }
        fitted += trucks.count * (part.fitted is not None and there[part.fitted])
    return float(fitted)


def _number(scenario: "Scenario", layout: str, plan: "Blueprint", part: "Part") -> float:
    """How many of a part."""
    batteries = sum(scenario.batteries_of(layout).values())
    leaving = [
        trucks.count
        for trucks in trucks_alike(scenario)
        if part.removal is None or trucks.removal in (part.removal, "either")
    ]
    trucks = sum(leaving)
    counts = {
        "truck": trucks,
        "battery": batteries,
        "spare_battery": batteries - sum(group.count for group in scenario.trucks),
        "bay": plan.bays,
        "station": plan.stations,
        "device": plan.devices.get(part.device or "", 0.0),
        "room": 1,
    }
    return part.number * float(counts[part.for_each]) * (trucks > 0)


def _watered(scenario: "Scenario", layout: str, by: str) -> bool:
    """Tell whether any battery of a layout is watered so."""
    each = [scenario.batteries[name].watering for name in scenario.batteries_of(layout)]
    return any(watering is not None and watering.by == by for watering in each)


def _maintenance(scenario: "Scenario", layout: str) -> Iterator[Line]:
    """Watering systems and what waters them."""
    sets = sum(
        number
        for name, number in scenario.batteries_of(layout).items()
        if (watering := scenario.batteries[name].watering) is not None and watering.by == "single_point"
    )
    if sets:
        price = part_price(scenario, "single-point watering set")
        owned = _owned(scenario, layout, sets, "single-point watering set")
        yield Line(
            "maintenance", "single-point watering set", "", sets, owned, "one for each battery", price, "battery"
        )
    if sets or _watered(scenario, layout, "hand"):
        price = part_price(scenario, "water cart")
        owned = _owned(scenario, layout, 1.0, "water cart")
        reason = "demineralised water at the batteries"
        yield Line("maintenance", "water cart", "", 1.0, owned, reason, price, "device")


def _room(scenario: "Scenario", layout: str, checks: tuple[Check, ...], air_m3_per_h: float) -> Iterator[Line]:
    """What the room needs, where the checks miss it."""
    acid = any(scenario.batteries[name].chemistry == "vented_lead_acid" for name in scenario.batteries_of(layout))
    missed = {check.name for check in checks if check.verdict in (FAILS, NOT_KNOWN)}
    if acid:
        if WASH in missed:
            minutes = figure("wash.minutes")
            price = part_price(scenario, "eyewash and shower")
            owned = _owned(scenario, layout, 1.0, "eyewash and shower")
            size = f"{minutes.text} of flow, within reach of the acid work"
            yield Line("room", "eyewash and shower", size, 1.0, owned, "none near enough is known", price, "room")
        attendants = scenario.layouts[layout].attendants
        people = max((int(each) for each in attendants.values()), default=1) if isinstance(attendants, dict) else 1
        for item, number, reason in (
            ("spill kit", 1.0, "acid that is spilt is held back and neutralised"),
            (
                "protective equipment",
                float(max(1, people)),
                "goggles, face shield, apron, gloves: one for each attendant",
            ),
        ):
            owned = _owned(scenario, layout, number, item)
            yield Line("room", item, "", number, owned, reason, part_price(scenario, item), "device")
    if AIR in missed:
        size = f"at least {air_m3_per_h:.0f} m3/h"
        price = part_price(scenario, "exhaust fan with interlock")
        owned = _owned(scenario, layout, 1.0, "exhaust fan with interlock")
        reason = "the air of the room is too little or not known"
        yield Line("room", "exhaust fan with interlock", size, 1.0, owned, reason, price, "room")


def _standby(scenario: "Scenario", layout: str, plan: "Blueprint") -> Iterator[Line]:
    """Another way to exchange while the device is out."""
    stated = scenario.layouts[layout].standby
    if stated is not None:
        arrangement = scenario.handling[stated.handling]
        for name, device in arrangement.devices.items():
            number = stated.devices.get(name, float(device.held))
            if number < UNLIMITED:
                price = device_price(scenario, name)
                size = _size(scenario, layout, name)
                reason = (
                    f"while the layout's own devices are out: {arrangement.title[0].lower()}{arrangement.title[1:]}"
                )
                owned = _owned(scenario, layout, number, name)
                yield Line("standby", words(name), size, number, owned, reason, price, "device")
        return
    alone = [name for name, number in plan.devices.items() if number == 1 and name not in BY_HAND]
    if alone and not scenario.arrangement(layout).in_truck:
        price = device_price(scenario, "hand_pallet_truck")
        reason = f"the day the {words(alone[0])} stops, all exchanges stop; state your own under 'standby'"
        yield Line("standby", STANDBY_METHOD, "", 1.0, 0.0, reason, price, "device")
