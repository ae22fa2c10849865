"""Air temperature of a zone: the same all year, or with the seasons."""

import math
from typing import NamedTuple

from batsim.scenario.parts.faults import read_pair
from batsim.scenario.parts.kinds import Quantity, reads
from batsim.scenario.parts.schemas import TEXT, block_schema, with_help

WEEKS_PER_YEAR = 365.25 / 7.0
SEASONS = {"winter": "Mean of the coldest week. [degC]", "summer": "Mean of the warmest week. [degC]"}
"""Keys of an air temperature that goes with the seasons, and their help."""


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


@reads(TEXT, block_schema(with_help(TEXT, SEASONS)), examples=["20 degC", {"winter": "8 degC", "summer": "28 degC"}])
def read_air(value: object) -> Air:
    """An air temperature such as `20 degC`, or one for each half of the year."""
    degc = Quantity("temperature", least=-60.0, most=80.0)
    form = "needs one temperature such as '20 degC', or {winter: 8 degC, summer: 28 degC}"
    return Air(*read_pair(value, SEASONS, degc.read, form))
