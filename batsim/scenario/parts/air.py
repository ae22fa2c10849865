"""Air temperature of a zone: the same all year, or with the seasons."""

import math
from typing import Any, NamedTuple

from batsim.scenario.parts.base import Kind, Quantity, each_entry, wrong

WEEKS_PER_YEAR = 365.25 / 7.0


class Air(NamedTuple):
    """Air of a zone: its mean in the coldest and in the warmest week."""

    winter_degc: float
    summer_degc: float

    def in_week(self, week: float, coldest_week: float) -> float:
        """Temperature in a calendar week, along a cosine between winter and summer. [degC]

        Examples
        --------
        >>> Air(10.0, 30.0).in_week(3.0, coldest_week=3.0)
        10.0
        """
        mean, half = (self.summer_degc + self.winter_degc) / 2.0, (self.summer_degc - self.winter_degc) / 2.0
        turn = 2.0 * math.pi * (week - coldest_week) / WEEKS_PER_YEAR
        return mean - half * math.cos(turn)


class AirText(Kind):
    """An air temperature such as `20 degC`, or one for each half of the year."""

    schema: dict[str, Any] = {  # noqa: RUF012
        "anyOf": [
            {"type": "string"},
            {
                "type": "object",
                "properties": {
                    "winter": {"type": "string", "description": "Mean of the coldest week. [degC]"},
                    "summer": {"type": "string", "description": "Mean of the warmest week. [degC]"},
                },
                "additionalProperties": False,
            },
        ],
        "examples": ["20 degC", {"winter": "8 degC", "summer": "28 degC"}],
    }

    def read(self, value: object) -> Air:
        """Read one temperature, or that of the coldest and of the warmest week."""
        degc = Quantity("temperature", least=-60.0, most=80.0)
        if not isinstance(value, dict):
            both = degc.read(value)
            return Air(both, both)
        if set(value) != {"winter", "summer"}:
            wrong("needs one temperature such as '20 degC', or {winter: 8 degC, summer: 28 degC}")
        return Air(*each_entry([(key, value[key]) for key in ("winter", "summer")], degc.read))
