"""How long a warm-up should be: MSER-5 on the course of a pilot, in whole weeks."""

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from batsim.measures.profile import lost_before
from batsim.measures.windows import Measured
from batsim.scenario.parts.week import WEEK_MIN
from batsim.statistics.warm_up import BATCH, mser
from batsim.study.running.executors import run_jobs
from batsim.study.running.jobs import Job
from batsim.study.running.replications import settings

if TYPE_CHECKING:
    from batsim.record import Record
    from batsim.scenario.site import Scenario
    from batsim.study.running.executors import Progress

    Floats = np.ndarray[tuple[int], np.dtype[np.float64]]

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
    course: "Floats"
    """Truck minutes lost in each fifth of a week of the pilot, mean over its replications. [min]"""

    @property
    def text(self) -> str:
        """Such as `side rollers: 1 week`."""
        if self.too_short:
            return f"{self.layout}: more than {self.weeks} weeks, the pilot was too short to tell"
        return f"{self.layout}: {self.weeks} week{'' if self.weeks == 1 else 's'}"


def warm_up(
    scenario: "Scenario",
    layouts: "list[str] | tuple[str, ...] | str | None" = None,
    *,
    pilot_weeks: int = PILOT_WEEKS,
    replications: int = PILOT_REPLICATIONS,
    seed: int | None = None,
    workers: int | None = None,
    progress: "Progress | None" = None,
) -> tuple[WarmUp, ...]:
    """Find the warm-up of layouts by a pilot without one.

    The course is cut into fifths of a week, so that the batches of five of MSER-5 are whole weeks and the weekend
    does not pass for a trend.

    Parameters
    ----------
    scenario, layouts, seed, workers, progress
        As for `run`.
    pilot_weeks, replications
        Length and number of the pilot runs.

    Returns
    -------
    tuple
        One for each layout; the longest serves all, since layouts are compared over the same weeks.
    """
    stated = settings(scenario, layouts, replications, float(pilot_weeks), 0.0, seed)
    jobs = [
        Job(layout, number, stated.seed, stated.length_min, 0.0)
        for layout in stated.layouts
        for number in range(replications)
    ]
    found = run_jobs([scenario], jobs, take=course, workers=workers, progress=progress)
    courses = np.array(found).reshape(len(stated.layouts), replications, -1).mean(axis=1)
    warm_ups = []
    for layout, each in zip(stated.layouts, courses, strict=True):
        cut = mser(each, BATCH)
        warm_ups.append(WarmUp(layout, cut.batches, cut.too_short, each))
    return tuple(warm_ups)


def course(record: "Record", _: "Scenario") -> "Floats":
    """Truck minutes lost in each fifth of a week. [min]"""
    edges = np.arange(0.0, record.facts.horizon_min + WEEK_MIN / BATCH / 2.0, WEEK_MIN / BATCH)
    return np.diff(lost_before(Measured(record), edges))
