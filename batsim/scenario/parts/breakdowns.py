"""What breaks down and for how long, what is out on a stated day, and what stands by."""

import re
from typing import Annotated

from pydantic import Field

from batsim.scenario.parts.faults import wrong
from batsim.scenario.parts.kinds import Count, Frozen, NameText, reads
from batsim.scenario.parts.laws import DurationLaw
from batsim.scenario.parts.quantities import MinutesAbove0
from batsim.scenario.parts.schemas import text_schema
from batsim.scenario.parts.week import DAY_MIN, DAYS, WEEK_MIN, clock_minutes


class Breakdown(Frozen):
    """How often one unit of a kind breaks down, and how long it is away."""

    every_min: DurationLaw = Field(alias="every")
    """Time from the end of a repair to the next breakdown of the same unit, round the clock. [min]"""
    repair_min: DurationLaw = Field(alias="repair")
    """Time until it is back in use, waiting for whoever repairs it included. [min]"""


@reads(text_schema("week 1 Tue 06:00", pattern=r"^week [1-9]\d{0,3} [A-Z][a-z]{2} \d?\d:\d\d$"))
def read_moment(value: object) -> float:
    """An instant of the simulated time, such as `week 1 Tue 06:00`; week 1 is the first after the warm-up."""
    match = re.fullmatch(r"week ([1-9]\d{0,3}) ([A-Z][a-z]{2}) (\d?\d:\d\d)", str(value).strip())
    if not match or match[2] not in DAYS:
        wrong("needs an instant such as 'week 1 Tue 06:00'")
    return (int(match[1]) - 1) * WEEK_MIN + DAYS.index(match[2]) * DAY_MIN + clock_minutes(match[3])


class Outage(Frozen):
    """Something that is out of use for a stated time."""

    thing: NameText
    """What: station, a device, or a charger type of the layout."""
    units: Annotated[int, Count(least=1)] = 1
    """How many of them."""
    from_min: Annotated[float, read_moment] = Field(alias="from")
    """When it goes out. [min after the warm-up]"""
    length_min: MinutesAbove0 = Field(alias="for")
    """How long it is out. [min]"""


class Standby(Frozen):
    """Another way to exchange, for the time in which the layout's own devices are out."""

    handling: NameText
    """Handling arrangement whose steps are taken then."""
    devices: dict[NameText, Annotated[float, Count(least=1, unlimited=True)]] = Field(default_factory=dict)
    """Its devices by name; what one exchange holds when not stated."""
