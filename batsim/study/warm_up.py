"""How long a warm-up should be: MSER-5 on the course of a pilot, less what it cuts by chance, in whole weeks."""

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from batsim.measures.profile import lost_before
from batsim.measures.windows import Floats, Measured
from batsim.record.record import Record
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.settings import Settings
from batsim.scenario.site import Scenario
from batsim.statistics.warm_up import BATCH, settled
from batsim.study.running.executors import run_schedule

PILOT_WEEKS = 20
"""Length of a pilot: at most half of it can be found to be warm-up."""
PILOT_REPLICATIONS = 5
"""Replications whose courses are averaged, so that chance does not pass for a trend (Welch, from memory)."""


class WarmUp(NamedTuple):
    """Warm-up that a layout needs."""

    layout: str
    weeks: int
    """Whole weeks to leave out."""
    too_short: bool
    """The pilot was still on its way: nothing can be said but that it takes longer."""
    course: Floats
    """Truck minutes lost in each fifth of a week of the pilot, mean over its replications. [min]"""

    @property
    def text(self) -> str:
        """Such as `side rollers: 1 week`."""
        if self.too_short:
            return f"{self.layout}: more than {self.weeks} weeks, the pilot was too short to tell"
        return f"{self.layout}: {self.weeks} week{'' if self.weeks == 1 else 's'}"


def warm_up(scenario: Scenario, settings: Settings = Settings()) -> tuple[WarmUp, ...]:
    """Find the warm-up of layouts by a pilot without one.

    The course is cut into fifths of a week, so that the batches of five of MSER-5 are whole weeks and the weekend
    does not pass for a trend.

    Parameters
    ----------
    scenario
        The site, as `read` returns it.
    settings
        Weeks and replications are those of the pilot, 20 weeks five times when not given; it has no warm-up.

    Returns
    -------
    tuple
        One for each layout; the longest serves all, since layouts are compared over the same weeks.

    Raises
    ------
    ScenarioError
        As `run`.
    """
    pilot = replace(
        settings,
        weeks=float(PILOT_WEEKS if settings.weeks is None else settings.weeks),
        warm_up_weeks=0.0,
        replications=PILOT_REPLICATIONS if settings.replications is None else settings.replications,
    ).schedule(scenario)
    needed = []
    for layout, courses in run_schedule(pilot, settings, take=course).items():
        lost_min = np.mean(courses, axis=0)
        cut = settled(lost_min, BATCH)
        needed.append(WarmUp(layout, cut.batches, cut.too_short, lost_min))
    return tuple(needed)


def course(record: Record, _: Scenario) -> Floats:
    """Truck minutes lost in each fifth of a week. [min]"""
    edges = np.arange(0.0, record.facts.horizon_min + WEEK_MIN / BATCH / 2.0, WEEK_MIN / BATCH)
    return np.diff(lost_before(Measured(record), edges))
