"""Waits of layouts: how many exchanges wait no longer than so many minutes, over replications."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from batsim.measures.exchanges import waits_min
from batsim.measures.windows import Floats
from batsim.statistics.intervals import Interval, student_interval
from batsim.study.running.executors import run_jobs
from batsim.study.running.replications import Settings, jobs_of, settings

if TYPE_CHECKING:
    from batsim.record import Record
    from batsim.scenario.site import Scenario
    from batsim.study.running.executors import Progress


class Curve(NamedTuple):
    """Share of the exchanges that wait no longer than so many minutes: a step function, from 0 on."""

    minutes: Floats
    share: Floats
    """Holds from its minutes on."""


@dataclass(frozen=True)
class Waits:
    """Waits of all exchanges of some layouts."""

    settings: Settings
    waits: dict[str, tuple[Floats, ...]]
    """By layout: those of each replication. [min]"""

    @property
    def layouts(self) -> tuple[str, ...]:
        """Names of the layouts."""
        return tuple(self.waits)

    @property
    def target(self) -> tuple[float, float] | None:
        """Minutes, and the share of exchanges that must wait no longer; None when the scenario states none. [min, -]"""
        stated = self.settings.scenario.targets.waits
        return None if stated is None else (stated.minutes, stated.share)

    def curve(self, layout: str) -> Curve:
        """Distribution of the waits of all replications together; empty when there was no exchange."""
        every = np.concatenate(self.waits[layout])
        if not every.size:
            return Curve(every, every)
        minutes, counts = np.unique(np.append(every, 0.0), return_counts=True)
        counts[0] -= 1
        return Curve(minutes, np.cumsum(counts) / every.size)

    def share_within(self, layout: str, minutes: float) -> Interval:
        """Share of the exchanges that wait no longer than that, with its interval over the replications."""
        shares = [float(np.mean(each <= minutes)) if each.size else np.nan for each in self.waits[layout]]
        return student_interval(np.array(shares), self.settings.confidence)

    def not_exceeded(self, share: float) -> float:
        """Wait that this share of the exchanges does not exceed in any layout; 0 when there is none. [min]"""
        found = [np.concatenate(each) for each in self.waits.values()]
        return max((float(np.quantile(each, share)) for each in found if each.size), default=0.0)


def take(record: "Record", _: "Scenario") -> Floats:
    """Waits of a record. [min]"""
    return waits_min(record)


def waits_over(
    scenario: "Scenario",
    layouts: "list[str] | tuple[str, ...] | str | None" = None,
    *,
    replications: int | None = None,
    weeks: float | None = None,
    warm_up_weeks: float | None = None,
    seed: int | None = None,
    workers: int | None = None,
    progress: "Progress | None" = None,
) -> Waits:
    """Simulate layouts and keep the wait of every exchange.

    Parameters
    ----------
    scenario, layouts, replications, weeks, warm_up_weeks, seed, workers, progress
        As for `run`.

    Returns
    -------
    Waits
        Distributions, and shares with their intervals.

    Raises
    ------
    ScenarioError
        As `run`.
    """
    stated = settings(scenario, layouts, replications, weeks, warm_up_weeks, seed)
    count = stated.replications
    found = run_jobs([scenario], jobs_of(stated, range(count)), take=take, workers=workers, progress=progress)
    return Waits(
        stated,
        {
            layout: tuple(found[position * count : (position + 1) * count])
            for position, layout in enumerate(stated.layouts)
        },
    )
