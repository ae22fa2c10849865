"""What the room must reach."""

import re
from typing import Annotated, NamedTuple

from pydantic import Field

from batsim.scenario.parts.faults import wrong
from batsim.scenario.parts.kinds import Count, Frozen, NameText, Quantity, reads
from batsim.scenario.parts.schemas import text_schema


class WaitTarget(NamedTuple):
    """At least this share of exchanges must wait no longer than so many minutes."""

    share: float
    minutes: float


@reads(text_schema("95 % under 5 min"))
def read_wait_target(value: object) -> WaitTarget:
    """A target for waits, such as `95 % under 5 min`."""
    match = re.fullmatch(r"\s*(?:at least )?(\S+ ?%) under (.+)", str(value))
    if not match:
        wrong("needs a target such as '95 % under 5 min'")
    share = Quantity("share", above=0.0, most=1.0).read(match[1])
    return WaitTarget(share, Quantity("duration", least=0.0).read(match[2]))


class AtMost(Quantity):
    """A target for what is to be small, such as `at most 12 min`."""

    def __init__(self, example: str, dimension: str, *, most: float | None = None) -> None:
        super().__init__(dimension, least=0.0, most=most, hint=f"; write it like '{example}'")
        self.schema = text_schema(example)

    def read(self, value: object) -> float:
        """Read the quantity; the words 'at most' may be left out."""
        return super().read(value.removeprefix("at most ") if isinstance(value, str) else value)


AtMostMinutes = Annotated[float, AtMost("at most 12 min", "duration")]
AtMostShare = Annotated[float, AtMost("at most 5 %", "share", most=1.0)]


class GroupTargets(Frozen):
    """What the trucks of one group must reach, or those of all groups together."""

    downtime_min_per_truck_shift: AtMostMinutes | None = Field(None, alias="downtime_per_truck_shift")
    """Most scheduled minutes a truck may lose in a shift. [min]"""
    waits: Annotated[WaitTarget, read_wait_target] | None = None
    """Share of exchanges that must start within so many minutes of asking for a battery."""
    none_ready_share: AtMostShare | None = Field(None, alias="none_ready")
    """Most of the asking trucks that may find no ready battery. [%]"""
    trucks_below_cut_out: Annotated[int, Count()] | None = None
    """Most trucks that may fall below the cut-out in the simulated time."""


class Targets(GroupTargets):
    """What the room must reach."""

    groups: dict[NameText, GroupTargets] = Field(default_factory=dict)
    """The same for a truck group, by its name; what is stated above is about all groups together."""
