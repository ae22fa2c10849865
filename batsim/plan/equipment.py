"""Equipment list: what to order for a layout, how many and why, ready for a quotation; what is owned apart."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType

from batsim.display import words
from batsim.plan.checks import Check
from batsim.plan.equipment_line import SECTIONS, EquipmentLine
from batsim.plan.geometry import has_fitting, size_text
from batsim.plan.shared_parts import shared_parts, watered, watered_so
from batsim.plan.stock import kind_of, stock_of
from batsim.plan.survey import (
    Trucks,
    carried_kg,
    equipment_of,
    has_rollers,
    inside,
    listed,
    spaces_of,
    spare_batteries,
    trucks_alike,
)
from batsim.room.plans.area_plan import AreaPlan
from batsim.scenario.parts.fit import BEAM
from batsim.scenario.parts.handling import Arrangement
from batsim.scenario.parts.kinds import UNLIMITED
from batsim.scenario.parts.lots import BatteryCount
from batsim.scenario.parts.needs import Part
from batsim.scenario.site import Scenario
from batsim.study.prices import (
    Price,
    battery_price,
    charger_price,
    charger_rent,
    device_price,
    lot_price,
    lot_rent,
    part_price,
    plain_amount,
    price_of,
)
from batsim.study.running.counts import BAYS, STATIONS, week_plan

BY_HAND = ("hand_pallet_truck",)
"""Devices that are borrowed or bought within a day; where there is one of any other, all exchanges stop with it."""
BY_BATTERY = ("truck", "battery", "spare_battery")
"""What parts are counted by that goes with a battery type."""
NO_MORE = "kept to what is there: no more of it can be had"
"""What is said of a lot or a charger type that can no longer be bought."""
STANDBY_METHOD = "standby method (stand with hand pallet truck)"
"""What is listed where one device serves all and the layout has nothing that stands by."""


def equipment_list(
    scenario: Scenario, layout: str, checks: tuple[Check, ...], air_m3_per_h: Mapping[str, float] = MappingProxyType({})
) -> tuple[EquipmentLine, ...]:
    """List what a layout needs: for each of its areas, then what these share.

    Parameters
    ----------
    scenario, layout
        Counts are those of the layout. What is there already is used up once, by the areas in their order.
    checks
        Checks of the layout: what they miss is listed.
    air_m3_per_h
        Air that each space must have, by its name in the checks. [m3/h]
    """
    order, left, lines = list(SECTIONS), stock_of(scenario, layout), []
    for line in _lines(scenario, layout, checks, air_m3_per_h):
        if line.number > 0.0:
            name = (line.name, line.lot or (line.item if line.name in (BAYS, STATIONS) else ""))
            name = name if name in left or line.lot else (line.name, "")
            taken = min(line.number, max(line.owned, left.get(name, 0.0)))
            left[name] = left.get(name, 0.0) - taken
            lines.append(line._replace(owned=taken))
    return tuple(sorted(lines, key=lambda line: order.index(line.section)))


def _lines(
    scenario: Scenario, layout: str, checks: tuple[Check, ...], air_m3_per_h: Mapping[str, float]
) -> Iterator[EquipmentLine]:
    """Lines of each area, then those that areas share; also those of which nothing is needed."""
    spaces = spaces_of(scenario, layout)
    for_rooms: dict[str, set[str]] = {space: set() for space in spaces}
    for area, site in scenario.areas_of(layout).items():
        space = next(space for space, areas in spaces.items() if area in areas)
        yield from _Needs(site, layout, area, for_rooms[space]).lines()
    yield from shared_parts(scenario, layout, checks, air_m3_per_h)


@dataclass(frozen=True)
class _Needs:
    """What an area needs, section by section."""

    scenario: Scenario
    """That of the area alone."""
    layout: str
    area: str
    for_room: set[str]
    """Parts for the room that are listed already; it is the room of other areas too."""

    @cached_property
    def blueprint(self) -> AreaPlan:
        """Its counts."""
        return week_plan(self.scenario, self.layout)

    @cached_property
    def arrangement(self) -> Arrangement:
        """How its batteries are handled."""
        return self.scenario.arrangement(self.layout)

    @cached_property
    def batteries(self) -> dict[str, BatteryCount]:
        """Its batteries by type."""
        return self.scenario.batteries_of(self.layout)

    def lines(self) -> Iterator[EquipmentLine]:
        """All lines, also those of which nothing is needed."""
        yield from self._batteries()
        yield from self._chargers()
        yield from self._devices()
        yield from self._bays_and_stations()
        yield from self._parts()
        yield from self._watering_sets()
        yield from self._standby()

    def _line(
        self, section: str, item: str, number: float, price: Price, reason: str, life: str, name: str, *, size: str = ""
    ) -> EquipmentLine:
        return EquipmentLine(section, item, size, number, 0.0, reason, price, life, name, area=self.area)

    def _batteries(self) -> Iterator[EquipmentLine]:
        for name, number in self.batteries.items():
            battery, price = self.scenario.batteries[name], battery_price(self.scenario, name)
            trucks = sum(group.count for group in self.scenario.trucks if group.battery == name)
            size = f"{battery.nominal_v:g} V, {battery.capacity.ah:g} Ah at {battery.capacity.rate_h:g} h"
            size += "" if battery.mass_kg is None else f", {battery.mass_kg:,.0f} kg"
            reason = f"{trucks} in trucks and {number - trucks} beside them" if number > trucks else "one in each truck"
            item = f"battery ({words(name)})"
            line = self._line("energy", item, number, price, reason, "battery", name, size=size)
            line = line._replace(batteries=(name,))
            yield from self._lots(line, number.lots) if number.lots else [line]

    def _lots(self, line: EquipmentLine, lots: Mapping[str, int]) -> Iterator[EquipmentLine]:
        """A line for each lot of a battery type; what can no longer be had is there."""
        for lot, number in lots.items():
            price, rent = lot_price(self.scenario, line.name, lot), lot_rent(self.scenario, line.name, lot)
            kept = not self.scenario.batteries[line.name].lots[lot].can_grow
            yield line._replace(
                item=f"battery ({words(line.name)}, {lot})",
                number=number,
                owned=number * kept,
                kept=kept,
                reason=f"of {line.number:g} in all, {line.reason}{self._terms(rent, kept=kept)}",
                price=price,
                lot=lot,
                rent=rent,
            )

    def _terms(self, rent: Price, *, kept: bool) -> str:
        """What is said of what is rented, or can no longer be had."""
        said = f"; rented at {plain_amount(rent.value)} {self.scenario.site.currency} a year each" if rent.value else ""
        return said + (f"; {NO_MORE}" if kept else "")

    def _chargers(self) -> Iterator[EquipmentLine]:
        """A line for each type, with the batteries that it is for."""
        for name, number in self.scenario.layouts[self.layout].chargers_by_type.items():
            if number < UNLIMITED:
                served, price = self.scenario.served_by(name), charger_price(self.scenario, name)
                reason = f"for {' and '.join(map(words, served))}: batteries that charge at once, as simulated"
                item, size = f"charger ({words(name)})", self._charger_size(name, served)
                rent, kept = charger_rent(self.scenario, name), self.scenario.chargers[name].discontinued
                reason += self._terms(rent, kept=kept)
                line = self._line("energy", item, number, price, reason, "charger", name, size=size)
                yield line._replace(batteries=served, owned=number * kept, kept=kept, rent=rent)

    def _charger_size(self, name: str, served: tuple[str, ...]) -> str:
        """Voltage, current, characteristic and connector; the current goes with the capacity of a battery."""
        charger, types = self.scenario.chargers[name], {battery: self.scenario.batteries[battery] for battery in served}
        amps = {battery: f"{charger.main_current.of(kind.capacity.ah):.0f} A" for battery, kind in types.items()}
        currents = list(dict.fromkeys(amps.values()))
        if len(currents) > 1:
            currents = [f"{current} for {words(battery)}" for battery, current in amps.items()]
        volts = charger.voltage_v or max(kind.nominal_v for kind in types.values())
        marked = {charger.connector, *(kind.connector for kind in types.values())} - {None}
        return ", ".join((f"{volts:g} V", *currents, charger.profile, *(f"connector {name}" for name in marked)))

    def _devices(self) -> Iterator[EquipmentLine]:
        in_truck = self.arrangement.in_truck
        if in_truck and not watered(self.scenario, self.layout, "hand"):
            return
        reason = "to pull batteries out for watering" if in_truck else "exchanges at the same time"
        for name, number in self.blueprint.devices.items():
            if number < UNLIMITED:
                yield self._device("handling", name, number, reason)

    def _device(
        self, section: str, name: str, number: float, reason: str, of: Arrangement | None = None
    ) -> EquipmentLine:
        price, size = device_price(self.scenario, name), self._size(name, of)
        return self._line(section, words(name), number, price, reason, "device", name, size=size)

    def _size(self, name: str, arrangement: Arrangement | None = None, served: Collection[str] = ()) -> str:
        """Dimensions computed from the survey, rating, and whether a motor moves it.

        For an arrangement, or its own; for trucks with batteries of some types, or all.
        """
        arrangement = arrangement or self.arrangement
        needs, moved = arrangement.needs, equipment_of(self.scenario, arrangement, name).moved
        parts = (
            size_text(self.scenario, arrangement, name, served or self.batteries),
            self._rating(name, arrangement),
            words(moved) if moved is not None and name in (needs.forks, needs.beside) else "",
        )
        return ", ".join(part for part in parts if part)

    def _rating(self, name: str, arrangement: Arrangement) -> str:
        """Mass for which what carries a battery has to be rated; or whose mass has to be known first."""
        needs = arrangement.needs
        if name not in (needs.lifts, needs.beside, needs.forks, BEAM):
            return ""
        masses_kg = {trucks.battery_name: trucks.battery.mass_kg for trucks in trucks_alike(self.scenario)}
        unknown = [f"battery '{battery}'" for battery, mass_kg in masses_kg.items() if mass_kg is None]
        if unknown:
            return f"rating not known yet: mass of {listed(unknown)}"
        heaviest = max(filter(None, masses_kg.values()))
        return f"rated for at least {heaviest + carried_kg(self.scenario, arrangement, name):,.0f} kg"

    def _bays_and_stations(self) -> Iterator[EquipmentLine]:
        bays, stations = self.blueprint.bays, self.blueprint.stations
        in_truck, prices = self.arrangement.in_truck, self.scenario.prices
        if not in_truck:
            spare, bay = spare_batteries(self.scenario, self.layout), self.arrangement.bay
            reason = f"{spare} batteries beside those in trucks, and {bays - spare:.0f} empty for exchanges"
            price = price_of(self.scenario, "bay", prices.bay)
            yield self._line("handling", bay, bays, price, reason, "room", BAYS, size=self._size(bay))
        if stations < UNLIMITED:
            item = kind_of(STATIONS, self.arrangement)
            reason = f"trucks that {'charge' if in_truck else 'are exchanged'} at once"
            price, size = price_of(self.scenario, "station", prices.station), "marked, guarded against trucks"
            yield self._line("room", item, stations, price, reason, "room", STATIONS, size=size)

    def _parts(self) -> Iterator[EquipmentLine]:
        """Parts that the arrangement names, counted by their rule; by battery type where trucks or batteries count."""
        for part in self.arrangement.needs.parts:
            if part.part in self.for_room:
                continue
            types = [(name,) for name in self.batteries] if part.for_each in BY_BATTERY else [tuple(self.batteries)]
            for served in types:
                if part.watered_by is None or any(watered_so(self.scenario, name, part.watered_by) for name in served):
                    yield from self._lines_of(part, served)

    def _lines_of(self, part: Part, served: tuple[str, ...]) -> Iterator[EquipmentLine]:
        """A part for batteries of some types and their trucks."""
        alike = [trucks for trucks in trucks_alike(self.scenario) if trucks.battery_name in served]
        number = self._number(part, served, alike)
        if not 0.0 < number < UNLIMITED:
            return
        priced = device_price if part.part in self.arrangement.devices else part_price
        price, size = priced(self.scenario, part.part), self._size(part.part, served=served)
        reason = _reason(part, words(served[0]) if part.for_each in BY_BATTERY and len(self.batteries) > 1 else "")
        line = self._line(part.section, words(part.part), number, price, reason, "device", part.part, size=size)
        line = line._replace(owned=self._fitted(part, alike), batteries=served if part.for_each in BY_BATTERY else ())
        if part.for_each == "room":
            self.for_room.add(part.part)
            line = line._replace(area="")
        yield line

    def _fitted(self, part: Part, alike: Iterable[Trucks]) -> float:
        """Trucks that have a part already, as the survey says."""
        return float(
            sum(
                trucks.count
                for trucks in alike
                if (part.fitted == "rollers" and has_rollers(trucks))
                or (part.fitted == "opening" and has_fitting(self.scenario, self.arrangement, trucks, part.part))
            )
        )

    def _number(self, part: Part, served: tuple[str, ...], alike: Sequence[Trucks]) -> float:
        """How many of a part, for batteries of some types and their trucks."""
        need = [trucks.count for trucks in alike if part.removal is None or trucks.removal in (part.removal, "either")]
        batteries = sum(self.batteries[name] for name in served)
        counts = {
            "truck": sum(need),
            "battery": batteries,
            "spare_battery": batteries - sum(trucks.count for trucks in alike),
            "bay": self.blueprint.bays,
            "station": self.blueprint.stations,
            "device": self.blueprint.devices.get(part.device or "", 0.0),
            "room": 1,
        }
        return part.number * float(counts[part.for_each]) * bool(need)

    def _watering_sets(self) -> Iterator[EquipmentLine]:
        """Watering systems, by battery type."""
        item = "single-point watering set"
        for name, number in self.batteries.items():
            if watered_so(self.scenario, name, "single_point"):
                size, reason = f"for {self.scenario.batteries[name].cells} cells", f"one for each battery {words(name)}"
                price = part_price(self.scenario, item)
                line = self._line("maintenance", item, number, price, reason, "battery", item, size=size)
                yield line._replace(batteries=(name,))

    def _standby(self) -> Iterator[EquipmentLine]:
        """Another way to exchange while the device is out."""
        standby = self.scenario.layouts[self.layout].standby
        if standby is not None:
            arrangement = self.scenario.handling[standby.handling]
            reason = f"while the layout's own devices are out: {inside(arrangement.title)}"
            for name, device in arrangement.devices.items():
                number = standby.devices.get(name, float(device.held))
                if number < UNLIMITED:
                    yield self._device("standby", name, number, reason, of=arrangement)
            return
        alone = [name for name, number in self.blueprint.devices.items() if number == 1 and name not in BY_HAND]
        if alone and not self.arrangement.in_truck:
            price = device_price(self.scenario, "hand_pallet_truck")
            reason = f"the day the {words(alone[0])} stops, all exchanges stop; agree a standby method of your own"
            yield self._line("standby", STANDBY_METHOD, 1.0, price, reason, "device", STANDBY_METHOD)


def _reason(part: Part, battery: str) -> str:
    """Why there are so many of a part, with the battery type where there are several."""
    counted = {"spare_battery": "battery beside those in trucks", "device": words(part.device or "")}
    rule = "one" if part.number == 1 else str(part.number)
    reason = f"{rule} for each {counted.get(part.for_each, part.for_each)}{f' ({battery})' if battery else ''}"
    return ("for the room" if part.for_each == "room" else reason) + (f": {part.why}" if part.why else "")
