"""What things cost: prices of the site, or placeholders of the catalogue that the user is to replace."""

import re
from typing import Annotated, Any, NamedTuple

from pydantic import BeforeValidator, Field

from batsim.scenario.parts.faults import read_by_name, wrong
from batsim.scenario.parts.kinds import Frozen, Kind, Quantity, reads
from batsim.scenario.parts.schemas import schema_of_any, text_schema
from batsim.scenario.parts.week import DAY_MIN, WEEK_MIN, minutes_from_to, read_time_of_day, read_weekdays

PER_KWH, PER_HOUR, PER_KW, PER_KG, PER_M2, PER_MONTH = "kWh", "h", "kW", "kg", "m2", "month"


EXAMPLES = {PER_KWH: 150, PER_HOUR: 32, PER_KW: 9, PER_KG: 0.5, PER_M2: 80, PER_MONTH: 90}
"""Amounts in messages, by what they are for."""


class StatedPrice(NamedTuple):
    """An amount of money, for one piece or for each unit of something."""

    amount: float
    currency: str
    per: str
    """Unit that it is for; empty for one piece."""


class PriceText(Kind):
    """A price such as `5200 EUR`, or `150 EUR/kWh` where it may be for a unit."""

    def __init__(self, *, per: str = "", or_each: bool = True) -> None:
        self.per, self.or_each = per, or_each
        self.example = f"{EXAMPLES.get(per, 2500)} EUR" + (f"/{per}" if per else "")
        self.schema = text_schema(self.example, pattern=r"^\s*[0-9.]")

    def read(self, value: object) -> StatedPrice:
        """Read amount, currency and unit."""
        match = re.fullmatch(r"\s*([0-9]{1,12}(?:\.[0-9]{1,9})?) ?([A-Z]{3})(?: ?/ ?([A-Za-z]+[23]?))?\s*", str(value))
        per = "" if match is None else match[3] or ""
        if match is None or not (per == self.per or (self.or_each and not per)):
            wrong(f"needs an amount of money such as '{self.example}'")
        return StatedPrice(float(match[1]), match[2], per)


class ByName(Kind):
    """A value for all, or values by name."""

    def __init__(self, each: Kind, example: str) -> None:
        self.each = each
        named = {"type": "object", "additionalProperties": each.schema}
        self.schema = schema_of_any(each.schema, named, examples=[example])

    def read(self, value: object) -> dict[str, Any]:
        """Read into values by name; the name '' stands for all that are not named."""
        if isinstance(value, dict):
            return read_by_name(value, self.each.read)
        return {"": self.each.read(value)}


class PricesText(ByName):
    """A price for all, or prices by name."""

    def __init__(self, price: PriceText) -> None:
        super().__init__(price, price.example)


class EnergyBand(Frozen):
    """Hours in which energy has a price of its own."""

    days: Annotated[tuple[int, ...], read_weekdays] = Field("Mon-Sun")  # type: ignore[arg-type]
    """Weekdays on which it begins."""
    from_min: Annotated[float, read_time_of_day] = Field(alias="from")
    """When it begins. [min after midnight]"""
    to_min: Annotated[float, read_time_of_day] = Field(alias="to")
    """When it ends; at or before the beginning it means the next day. [min after midnight]"""
    price: Annotated[StatedPrice, PriceText(per=PER_KWH, or_each=False)]
    """Price of a kWh in these hours."""

    def holds(self, minute: float) -> bool:
        """Whether an instant of the week, minutes from Monday 00:00, lies in it."""
        length = minutes_from_to(self.from_min, self.to_min)
        return any((minute - day * DAY_MIN - self.from_min) % WEEK_MIN < length for day in self.days)


class Tariff(Frozen):
    """Prices of energy by the hour of the week."""

    otherwise: Annotated[StatedPrice, PriceText(per=PER_KWH, or_each=False)]
    """Price of a kWh outside all bands."""
    bands: tuple[EnergyBand, ...] = ()
    """Hours with a price of their own; the first that holds counts."""


def _price_as_tariff(value: object) -> object:
    """Read one price as a tariff without bands."""
    return {"otherwise": value} if isinstance(value, str) else value


@reads(text_schema("10 years", pattern=r"^\s*[0-9.]"))
def read_years(value: object) -> float:
    """A number of years, such as `10 years`."""
    match = re.fullmatch(r"\s*([0-9]{1,3}(?:\.[0-9]{1,9})?) years?\s*", str(value))
    if match is None or not float(match[1]) > 0.0:
        wrong("needs a number of years above 0, such as '10 years'")
    return float(match[1])


Lasting = Annotated[dict[str, float], ByName(read_years, "10 years")]
SHARE = Quantity("share", least=0.0, most=1.0)
Interest = Annotated[dict[str, float], ByName(SHARE, "6 %")]
THINGS = ("battery", "charger", "device", "room")
"""What is bought, by what a life and an interest are stated for."""


class Lives(Frozen):
    """How long things are in use: one life for all of a kind, or by name; else the catalogue's."""

    battery: Lasting = Field(default_factory=dict)
    """Batteries; one for all types, or by type. [years]"""
    charger: Lasting = Field(default_factory=dict)
    """Chargers; one for all types, or by type. [years]"""
    device: Lasting = Field(default_factory=dict)
    """Devices and parts: carriages, pallet trucks, hoists; one for all, or by name. [years]"""
    room: Lasting = Field(default_factory=dict)
    """Bays, stations and what is built into the room; one for all, or by name. [years]"""


class Interests(Frozen):
    """Interest of a year on what is bought: one for all of a kind, or by name; else the catalogue's."""

    battery: Interest = Field(default_factory=dict)
    """On batteries; one for all types, or by type. [%]"""
    charger: Interest = Field(default_factory=dict)
    """On chargers; one for all types, or by type. [%]"""
    device: Interest = Field(default_factory=dict)
    """On devices and parts; one for all, or by name. Savings are counted back to today with that for all. [%]"""
    room: Interest = Field(default_factory=dict)
    """On bays, stations and what is built into the room; one for all, or by name. [%]"""


def _interest_of_all(value: object) -> object:
    """Read one interest as that on everything."""
    if isinstance(value, dict | Interests):
        return value
    return dict.fromkeys(THINGS, value) if SHARE.read(value) is not None else {}


class Prices(Frozen):
    """Prices of the site; what is not stated is a placeholder of the catalogue."""

    battery: Annotated[dict[str, StatedPrice], PricesText(PriceText(per=PER_KWH))] = Field(default_factory=dict)
    """Of a battery, or of a kWh of its nominal energy; one for all types, or by type."""
    charger: Annotated[dict[str, StatedPrice], PricesText(PriceText())] = Field(default_factory=dict)
    """Of a charger; one for all types, or by type."""
    device: Annotated[dict[str, StatedPrice], PricesText(PriceText())] = Field(default_factory=dict)
    """Of a device; one for all kinds, or by kind."""
    bay: Annotated[StatedPrice, PriceText()] | None = None
    """Of a bay: a roller bay, a stand, a floor bay."""
    station: Annotated[StatedPrice, PriceText()] | None = None
    """Of an exchange station."""
    attendant: Annotated[StatedPrice, PriceText(per=PER_HOUR, or_each=False)] | None = None
    """Of an hour of an attendant, all that goes with it included."""
    driver: Annotated[StatedPrice, PriceText(per=PER_HOUR, or_each=False)] | None = None
    """Of an hour of a driver, all that goes with it included."""
    truck: Annotated[StatedPrice, PriceText(per=PER_HOUR, or_each=False)] | None = None
    """Of an hour in which a truck stands when it should work, its driver left out."""
    energy: Annotated[Tariff | None, BeforeValidator(_price_as_tariff)] = None
    """Of a kWh from the wall; one price, or `{otherwise, bands}`."""
    demand: Annotated[StatedPrice, PriceText(per=PER_KW, or_each=False)] | None = None
    """Of a kW of a month's peak, the mean of 15 min."""
    water: Annotated[StatedPrice, PriceText(per=PER_KG, or_each=False)] | None = None
    """Of a kg of water for batteries."""
    floor: Annotated[StatedPrice, PriceText(per=PER_M2, or_each=False)] | None = None
    """Of a square metre of floor in a year."""
    part: Annotated[dict[str, StatedPrice], PricesText(PriceText())] = Field(default_factory=dict)
    """Of other parts of the equipment list; one for all, or by part."""
    interest: Annotated[Interests, BeforeValidator(_interest_of_all)] = Field(default_factory=Interests)
    """Interest of a year, one for all that is bought or by kind. [%]"""
    lives: Lives = Field(default_factory=dict)  # type: ignore[assignment]
    """How long things are in use."""
