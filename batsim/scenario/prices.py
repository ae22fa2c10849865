"""What things cost: prices of the site, or placeholders of the catalogue that the user is to replace."""

import re
from typing import Annotated, Any, NamedTuple

from pydantic import Field

from batsim.scenario.base import Frozen, Kind, Share, by_default, each_entry

PER_KWH, PER_HOUR = "kWh", "h"


class Money(NamedTuple):
    """An amount of money, for one piece or for each unit of something."""

    amount: float
    currency: str
    per: str
    """Unit that it is for; empty for one piece."""


class MoneyText(Kind):
    """A price such as `5200 EUR`, or `150 EUR/kWh` where it may be for a unit."""

    def __init__(self, *, per: str = "", or_each: bool = True) -> None:
        self.per, self.or_each = per, or_each
        self.example = f"150 EUR/{per}" if per == PER_KWH else f"32 EUR/{per}" if per else "2500 EUR"
        self.schema = {"type": "string", "examples": [self.example], "pattern": r"^\s*[0-9.]"}

    def read(self, value: object) -> Money:
        """Read amount, currency and unit."""
        match = re.fullmatch(r"\s*([0-9]{1,12}(?:\.[0-9]{1,9})?) ?([A-Z]{3})(?: ?/ ?([A-Za-z]+))?\s*", str(value))
        if match is None or not self._fits(match[3] or ""):
            msg = f"needs an amount of money such as '{self.example}'"
            raise ValueError(msg)
        return Money(float(match[1]), match[2], match[3] or "")

    def _fits(self, per: str) -> bool:
        return per == self.per or (self.or_each and not per)


class PricesText(Kind):
    """A price for all, or prices by name."""

    def __init__(self, each: MoneyText) -> None:
        self.each = each
        named = {"type": "object", "additionalProperties": each.schema}
        self.schema: dict[str, Any] = {"anyOf": [each.schema, named], "examples": [each.example]}

    def read(self, value: object) -> dict[str, Money]:
        """Read into prices by name; the name '' stands for all that are not named."""
        if isinstance(value, dict):
            prices = each_entry(value.items(), self.each.read)
            return {str(name): price for name, price in zip(value, prices, strict=True)}
        return {"": self.each.read(value)}


class Years(Kind):
    """A number of years, such as `10 years`."""

    schema: dict[str, Any] = {"type": "string", "examples": ["10 years"], "pattern": r"^\s*[0-9.]"}  # noqa: RUF012

    def read(self, value: object) -> float:
        """Read it."""
        match = re.fullmatch(r"\s*([0-9]{1,3}(?:\.[0-9]{1,9})?) years?\s*", str(value))
        if match is None or not float(match[1]) > 0.0:
            msg = "needs a number of years above 0, such as '10 years'"
            raise ValueError(msg)
        return float(match[1])


Life = Annotated[float, Years()]


class Lives(Frozen):
    """How long things are in use."""

    battery_years: Life = by_default("price.life.battery", "battery")
    """Batteries. [years]"""
    charger_years: Life = by_default("price.life.charger", "charger")
    """Chargers. [years]"""
    device_years: Life = by_default("price.life.device", "device")
    """Devices: carriages, pallet trucks, hoists. [years]"""
    room_years: Life = by_default("price.life.room", "room")
    """Places and stations. [years]"""


class Prices(Frozen):
    """Prices of the site; what is not stated is a placeholder of the catalogue."""

    battery: Annotated[dict[str, Money], PricesText(MoneyText(per=PER_KWH))] = Field(default_factory=dict)
    """Of a battery, or of a kWh of its nominal energy; one for all types, or by type."""
    charger: Annotated[dict[str, Money], PricesText(MoneyText())] = Field(default_factory=dict)
    """Of a charger; one for all types, or by type."""
    device: Annotated[dict[str, Money], PricesText(MoneyText())] = Field(default_factory=dict)
    """Of a device; one for all kinds, or by kind."""
    place: Annotated[Money, MoneyText()] | None = None
    """Of a place: a roller bay, a stand, a floor spot."""
    station: Annotated[Money, MoneyText()] | None = None
    """Of an exchange station."""
    attendant: Annotated[Money, MoneyText(per=PER_HOUR, or_each=False)] | None = None
    """Of an hour of an attendant, all that goes with it included."""
    interest_share: Share = by_default("price.interest", "interest")
    """Interest of a year. [%]"""
    lives: Lives = Field(default_factory=dict)  # type: ignore[assignment]
    """How long things are in use."""
