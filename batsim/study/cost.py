"""What a layout costs in a year: what is bought, over its life, and people on duty.

Energy, water, wear by use and downtime are left out here: they hang on what the simulation finds, and hardly on counts.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from batsim.scenario.parts.kinds import UNLIMITED
from batsim.scenario.site import Scenario
from batsim.study.prices import Price, battery_price, charger_price, device_price, price_of, recovery_of
from batsim.study.running.counts import BAYS, Counted, counts_of

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
    """Of one, or of an hour of one. [currency]"""

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
        """What a layout has a number of."""
        return Counted(KEYS[self.thing], self.name)


class CostLine(NamedTuple):
    """What all of a thing cost in a year."""

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
        scenario, layout, arrangement = self.scenario, self.layout, self.scenario.arrangement(self.layout)
        prices = scenario.prices
        chargers = [count.charger for count in scenario.layouts[layout].chargers]
        devices = [*arrangement.devices, *(arrangement.watering_devices if arrangement.in_truck else ())]
        bought = [
            *(("battery", name, battery_price(scenario, name)) for name in scenario.batteries_of(layout)),
            *(("charger", name, charger_price(scenario, name)) for name in chargers),
            ("bay", "", price_of(scenario, "bay", prices.bay)),
            ("station", "", price_of(scenario, "station", prices.station)),
            *(("device", name, device_price(scenario, name)) for name in devices),
        ]
        units = []
        for thing, name, price in bought:
            kind, called = ("room", KEYS[thing]) if thing in ("bay", "station") else (thing, name)
            units.append(UnitCost(thing, name, price.in_a_year(recovery_of(scenario, kind, called)), price.value))
        attendants, wage = scenario.layouts[layout].attendants, price_of(scenario, "attendant", prices.attendant)
        for name in attendants if isinstance(attendants, dict) else ():
            shift = scenario.week.shifts[name]
            hours = shift.minutes * len(shift.days) / 60.0 * shift.weeks_a_year
            units.append(UnitCost("attendant", name, wage.times(hours), wage.value))
        return {unit.counted: unit for unit in units}

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
    now = counts_of(scenario, layout)
    if scenario.arrangement(layout).in_truck:
        now[Counted(BAYS)] = 0.0
    owned = units.scenario.layouts[layout].owned
    return tuple(
        CostLine(unit, now[counted], float(owned.get(counted.name or counted.kind, 0)))
        for counted, unit in units.by_counted.items()
        if 0.0 < now.get(counted, 0.0) < UNLIMITED
    )
