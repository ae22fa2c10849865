"""Prices with their ranges: the site's, or placeholders of the catalogue that say so."""

import re
from functools import reduce
from typing import NamedTuple

from batsim.scenario.parts.prices import PER_KWH, StatedPrice
from batsim.scenario.site import Scenario


class Price(NamedTuple):
    """A price and between what it lies."""

    value: float
    low: float
    high: float
    placeholder: bool
    """Whether it is the catalogue's and not the site's."""

    def times(self, number: float) -> "Price":
        """So many of it."""
        return Price(self.value * number, self.low * number, self.high * number, self.placeholder)

    def plus(self, other: "Price") -> "Price":
        """Both together; their low ends and their high ends together."""
        value, low, high = self.value + other.value, self.low + other.low, self.high + other.high
        return Price(value, low, high, self.placeholder or other.placeholder)


NOTHING = Price(0.0, 0.0, 0.0, placeholder=False)


def summed(prices: list[Price]) -> Price:
    """All of them together."""
    return reduce(Price.plus, prices, NOTHING)


def price_of(scenario: Scenario, name: str, stated: StatedPrice | None) -> Price:
    """A price that the site states, else the figure ``price.NAME`` with its range, which the site may state anew."""
    if stated is not None:
        return Price(stated.amount, stated.amount, stated.amount, placeholder=False)
    key = f"price.{name}"
    figure = scenario.figures[key]
    if key in scenario.figures.stated:
        return Price(figure.value, figure.value, figure.value, placeholder=False)
    return Price(figure.value, figure.low, figure.high, placeholder=True)


def battery_price(scenario: Scenario, name: str) -> Price:
    """Price of a battery of a type: its own, that of all types, or a figure; for a kWh times its nominal energy."""
    battery = scenario.batteries[name]
    stated = _named(scenario.prices.battery, name)
    price = price_of(scenario, f"battery.{battery.chemistry}", stated)
    if stated is None or stated.per == PER_KWH:
        return price.times(battery.nominal_v * battery.capacity.ah / 1000.0)
    return price


def charger_price(scenario: Scenario, name: str) -> Price:
    """Price of a charger of a type: its own, that of all types, or a figure."""
    return price_of(scenario, "charger", _named(scenario.prices.charger, name))


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


def _named(prices: dict[str, StatedPrice], name: str) -> StatedPrice | None:
    """Price of a type: its own, or that of all."""
    return prices.get(name, prices.get(""))
