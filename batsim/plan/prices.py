"""Prices with their ranges: the site's, or placeholders of the catalogue that say so."""

import re
from typing import TYPE_CHECKING, NamedTuple

from batsim.catalogue import figure, figures, instead

if TYPE_CHECKING:
    from batsim.scenario.prices import Money
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
        return Price(
            self.value + other.value,
            self.low + other.low,
            self.high + other.high,
            self.placeholder or other.placeholder,
        )


NOTHING = Price(0.0, 0.0, 0.0, placeholder=False)


def summed(prices: "list[Price]") -> Price:
    """All of them together."""
    total = NOTHING
    for each in prices:
        total = total.plus(each)
    return total


def price_of(scenario: "Scenario", name: str, stated: "Money | None") -> Price:
    """A price that the site states, else the figure ``price.NAME`` with its range."""
    if stated is not None:
        return Price(stated.amount, stated.amount, stated.amount, placeholder=False)
    key = f"price.{name}"
    with instead(scenario.stated_figures):
        found = figure(key)
    if key in scenario.stated_figures:
        return Price(found.value, found.value, found.value, placeholder=False)
    return Price(found.value, found.low, found.high, placeholder=True)


def part_price(scenario: "Scenario", part: str) -> Price:
    """Price of a part of the equipment list: its own, that of all parts, or a figure."""
    stated = scenario.prices.part.get(part, scenario.prices.part.get(""))
    return price_of(scenario, _known(f"part.{figure_name(part)}", "part.other"), stated)


def device_price(scenario: "Scenario", device: str) -> Price:
    """Price of a device: its own, that of all devices, or a figure."""
    stated = scenario.prices.device.get(device, scenario.prices.device.get(""))
    return price_of(scenario, _known(device, "device"), stated)


def figure_name(part: str) -> str:
    """Name of a part as figures have it."""
    return re.sub(r"[^a-z0-9]+", "_", part.lower()).strip("_")


def _known(name: str, otherwise: str) -> str:
    return name if f"price.{name}" in {each.name for each in figures()} else otherwise
