"""Prices with their ranges: the site's, or placeholders of the catalogue that say so; and what they are in a year."""

import math
import re
from collections.abc import Iterable
from functools import reduce
from typing import NamedTuple, TypeVar

from batsim.formulas.annuity import capital_recovery_share
from batsim.scenario.parts.prices import PER_KWH, StatedPrice
from batsim.scenario.site import Scenario

T = TypeVar("T")
MONTHS_PER_YEAR = 12
THOUSAND = 1000.0
MARK = "*"
"""Marks what rests on placeholders."""


class Price(NamedTuple):
    """A price, or a number of years or a share that it rests on, and between what it lies."""

    value: float
    low: float
    high: float
    placeholder: bool
    """Whether it is the catalogue's and not the site's."""

    def times(self, number: float) -> "Price":
        """So many of it."""
        return Price(self.value * number, self.low * number, self.high * number, self.placeholder)

    @property
    def in_thousands(self) -> "Price":
        """The same in thousands."""
        return self.times(1.0 / THOUSAND)

    def plus(self, other: "Price") -> "Price":
        """Both together; their low ends and their high ends together."""
        value, low, high = self.value + other.value, self.low + other.low, self.high + other.high
        return Price(value, low, high, self.placeholder or other.placeholder)

    def minus(self, other: "Price") -> "Price":
        """How much more it is than what rests on the same prices: the difference at the low and at the high ends."""
        value, ends = self.value - other.value, (self.low - other.low, self.high - other.high)
        return Price(value, min(*ends, value), max(*ends, value), self.placeholder or other.placeholder)

    def in_a_year(self, share: "Price") -> "Price":
        """Part of it that a year pays, between the low ends of both and the high ends."""
        value, low, high = self.value * share.value, self.low * share.low, self.high * share.high
        return Price(value, low, high, self.placeholder or share.placeholder)

    @property
    def text(self) -> str:
        """What is known of it in words, such as `950,000* (710,000 to 1,200,000)`; a dash for nothing."""
        low, high = (plain_amount(amount) for amount in self.rounded[1:3])
        return self.value_text + (f" ({low} to {high})" if low != high and math.isfinite(self.value) else "")

    @property
    def value_text(self) -> str:
        """The same without its range, such as `950,000*`."""
        if not math.isfinite(self.value):
            return "-"
        return plain_amount(self.rounded.value) + (MARK if self.placeholder else "")

    @property
    def as_quoted(self) -> "Price":
        """What is known of it where the number of pieces is certain: to the cent without a range."""
        if self.low < self.high:
            return self.rounded
        cents = round(self.value, 2)
        return Price(cents, cents, cents, self.placeholder)

    @property
    def rounded(self) -> "Price":
        """What is known of it: two digits of half its range; three digits where it has none."""
        half = (self.high - self.low) / 2.0
        widest, digits = (half, 1) if half > 0.0 else (abs(self.value), 2)
        if not (math.isfinite(widest) and math.isfinite(self.value)) or widest == 0.0:
            return self
        places = digits - math.floor(math.log10(widest))
        value, low, high = (round(amount, places) for amount in self[:3])
        return Price(value, low, high, self.placeholder)


NOTHING = Price(0.0, 0.0, 0.0, placeholder=False)


def plain_amount(amount: float) -> str:
    """Write a number that is rounded already."""
    return f"{amount + 0.0:,.10g}"


def summed(prices: Iterable[Price]) -> Price:
    """All of them together."""
    return reduce(Price.plus, prices, NOTHING)


def price_of(scenario: Scenario, name: str, stated: StatedPrice | None) -> Price:
    """A price that the site states, else the figure ``price.NAME`` with its range, which the site may state anew."""
    return _known(scenario, name, None if stated is None else stated.amount)


def _known(scenario: Scenario, name: str, stated: float | None, unit: float = 1.0) -> Price:
    """What the site states, else the figure ``price.NAME``, which is counted in so many of a unit."""
    key = f"price.{name}"
    if stated is None and key in scenario.figures.stated:
        stated = scenario.figures[key].value * unit
    if stated is not None:
        return _certain(stated)
    figure = scenario.figures[key]
    return Price(figure.value * unit, figure.low * unit, figure.high * unit, placeholder=True)


def life_of(scenario: Scenario, thing: str, name: str) -> Price:
    """Years that something of a kind (battery, charger, device, room) is in use: its own, its kind's, or a figure."""
    return _known(scenario, f"life.{thing}", _named(getattr(scenario.prices.lives, thing), name))


def interest_of(scenario: Scenario, thing: str, name: str) -> Price:
    """Interest of a year on something of a kind: its own, its kind's, or a figure. [-]"""
    return _known(scenario, "interest", _named(getattr(scenario.prices.interest, thing), name), 0.01)


def recovery_of(
    scenario: Scenario, thing: str, name: str, worn_years: float = math.inf, left_share: float = 1.0
) -> Price:
    """Part of its price that a year of its life pays, with interest; no longer than until it is worn. [1/year]

    Where it is not new, over the share of its life that is left.
    Least with the longest life and the least interest that are thought possible.
    """
    life, interest = life_of(scenario, thing, name), interest_of(scenario, thing, name)
    value, low, high = (
        capital_recovery_share(share, min(years, worn_years) * left_share)
        for share, years in zip(interest[:3], (life.value, life.high, life.low), strict=True)
    )
    return Price(value, low, high, life.placeholder or interest.placeholder)


def battery_price(scenario: Scenario, name: str) -> Price:
    """Price of a battery of a type: its own, that of all types, or a figure; for a kWh times its nominal energy."""
    battery = scenario.batteries[name]
    stated = _named(scenario.prices.battery, name)
    price = price_of(scenario, f"battery.{battery.chemistry}", stated)
    if stated is None or stated.per == PER_KWH:
        return price.times(battery.nominal_v * battery.capacity.ah / 1000.0)
    return price


def lot_price(scenario: Scenario, name: str, lot: str) -> Price:
    """Price of a battery of a lot: its own, else that of its type; nothing where it is rented."""
    stated = scenario.batteries[name].lots.get(lot)
    if stated is None or (stated.price is None and stated.rent is None):
        return battery_price(scenario, name)
    return NOTHING if stated.price is None else _certain(stated.price.amount)


def lot_left_share(scenario: Scenario, name: str, lot: str) -> float:
    """Share of its life that a battery has before it for the price of its lot; whole where new ones are bought. [-]"""
    battery, figures = scenario.batteries[name], scenario.figures
    stated = battery.lots.get(lot)
    if stated is None or stated.price is None:
        return 1.0
    known = f"battery.{battery.chemistry}"
    used = stated.used(figures.number(f"{known}.capacity_lost"), figures.number(f"{known}.life_calendar"))
    return 1.0 - sum(used) / 2.0


def lot_rent(scenario: Scenario, name: str, lot: str) -> Price:
    """Rent of a battery of a lot in a year; nothing where it is bought."""
    stated = scenario.batteries[name].lots.get(lot)
    return _in_a_year(None if stated is None else stated.rent)


def charger_rent(scenario: Scenario, name: str) -> Price:
    """Rent of a charger of a type in a year; nothing where it is bought."""
    kind = scenario.chargers.get(name)
    return _in_a_year(None if kind is None else kind.rent)


def _in_a_year(rent: StatedPrice | None) -> Price:
    """Rent of a year by that of a month."""
    return NOTHING if rent is None else _certain(MONTHS_PER_YEAR * rent.amount)


def _certain(amount: float) -> Price:
    """A price that the site states."""
    return Price(amount, amount, amount, placeholder=False)


def charger_price(scenario: Scenario, name: str) -> Price:
    """Price of a charger of a type: its own, that of all types, a figure of its own, or that of any charger.

    Nothing where it is rented.
    """
    if charger_rent(scenario, name).value:
        return NOTHING
    known = f"charger.{name}" if f"price.charger.{name}" in scenario.figures else "charger"
    return price_of(scenario, known, _named(scenario.prices.charger, name))


def device_price(scenario: Scenario, name: str) -> Price:
    """Price of a device: its own, that of all devices, or a figure."""
    known = name if f"price.{name}" in scenario.figures else "device"
    return price_of(scenario, known, _named(scenario.prices.device, name))


def part_price(scenario: Scenario, name: str) -> Price:
    """Price of a part of the equipment list: its own, that of all parts, or a figure; a device has that of a device."""
    if f"price.{name}" in scenario.figures or name in scenario.prices.device:
        return device_price(scenario, name)
    part = f"part.{figure_name(name)}"
    known = part if f"price.{part}" in scenario.figures else "part.other"
    return price_of(scenario, known, _named(scenario.prices.part, name))


def figure_name(part: str) -> str:
    """Name of a part as figures have it."""
    return re.sub(r"[^a-z0-9]+", "_", part.lower()).strip("_")


def _named(stated: dict[str, T], name: str) -> T | None:
    """What is stated for a type: its own, or that of all."""
    return stated.get(name, stated.get(""))
