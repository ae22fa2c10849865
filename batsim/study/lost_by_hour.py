"""When trucks lose their time to the battery: minutes lost in each hour of the week, over replications."""

from dataclasses import dataclass, replace

import numpy as np

from batsim.measures.profile import away_profile
from batsim.measures.windows import Floats
from batsim.record.record import Record
from batsim.scenario.parts.week import DAYS, FULL_DAYS, clock_text
from batsim.scenario.settings import Schedule, Settings
from batsim.scenario.site import Scenario
from batsim.study.bottleneck.time_windows import working_profile
from batsim.study.running.executors import run_schedule

HOUR_MIN = 60.0
HOURS = 24
"""In a day."""


@dataclass(frozen=True)
class LostByHour:
    """Truck-minutes that a layout loses in each hour of a mean week."""

    schedule: Schedule
    layout: str
    lost_min: Floats
    """Of each replication, from Monday 00:00 on; shape (replications, 168). [min]"""
    working_min: Floats
    """Minutes of each hour in which trucks of any group work; shape (168). [min]"""

    @property
    def mean_min(self) -> Floats:
        """Mean over the replications, by weekday and hour of the day; shape (7, 24). [min]"""
        mean: Floats = self.lost_min.mean(axis=0).reshape(len(DAYS), HOURS)
        return mean

    @property
    def worst(self) -> tuple[int, int]:
        """Weekday, from 0 for Monday, and hour of the day in which most is lost."""
        day, hour = divmod(int(np.argmax(self.mean_min)), HOURS)
        return day, hour

    @property
    def worst_text(self) -> str:
        """The same in words, such as `Tuesday from 14:00 to 15:00`."""
        day, hour = self.worst
        begin, end = (clock_text(HOUR_MIN * each) for each in (hour, hour + 1))
        return f"{FULL_DAYS[day]} from {begin} to {end}"

    @property
    def worst_min(self) -> float:
        """What is lost in it. [min]"""
        return float(self.mean_min[self.worst])

    @property
    def week_min(self) -> float:
        """What is lost in a mean week. [min]"""
        return float(self.mean_min.sum())


def take(record: Record, _: Scenario) -> Floats:
    """Minutes lost in each hour of the week, of a record. [min]"""
    return away_profile(record, HOUR_MIN)


def lost_by_hour(scenario: Scenario, layout: str, settings: Settings = Settings()) -> LostByHour:
    """Simulate a layout and add up what its trucks lose in each hour of the week.

    Parameters
    ----------
    scenario
        The site, as `read` returns it.
    layout
        Name of one of its layouts.
    settings
        What is run, in place of what the scenario says.

    Returns
    -------
    LostByHour
        Scheduled truck-minutes, from leaving work to being back, of the normal weeks.

    Raises
    ------
    ScenarioError
        When the layout is not in the scenario, or a number is out of range.
    """
    schedule = replace(settings, layouts=layout).schedule(scenario)
    lost = run_schedule(schedule, settings, take=take)[layout]
    working = working_profile(scenario.in_layout(layout)).reshape(len(DAYS) * HOURS, -1).sum(axis=1)
    return LostByHour(schedule, layout, np.stack(lost), working)
