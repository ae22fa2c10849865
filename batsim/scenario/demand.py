"""How the demand on batteries moves: from week to week of the year, and with a growing fleet."""

import re
from typing import Annotated, Any

from pydantic import Field

from batsim.scenario.base import Count, Frozen, Kind, Quantity, each_entry

WEEKS_A_YEAR = 52
MOST_FACTOR = 5.0
"""A demand factor beyond five times the stated work is a slip of the pen."""


class WeeklyFactors(Kind):
    """Work in some calendar weeks over the stated one, such as `{"48-51": 130 %, "1": 80 %}`."""

    schema: dict[str, Any] = {  # noqa: RUF012
        "type": "object",
        "patternProperties": {r"^\d{1,2}(-\d{1,2})?$": {"type": "string"}},
        "additionalProperties": False,
        "examples": [{"48-51": "130 %", "1": "80 %"}],
    }

    def read(self, value: object) -> tuple[float, ...]:
        """Read into one factor for each calendar week, 1 where none is stated."""
        if not isinstance(value, dict):
            msg = "needs calendar weeks with their share of the stated work, such as {'48-51': 130 %}"
            raise ValueError(msg)
        factors = [1.0] * WEEKS_A_YEAR
        pairs = each_entry([(str(key), (str(key), each)) for key, each in value.items()], _weeks_and_share)
        for weeks, share in pairs:
            for week in weeks:
                factors[week - 1] = share
        return tuple(factors)


def _weeks_and_share(entry: object) -> tuple[range, float]:
    """Read one entry: a week or a range of weeks, and its share."""
    assert isinstance(entry, tuple)  # as it was made above
    key, value = entry
    match = re.fullmatch(r"(\d{1,2})(?:-(\d{1,2}))?", key)
    first, last = (int(match[1]), int(match[2] or match[1])) if match else (0, 0)
    if not 1 <= first <= last <= WEEKS_A_YEAR:
        msg = f"needs calendar weeks from 1 to {WEEKS_A_YEAR} such as '48-51', the first one first; got '{key}'"
        raise ValueError(msg)
    return range(first, last + 1), Quantity("share", above=0.0, most=MOST_FACTOR).read(value)


class Demand(Frozen):
    """How much is to be done, over what the truck groups state."""

    weeks: Annotated[tuple[float, ...], WeeklyFactors()] = Field({})  # type: ignore[arg-type]
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
