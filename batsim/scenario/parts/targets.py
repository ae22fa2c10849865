"""What the room must reach."""

import re
from typing import Annotated, Any, NamedTuple

from pydantic import Field

from batsim import units
from batsim.scenario.parts.base import Count, Frozen, Kind, Quantity, wrong


class WaitTarget(NamedTuple):
    """At least this share of exchanges must wait no longer than so many minutes."""

    share: float
    minutes: float


class WaitTargetText(Kind):
    """A target for waits, such as `95 % under 5 min`."""

    schema: dict[str, Any] = {"type": "string", "examples": ["95 % under 5 min"]}  # noqa: RUF012

    def read(self, value: object) -> WaitTarget:
        """Read share and minutes."""
        match = re.fullmatch(r"\s*(?:at least )?(\S+ ?%) under (.+)", str(value))
        if not match:
            wrong("needs a target such as '95 % under 5 min'")
        share = Quantity("share", above=0.0, most=1.0).read(match[1])
        return WaitTarget(share, Quantity("duration", least=0.0).read(match[2]))


class AtMostMinutes(Kind):
    """A target for downtime, such as `at most 12 min`."""

    schema: dict[str, Any] = {"type": "string", "examples": ["at most 12 min"]}  # noqa: RUF012

    def read(self, value: object) -> float:
        """Read the minutes; the words 'at most' may be left out."""
        text = value.removeprefix("at most ") if isinstance(value, str) else value
        try:
            return Quantity("duration", least=0.0).read(text)
        except units.UnitError as error:
            msg = f"{error}; write it like 'at most 12 min'"
            raise ValueError(msg) from None


class AtMostShare(Kind):
    """A target for a share that is to be small, such as `at most 5 %`."""

    schema: dict[str, Any] = {"type": "string", "examples": ["at most 5 %"]}  # noqa: RUF012

    def read(self, value: object) -> float:
        """Read the share; the words 'at most' may be left out."""
        text = value.removeprefix("at most ") if isinstance(value, str) else value
        try:
            return Quantity("share", least=0.0, most=1.0).read(text)
        except units.UnitError as error:
            msg = f"{error}; write it like 'at most 5 %'"
            raise ValueError(msg) from None


class Targets(Frozen):
    """What the room must reach."""

    downtime_min_per_truck_shift: Annotated[float, AtMostMinutes()] | None = Field(
        None, alias="downtime_per_truck_shift"
    )
    """Most scheduled minutes a truck may lose in a shift. [min]"""
    waits: Annotated[WaitTarget, WaitTargetText()] | None = None
    """Share of exchanges that must start within so many minutes of asking for a battery."""
    none_ready_share: Annotated[float, AtMostShare()] | None = Field(None, alias="none_ready")
    """Most of the asking trucks that may find no ready battery. [%]"""
    trucks_below_cut_out: Annotated[int, Count()] | None = None
    """Most trucks that may fall below the cut-out in the simulated time."""
