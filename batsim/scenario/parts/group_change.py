"""What a layout says of truck groups, of all or of one: who does what, rules in the truck, battery type, triggers."""

from typing import Annotated

from pydantic import Field

from batsim.scenario.parts.faults import read_by_name
from batsim.scenario.parts.kinds import Frozen, NameText, Words, by_default, reads
from batsim.scenario.parts.laws import DurationLaw
from batsim.scenario.parts.quantities import Minutes, Share
from batsim.scenario.parts.trucks import ExchangeWhen, TruckGroup

ATTENDANTS, DRIVERS = "attendants", "drivers"
BY_WHOM = Words(ATTENDANTS, DRIVERS)
BY_WHOM_KEYS = EXCHANGE_BY, CONNECT_BY, MAINTAIN_BY = "exchange_by", "connect_by", "maintain_by"
"""Keys that say who does something: for all truck groups, in an area, or for one group."""


@reads(
    BY_WHOM.schema,
    {"type": "object", "additionalProperties": BY_WHOM.schema},
    examples=[DRIVERS, {"early": DRIVERS, "night": ATTENDANTS}],
)
def read_by_whom(value: object) -> dict[str, str] | str:
    """Who does it: attendants or drivers, always or by shift."""
    return read_by_name(value, BY_WHOM.read) if isinstance(value, dict) else BY_WHOM.read(value)


class InTruck(Frozen):
    """Rules for charging in the truck."""

    in_breaks: bool = True
    """Whether trucks are plugged in during breaks."""
    ceiling_share: Share = by_default("in_truck.ceiling", "ceiling")
    """State of charge at which a charge in a break stops. [%]"""
    return_at_share: Share = by_default("in_truck.return_at", "return_at")
    """State of charge at which a truck that had to charge within its shift goes back to work. [%]"""
    full_every_min: Minutes = by_default("in_truck.full_every", "full_every")
    """Least time between charges after work that go to full; those in between stop at the ceiling. [min]"""


class GroupChange(Frozen):
    """What a layout changes of a truck group; what is not stated stays as the group or the layout states it."""

    battery: NameText | None = None
    """Battery type in this layout."""
    exchange_at_share: Share | None = Field(None, alias="exchange_at")
    """State of charge at which the truck leaves for the room in this layout. [%]"""
    exchange_when: ExchangeWhen | None = None
    """What sends a truck before that level is reached, in place of all that the group states of it."""
    run_time_min: DurationLaw | None = Field(None, alias="run_time")
    """Working time on one battery of this layout, for groups that state a `run_time`. [min]"""
    exchange_by: Annotated[str | dict[str, str], read_by_whom] | None = None
    """Who exchanges the batteries of this group, in place of what the layout says for all."""
    connect_by: Annotated[str | dict[str, str], read_by_whom] | None = None
    """Who connects them to their chargers, in the truck who plugs it in, in place of what the layout says for all."""
    maintain_by: Annotated[str | dict[str, str], read_by_whom] | None = None
    """Who waters, inspects and washes them, in place of what the layout says for all."""
    in_truck: InTruck | None = None
    """Rules for charging in the trucks of this group, in place of those of the layout."""

    def of(self, group: TruckGroup) -> TruckGroup:
        """Return the group as it is in the layout."""
        stated = {name: value for name, value in self if value is not None and name in TruckGroup.model_fields}
        return group.model_copy(update=stated)
