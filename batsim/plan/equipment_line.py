"""One line of an equipment list: what, how many, of these how many there are, what they cost."""

from typing import NamedTuple

from batsim.study.prices import (
    NOTHING,
    Price,
)

SECTIONS = {
    "energy": "Batteries and chargers",
    "handling": "Handling equipment",
    "truck": "Truck side",
    "maintenance": "Watering and maintenance",
    "room": "Room and safety",
    "standby": "Standby",
}
"""Sections of the list, in their order."""


class EquipmentLine(NamedTuple):
    """A line of the list."""

    section: str
    """A key of `SECTIONS`."""
    item: str
    size: str
    """Key dimension or rating."""
    number: float
    owned: float
    """Of these, already there."""
    reason: str
    price: Price
    """Of one."""
    life: str
    """Key of the life of such things: battery, charger, device or room."""
    name: str = ""
    """What a scenario calls it: a type, a device, a part, `bays` or `stations`."""
    batteries: tuple[str, ...] = ()
    """Battery types that it is for; on the line of a battery its own."""
    lot: str = ""
    """Lot of a battery type."""
    rent: Price = NOTHING
    """Of one in a year, where it is rented and not bought."""
    kept: bool = False
    """Whether no more of it can be had: what there is is there already."""
    area: str = ""
    """Area that it is for; empty where it is for several, or the layout is one area."""

    @property
    def is_battery(self) -> bool:
        """Whether it is the line of a battery type."""
        return self.batteries == (self.name,)

    @property
    def to_order(self) -> float:
        """What is not there yet."""
        return max(0.0, self.number - self.owned)

    @property
    def cost(self) -> Price:
        """Of what is to be ordered."""
        return self.price.times(self.to_order)

    @property
    def row(self) -> dict[str, str | float]:
        """What a table shows of it, prices left out."""
        shown = {key: getattr(self, key) for key in ("item", "size", "number", "owned", "to_order", "reason")}
        batteries = "; ".join(self.batteries)
        return {"area": self.area, "section": SECTIONS[self.section], "batteries": batteries, **shown}
