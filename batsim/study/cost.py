"""What a layout costs in a year: what is bought, over its life, and people on duty.

Energy, water, wear by use and downtime are left out here: they hang on what the simulation finds, and hardly on counts.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from batsim.scenario.parts.kinds import UNLIMITED
from batsim.scenario.parts.lots import BatteryCount
from batsim.scenario.site import Scenario
from batsim.study.prices import (
    Price,
    charger_price,
    charger_rent,
    device_price,
    lot_left_share,
    lot_price,
    lot_rent,
    price_of,
    recovery_of,
)
from batsim.study.running.counts import ATTENDANTS, BATTERIES, BAYS, Counted, can_grow, counts_of, in_all

WEEKS_PER_YEAR = 52.0
"""Weeks that attendants are paid for; holidays of the site are left out."""
KEYS = {thing: f"{thing}s" for thing in ("charger", "bay", "station", "device", "attendant")} | {"battery": "batteries"}
"""What a thing is called in a scenario."""


class UnitCost(NamedTuple):
    """What one more of a thing costs in a year."""

    thing: str
    """battery, charger, device, bay, station or attendant."""
    name: str
    """Type of battery or charger, kind of device, shift; empty where there is one kind."""
    yearly: Price
    """In the currency of the site, and between what it lies. [currency/year]"""
    price: float
    """Of one, or of an hour of one; nothing where it is rented. [currency]"""
    lot: str = ""
    """Lot of a battery type."""
    rented: bool = False

    @property
    def per_year(self) -> float:
        """The same without its range. [currency/year]"""
        return self.yearly.value

    @property
    def placeholder(self) -> bool:
        """Whether price, life or interest is the catalogue's and not the site's."""
        return self.yearly.placeholder

    @property
    def counted(self) -> Counted:
        """What a layout has a number of, in whatever area."""
        return Counted(KEYS[self.thing], self.name, self.lot)


class CostLine(NamedTuple):
    """What all of a thing in all areas cost in a year."""

    unit: UnitCost
    number: float
    owned: float
    """Of these, already there."""

    @property
    def per_year(self) -> float:
        """Cost of those that are not there yet. [currency/year]"""
        return self.cost.value

    @property
    def cost(self) -> Price:
        """The same with its range. [currency/year]"""
        return self.unit.yearly.times(max(0.0, self.number - self.owned))


@dataclass(frozen=True)
class UnitCosts:
    """What one more of each thing of a layout costs in a year."""

    scenario: Scenario
    layout: str

    @cached_property
    def by_counted(self) -> dict[Counted, UnitCost]:
        """By what a layout has a number of: batteries, chargers, bays, stations, devices; attendants by shift."""
        scenario, layout, prices = self.scenario, self.layout, self.scenario.prices
        bought = [
            ("bay", "", price_of(scenario, "bay", prices.bay)),
            ("station", "", price_of(scenario, "station", prices.station)),
            *(("device", name, device_price(scenario, name)) for name in self._devices),
        ]
        units = [self._battery(counted) for counted in self.numbers if counted.kind == BATTERIES]
        units += [self._charger(name) for name in scenario.layouts[layout].chargers_by_type]
        for thing, name, price in bought:
            kind, called = ("room", KEYS[thing]) if thing in ("bay", "station") else (thing, name)
            units.append(UnitCost(thing, name, price.in_a_year(recovery_of(scenario, kind, called)), price.value))
        units += [self._attendant(counted.name) for counted in self.numbers if counted.kind == ATTENDANTS]
        return {unit.counted: unit for unit in units}

    def _attendant(self, name: str) -> UnitCost:
        """Cost of an attendant on a shift: the hours of a year."""
        scenario, shift = self.scenario, self.scenario.week.shifts[name]
        wage = price_of(scenario, "attendant", scenario.prices.attendant)
        hours = shift.minutes * len(shift.days) / 60.0 * shift.weeks_a_year
        return UnitCost("attendant", name, wage.times(hours), wage.value)

    @property
    def _devices(self) -> dict[str, None]:
        """Kinds of device in all areas."""
        devices: dict[str, None] = {}
        for site in self.scenario.areas_of(self.layout).values():
            arrangement = site.arrangement(self.layout)
            devices |= dict.fromkeys(arrangement.devices)
            devices |= dict.fromkeys(arrangement.watering_devices if arrangement.in_truck else ())
        return devices

    def _battery(self, counted: Counted) -> UnitCost:
        """Cost of a battery of a type, or of a lot of it: its rent, or what a year of its life pays."""
        scenario, name, lot = self.scenario, counted.name, counted.lot
        price, rent = lot_price(scenario, name, lot), lot_rent(scenario, name, lot)
        left_share = lot_left_share(scenario, name, lot)
        bought = price.in_a_year(recovery_of(scenario, "battery", name, left_share=left_share))
        yearly = rent if rent.value else bought
        return UnitCost("battery", name, yearly, price.value, lot, rent.value > 0.0)

    def _charger(self, name: str) -> UnitCost:
        """Cost of a charger of a type: its rent, or what a year of its life pays."""
        price, rent = charger_price(self.scenario, name), charger_rent(self.scenario, name)
        yearly = rent if rent.value else price.in_a_year(recovery_of(self.scenario, "charger", name))
        return UnitCost("charger", name, yearly, price.value, rented=rent.value > 0.0)

    def owned(self, unit: UnitCost) -> float:
        """How many of a thing are there and cost nothing; of what can no longer be had all that the layout counts."""
        stated = self.scenario.layouts[self.layout].owned.get(unit.name or unit.counted.kind, BatteryCount(0))
        there = float(stated.lots.get(unit.lot, 0) if unit.lot else stated)
        if unit.rented:
            return 0.0
        return there if can_grow(self.scenario, unit.counted) else max(there, self.numbers[unit.counted])

    @cached_property
    def numbers(self) -> dict[Counted, float]:
        """How many the layout has of everything, in all areas."""
        return in_all(counts_of(self.scenario, self.layout))

    @property
    def placeholders(self) -> bool:
        """Whether any price, life or interest is the catalogue's and not the site's."""
        return any(unit.placeholder for unit in self.by_counted.values())


def cost_lines(scenario: Scenario, layout: str, units: UnitCosts) -> tuple[CostLine, ...]:
    """What each thing of a layout costs in a year; what is without a limit costs nothing.

    Parameters
    ----------
    scenario
        The layout's counts are taken from it.
    layout
        Name of the layout.
    units
        Cost of one of each, from the scenario as it was stated: as many as that says are owned are there already.
    """
    now = in_all(paid_counts(scenario, layout))
    return tuple(
        CostLine(unit, now[counted], units.owned(unit)) for counted, unit in units.by_counted.items() if counted in now
    )


def paid_counts(scenario: Scenario, layout: str) -> dict[Counted, float]:
    """How many an area has of what costs something: no bays where batteries are charged in the truck."""
    in_truck = {area for area, site in scenario.areas_of(layout).items() if site.arrangement(layout).in_truck}
    return {
        counted: number
        for counted, number in counts_of(scenario, layout).items()
        if (0.0 < number < UNLIMITED or counted.lot) and not (counted.kind == BAYS and counted.area in in_truck)
    }
