"""How the demand on batteries moves: from week to week of the year, and with a growing fleet."""

from typing import Annotated

from pydantic import Field

from batsim.scenario.parts.faults import Fault, each_entry, refuse, wrong
from batsim.scenario.parts.kinds import Count, Frozen, Quantity, reads
from batsim.scenario.parts.schemas import TEXT
from batsim.scenario.parts.week import NEEDS_WEEKS, Weeks, weeks_of

MOST_FACTOR = 5.0
"""A demand factor beyond five times the stated work is a slip of the pen."""


@reads(
    {"type": "object"}
    | {
        "additionalProperties": False,
        "patternProperties": {r"^\d{1,2}(-\d{1,2})?$": TEXT},
        "examples": [{"48-51": "130 %", "1": "80 %"}],
    }
)
def read_weekly_factors(value: object) -> tuple[tuple[Weeks, float], ...]:
    """Work in some calendar weeks over the stated one, such as `{"48-51": 130 %, "1": 80 %}`."""
    if not isinstance(value, dict):
        wrong("needs calendar weeks with their share of the stated work, such as {'48-51': 130 %}")
    refuse([Fault((key,), NEEDS_WEEKS) for key in value if weeks_of(key) is None])
    shares = each_entry(value.items(), Quantity("share", above=0.0, most=MOST_FACTOR).read)
    spans = [weeks for key in value if (weeks := weeks_of(key)) is not None]
    twice = [key for number, key in enumerate(value) if any(map(spans[number].overlaps, spans[:number]))]
    refuse([Fault((key,), "names a week that another season has") for key in twice])
    return tuple(zip(spans, shares, strict=True))


class Demand(Frozen):
    """How much is to be done, over what the truck groups state."""

    weeks: Annotated[tuple[tuple[Weeks, float], ...], read_weekly_factors] = Field({})  # type: ignore[arg-type]
    """Work in seasons, by calendar weeks, over the stated one; each is run beside the normal weeks. [%]"""
    fleet_growth_share: Annotated[float, Quantity("share", least=-0.5, most=1.0)] = Field("0 %", alias="fleet_growth")  # type: ignore[assignment]
    """Growth of every truck group in a year. [%]"""
    years: Annotated[int, Count(most=30)] = 0
    """Years ahead of the stated fleet that are simulated."""

    def in_week(self, week: int) -> float:
        """Factor on the work of a calendar week; weeks run on over the year's end. [-]"""
        return next((share for weeks, share in self.weeks if weeks.holds(week)), 1.0)

    def grown(self, trucks: int) -> int:
        """Trucks of a group after the years ahead, to the nearest whole one and at least one."""
        return max(1, int(trucks * (1.0 + self.fleet_growth_share) ** self.years + 0.5))
