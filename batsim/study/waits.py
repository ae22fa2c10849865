"""Waits of layouts: how many exchanges wait no longer than so many minutes, over replications."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from batsim.measures.exchanges import waits_min
from batsim.measures.names import RARE, WITHIN_TARGET
from batsim.measures.windows import Floats
from batsim.record.part import of_area
from batsim.record.record import Record
from batsim.scenario.parts.calendar import mean_shift_min
from batsim.scenario.settings import Schedule, Settings
from batsim.scenario.site import Scenario
from batsim.statistics.intervals import Interval
from batsim.study.running.estimates import estimate
from batsim.study.running.executors import run_schedule
from batsim.study.running.runs import Runs

ROUNDING_MIN = 1e-6
"""A wait that is shorter than a shift by less than this is one. [min]"""


class Curve(NamedTuple):
    """Share of the exchanges that wait no longer than so many minutes: a step function, from 0 on."""

    minutes: Floats
    share: Floats
    """Holds from its minutes on."""

    def within(self, share: float) -> float:
        """Minutes that this share of the exchanges does not exceed; not a number where there is none. [min]"""
        return float(self.minutes[np.searchsorted(self.share, share)]) if self.minutes.size else np.nan


@dataclass(frozen=True)
class Waits:
    """Waits of all exchanges of some layouts, and of those of each of their areas."""

    schedule: Schedule
    waits: Mapping[str, Sequence[Floats]]
    """By layout, and by `LAYOUT, AREA` where a layout has areas: those of each replication. [min]"""

    @property
    def layouts(self) -> tuple[str, ...]:
        """Names of the layouts, each followed by those of its areas."""
        return tuple(self.waits)

    @property
    def without_exchanges(self) -> tuple[str, ...]:
        """Layouts, and areas, in which nothing is exchanged: in the truck alone, or not in the measured time."""
        plugged = _in_truck_alone(self.schedule.scenario)
        return tuple(name for name, waits in self.waits.items() if name in plugged or not any(map(np.size, waits)))

    @property
    def target(self) -> tuple[float, float] | None:
        """Minutes, and the share of exchanges that must wait no longer; None when the scenario states none. [min, -]"""
        target = self.schedule.scenario.targets.waits
        return None if target is None else (target.minutes, target.share)

    def curve(self, layout: str) -> Curve:
        """Distribution of the waits of all replications together; empty when there was no exchange."""
        waits = np.concatenate(self.waits[layout])
        if not waits.size:
            return Curve(waits, waits)
        minutes, counts = np.unique(np.append(waits, 0.0), return_counts=True)
        counts[0] -= 1
        return Curve(minutes, np.cumsum(counts) / waits.size)

    def share_within(self, layout: str, minutes: float) -> Interval:
        """Share of the exchanges that wait no longer than that; without limits where too few events carry them."""
        shares = [float(np.mean(waits <= minutes)) if waits.size else np.nan for waits in self.waits[layout]]
        counts = [float(waits.size) for waits in self.waits[layout]]
        name = WITHIN_TARGET.name
        values = {name: np.array(shares), RARE[name].of: np.array(counts)}
        return estimate(values, name, self.schedule.confidence)

    def not_exceeded(self, share: float) -> float:
        """Wait that this share of the exchanges does not exceed in any layout; 0 when there is none. [min]"""
        without = self.without_exchanges
        by_layout = [np.concatenate(waits) for name, waits in self.waits.items() if name not in without]
        return max((float(np.quantile(waits, share)) for waits in by_layout), default=0.0)


def _in_truck_alone(scenario: Scenario) -> set[str]:
    """Layouts, and `LAYOUT, AREA`, whose batteries are all charged in the truck."""
    found = set()
    for layout in scenario.layouts:
        areas = {area: site.arrangement(layout).in_truck for area, site in scenario.areas_of(layout).items()}
        found |= {f"{layout}, {area}" if area else layout for area, plugged in areas.items() if plugged}
        found |= {layout} if all(areas.values()) else set()
    return found


class WholeShift(NamedTuple):
    """A 95th percentile of waits that takes as long as a shift."""

    wait_min: float
    """Mean of the 95th percentiles of the replications. [min]"""
    shift_min: float
    """Working minutes of the shortest mean shift of a truck group. [min]"""


def whole_shifts_waited(runs: Runs) -> dict[str, WholeShift]:
    """Layouts, and by `LAYOUT, AREA` areas of them, in which one exchange in twenty waits for a whole shift or longer.

    Waits count scheduled time alone, so such a truck stands from the beginning of its work to the end.
    """
    week, waited = runs.scenario.week, {}
    for layout in runs.layouts:
        parts = {layout: (runs, runs.scenario)}
        for area, site in runs.scenario.areas_of(layout).items() if runs.areas else ():
            if area in runs.areas:
                parts[f"{layout}, {area}"] = (runs.areas[area], site)
        for name, (part, site) in parts.items():
            wait_min = part.interval(layout, "wait_min_p95").mean
            shift_min = min(mean_shift_min(week, group.shifts) for group in site.trucks)
            if wait_min >= shift_min - ROUNDING_MIN:
                waited[name] = WholeShift(wait_min, shift_min)
    return waited


def take(record: Record, _: Scenario) -> dict[str, Floats]:
    """Waits of a record, and of each area that has a name, by layout and area. [min]"""
    layout, areas = record.facts.layout, [area.name for area in record.facts.areas if area.name]
    return {layout: waits_min(record)} | {f"{layout}, {area}": waits_min(of_area(record, area)) for area in areas}


def waits_over(scenario: Scenario, settings: Settings = Settings()) -> Waits:
    """Simulate layouts and keep the wait of every exchange.

    Parameters
    ----------
    scenario
        The site, as `read` returns it.
    settings
        What is run, in place of what the scenario says.

    Returns
    -------
    Waits
        Distributions, and shares with their intervals.

    Raises
    ------
    ScenarioError
        As `run`.
    """
    schedule = settings.schedule(scenario)
    taken = run_schedule(schedule, settings, take=take).values()
    waits = {name: [each[name] for each in replications] for replications in taken for name in replications[0]}
    return Waits(schedule, waits)
