"""What a layout costs in a year: what is bought, over its life, and people on duty.

Energy, water, wear by use and downtime are left out here: they hang on what the simulation finds, and hardly on counts.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

from batsim.formulas.annuity import capital_recovery_share
from batsim.scenario.parts.base import UNLIMITED
from batsim.study.prices import battery_price, charger_price, device_price, price_of
from batsim.study.running.counts import BAYS, Counted, counts_of

if TYPE_CHECKING:
    from batsim.scenario.parts.prices import Lives
    from batsim.scenario.site import Scenario
    from batsim.study.prices import Price

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
    per_year: float
    """In the currency of the site. [1/year]"""
    price: float
    """Of one, or of an hour of one. [currency]"""
    placeholder: bool
    """Whether the price is the catalogue's and not the site's."""

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
        return max(0.0, self.number - self.owned) * self.unit.per_year


@dataclass(frozen=True)
class UnitCosts:
    """What one more of each thing of a layout costs in a year."""

    scenario: "Scenario"
    layout: str

    @cached_property
    def batteries(self) -> dict[str, UnitCost]:
        """By type."""
        years = self._lives.battery_years
        names = self.scenario.batteries_of(self.layout)
        return {name: self._bought("battery", name, battery_price(self.scenario, name), years) for name in names}

    @cached_property
    def chargers(self) -> dict[str, UnitCost]:
        """By type."""
        names = dict.fromkeys(count.charger for count in self.scenario.layouts[self.layout].chargers)
        years = self._lives.charger_years
        return {name: self._bought("charger", name, charger_price(self.scenario, name), years) for name in names}

    @cached_property
    def devices(self) -> dict[str, UnitCost]:
        """By kind."""
        arrangement = self.scenario.arrangement(self.layout)
        names = (*arrangement.devices, *(arrangement.watering_devices if arrangement.in_truck else ()))
        years = self._lives.device_years
        return {name: self._bought("device", name, device_price(self.scenario, name), years) for name in names}

    @cached_property
    def bay(self) -> UnitCost:
        """A bay."""
        return self._one("bay")

    @cached_property
    def station(self) -> UnitCost:
        """An exchange station."""
        return self._one("station")

    @cached_property
    def attendants(self) -> dict[str, UnitCost]:
        """One attendant by shift, on duty or not busy."""
        attendants = self.scenario.layouts[self.layout].attendants
        wage = price_of(self.scenario, "attendant", self.scenario.prices.attendant)
        units = {}
        for name in attendants if isinstance(attendants, dict) else ():
            shift = self.scenario.week.shifts[name]
            hours = shift.minutes * len(shift.days) / 60.0 * WEEKS_PER_YEAR
            units[name] = UnitCost("attendant", name, wage.value * hours, wage.value, wage.placeholder)
        return units

    @property
    def placeholders(self) -> bool:
        """Whether any price is the catalogue's and not the site's."""
        return any(unit.placeholder for unit in self.all)

    @cached_property
    def all(self) -> tuple[UnitCost, ...]:
        """All of them."""
        stock, room = (*self.batteries.values(), *self.chargers.values()), (self.bay, self.station)
        return (*stock, *room, *self.devices.values(), *self.attendants.values())

    def of(self, counted: Counted) -> UnitCost:
        """Of something that a layout has a number of."""
        return next(unit for unit in self.all if unit.counted == counted)

    @property
    def _lives(self) -> "Lives":
        return self.scenario.prices.lives

    def _one(self, thing: str) -> UnitCost:
        price = price_of(self.scenario, thing, getattr(self.scenario.prices, thing))
        return self._bought(thing, "", price, self._lives.room_years)

    def _bought(self, thing: str, name: str, price: "Price", years: float) -> UnitCost:
        yearly = price.value * capital_recovery_share(self.scenario.prices.interest_share, years)
        return UnitCost(thing, name, yearly, price.value, price.placeholder)


def cost_lines(scenario: "Scenario", layout: str, units: UnitCosts) -> tuple[CostLine, ...]:
    """What each thing of a layout costs in a year; what is without a limit costs nothing.

    Parameters
    ----------
    scenario
        The layout's counts are taken from it.
    layout
        Name of the layout.
    units
        Cost of one of each, from the scenario as it was stated: what that says is owned is there already, as many
        as it has.
    """
    now, before = _counts(scenario, layout, units), _counts(units.scenario, layout, units)
    owned = set(units.scenario.layouts[layout].owned)
    return tuple(
        CostLine(unit, count, before[unit] if {KEYS[unit.thing], unit.name} & owned else 0.0)
        for unit, count in now.items()
        if 0.0 < count < UNLIMITED
    )


def _counts(scenario: "Scenario", layout: str, units: UnitCosts) -> dict[UnitCost, float]:
    """How many there are of each thing, the batteries that trucks come with included; no bays in the truck."""
    numbers = counts_of(scenario, layout)
    if scenario.arrangement(layout).in_truck:
        numbers[Counted(BAYS)] = 0.0
    return {unit: numbers.get(unit.counted, 0.0) for unit in units.all}
