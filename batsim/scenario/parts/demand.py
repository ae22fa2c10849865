"""How the demand on batteries moves: from week to week of the year, and with a growing fleet."""

import re
from typing import Annotated

from pydantic import Field

from batsim.scenario.parts.faults import Fault, each_entry, refuse, wrong
from batsim.scenario.parts.kinds import Count, Frozen, Quantity, reads
from batsim.scenario.parts.schemas import TEXT

WEEKS_A_YEAR = 52
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
def read_weekly_factors(value: object) -> tuple[float, ...]:
    """Work in some calendar weeks over the stated one, such as `{"48-51": 130 %, "1": 80 %}`."""
    if not isinstance(value, dict):
        wrong("needs calendar weeks with their share of the stated work, such as {'48-51': 130 %}")
    rule = f"needs calendar weeks from 1 to {WEEKS_A_YEAR} such as '48-51', the first one first"
    refuse([Fault((key,), rule) for key in value if not _weeks(key)])
    shares = each_entry(value.items(), Quantity("share", above=0.0, most=MOST_FACTOR).read)
    factors = [1.0] * WEEKS_A_YEAR
    for key, share in zip(value, shares, strict=True):
        for week in _weeks(key):
            factors[week - 1] = share
    return tuple(factors)


def _weeks(key: object) -> range:
    """Read a week or a range of weeks; empty where it is none."""
    match = re.fullmatch(r"(\d{1,2})(?:-(\d{1,2}))?", str(key))
    first, last = (int(match[1]), int(match[2] or match[1])) if match else (0, 0)
    return range(first, last + 1) if 1 <= first <= last <= WEEKS_A_YEAR else range(0)


class Demand(Frozen):
    """How much is to be done, over what the truck groups state."""

    weeks: Annotated[tuple[float, ...], read_weekly_factors] = Field({})  # type: ignore[arg-type]
    """Work by calendar week over the stated one; `simulation.start_week` says where a run begins. [%]"""
    fleet_growth_share: Annotated[float, Quantity("share", least=-0.5, most=1.0)] = Field("0 %", alias="fleet_growth")  # type: ignore[assignment]
    """Growth of every truck group in a year. [%]"""
    years: Annotated[int, Count(most=30)] = 0
    """Years ahead of the stated fleet that are simulated."""

    def in_week(self, week: int) -> float:
        """Factor on the work of a calendar week; weeks run on over the year's end. [-]"""
        return self.weeks[(week - 1) % WEEKS_A_YEAR]

    def grown(self, trucks: int) -> int:
        """Trucks of a group after the years ahead, to the nearest whole one and at least one."""
        return max(1, int(trucks * (1.0 + self.fleet_growth_share) ** self.years + 0.5))
