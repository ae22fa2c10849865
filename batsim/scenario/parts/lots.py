"""Lots: batteries of one type that differ in age, in what is left of them, and in whose they are."""

from collections.abc import Iterator, Mapping
from typing import Annotated

from pydantic import Field

from batsim import units
from batsim.scenario.parts.faults import Fault, each_entry, read_by_name, read_pair, refuse, wrong
from batsim.scenario.parts.kinds import Count, Frozen, Quantity, reads
from batsim.scenario.parts.prices import PER_MONTH, PriceText, StatedPrice, read_years
from batsim.scenario.parts.quantities import ShareAbove0
from batsim.scenario.parts.schemas import TEXT, TEXTS, block_schema, schema_of_any, with_help

MOST_BATTERIES = 10_000
USED_FROM_TO = {"from": "Share of the least used battery.", "to": "Share of the most used battery."}


@reads(TEXT, block_schema(with_help(TEXT, USED_FROM_TO)), examples=["30 %", {"from": "0 %", "to": "80 %"}])
def read_life_used(value: object) -> tuple[float, float]:
    """Share of its life that a battery has behind it: one share, or evenly between two."""
    share = Quantity("share", least=0.0, most=1.0)
    form = "needs one share such as '30 %', or {from: 0 %, to: 80 %}"
    least, most = read_pair(value, USED_FROM_TO, share.read, form)
    if most < least:
        rule = f"must be at least 'from' ({units.show(least, 'share')})"
        refuse([Fault(("to",), rule, units.show(most, "share"))])
    return least, most


Rent = Annotated[StatedPrice, PriceText(per=PER_MONTH, or_each=False)]


class Lot(Frozen):
    """Batteries of a type that were bought, or are rented, together."""

    life_used: Annotated[tuple[float, float], read_life_used] | None = None
    """Share of their life that they have behind them at the start; when not stated, what goes with `capacity_left`,
    else with `age`, else none. [%]"""
    age_years: Annotated[float, read_years] | None = Field(None, alias="age")
    """How old they are: so much less time is left until they are too old. [years]"""
    capacity_left_share: ShareAbove0 | None = Field(None, alias="capacity_left")
    """Capacity as measured, over the rated one; when not stated, what goes with the life used. [%]"""
    price: Annotated[StatedPrice, PriceText(or_each=False)] | None = None
    """Of one more, where more of them can be bought; as new, that of the type when not stated."""
    rent: Rent | None = None
    """Of one in a month, where they are rented; more of them can be."""

    def _faults(self) -> Iterator[Fault]:
        """Find what is bought and rented at once."""
        if self.price is not None and self.rent is not None:
            yield Fault(("rent",), "is bought or rented: state 'price' or 'rent'", "both")

    @property
    def is_new(self) -> bool:
        """Whether it has nothing behind it."""
        used = self.life_used not in (None, (0.0, 0.0))
        return not used and self.age_years is None and self.capacity_left_share is None

    @property
    def can_grow(self) -> bool:
        """Whether more of it can be had: new ones, what has a price of its own, what is rented."""
        return self.is_new or self.price is not None or self.rent is not None

    def used(self, lost_share: float, calendar_years: float) -> tuple[float, float]:
        """Share of their life that they have behind them, of the least and of the most used one. [-]

        Parameters
        ----------
        lost_share
            Capacity that is lost at the end of life, over the rated one. [-]
        calendar_years
            Life that age alone allows. [years]
        """
        if self.life_used is not None:
            return self.life_used
        used = (self.age_years or 0.0) / calendar_years
        if self.capacity_left_share is not None:
            used = (1.0 - self.capacity_left_share) / lost_share
        return min(1.0, used), min(1.0, used)


class BatteryCount(int):
    """Batteries of a type: a number, and how many of them are of each lot."""

    lots: dict[str, int]
    """Number by lot, in the order in which they are counted; empty where lots are not told apart."""

    def __new__(cls, number: int, lots: Mapping[str, int] | None = None) -> "BatteryCount":
        """Make it from a number and the lots that it is made of."""
        made = super().__new__(cls, number)
        made.lots = dict(lots or {})
        return made

    def __reduce__(self) -> "tuple[type[BatteryCount], tuple[int, dict[str, int]]]":
        return BatteryCount, (int(self), self.lots)

    @classmethod
    def of_lots(cls, lots: Mapping[str, int]) -> "BatteryCount":
        """Count lots; one without batteries is left out."""
        there = {name: number for name, number in lots.items() if number}
        return cls(sum(there.values()), there)

    def changed(self, number: "int | Mapping[str, int]") -> "BatteryCount":
        """Another number, or with other numbers of some lots."""
        if isinstance(number, Mapping):
            return BatteryCount.of_lots({**self.lots, **number})
        return number if isinstance(number, BatteryCount) else BatteryCount(number)

    def plus(self, others: "BatteryCount") -> "BatteryCount":
        """These and others together."""
        lots = {name: self.lots.get(name, 0) + others.lots.get(name, 0) for name in {**self.lots, **others.lots}}
        return BatteryCount(int(self) + int(others), lots)

    @property
    def text(self) -> str:
        """As it is written in a scenario."""
        if not self.lots:
            return str(int(self))
        return f"[{', '.join(f'{number} x {name}' for name, number in self.lots.items())}]"


def changed_counts(
    stated: Mapping[str, BatteryCount], changes: Mapping[str, int | Mapping[str, int]]
) -> dict[str, BatteryCount]:
    """Batteries by type with other numbers of some; what is stated under '' is of the only type."""
    only = stated.get("", BatteryCount(0))
    changed = {name: stated.get(name, only).changed(number) for name, number in changes.items()}
    return {name: number for name, number in stated.items() if name} | changed


WHOLE = {"type": "integer", "minimum": 1}
EXAMPLE = ["20 x new", "13 x bought 2019"]
COUNTS = schema_of_any(WHOLE, TEXT, TEXTS, examples=[33, EXAMPLE])


@reads(
    WHOLE,
    TEXT,
    TEXTS,
    {"type": "object", "additionalProperties": COUNTS},
    examples=[66, {"lead 48 V": 40, "lead 24 V": EXAMPLE}],
)
def read_battery_counts(value: object) -> dict[str, BatteryCount]:
    """Batteries: one number, or a number for each type; with lots, how many of each.

    Read into a count by type; the key '' stands for the only type there is.
    """
    if isinstance(value, dict):
        return read_by_name(value, read_count)
    if isinstance(value, list) or " x " in str(value):
        return {"": read_count(value)}
    try:
        return {"": read_count(value)}
    except ValueError as error:
        wrong(f"{error}, or one for each battery type")


def read_count(value: object) -> BatteryCount:
    """Read batteries of one type: a number, or how many of each lot."""
    if isinstance(value, str) and " x " in value:
        value = [value]
    if not isinstance(value, list) or not value:
        return BatteryCount(Count(least=1, most=MOST_BATTERIES).read(value))
    lots: dict[str, int] = {}
    for number, name in each_entry(enumerate(value), _of_a_lot):
        lots[name] = lots.get(name, 0) + number
    return BatteryCount.of_lots(lots)


def _of_a_lot(value: object) -> tuple[int, str]:
    """Read a number of batteries and the name of their lot."""
    number, cross, name = str(value).partition(" x ")
    if not cross or not name.strip():
        wrong("needs a number and a lot, such as '20 x new'")
    return Count(least=1, most=MOST_BATTERIES).read(number.strip()), name.strip()
