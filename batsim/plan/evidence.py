"""What the simulation has to say to a plan: measures, the load over the week, hydrogen over time."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from batsim.measures.electrical_load import QUARTER_MIN, loads
from batsim.measures.exchanges import waits_min
from batsim.measures.gas import gas_course
from batsim.measures.mean_week import QUARTERS
from batsim.measures.windows import Floats, Measured
from batsim.record import Record
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.settings import Schedule, Settings
from batsim.scenario.site import Scenario
from batsim.study.cost import WEEKS_PER_YEAR
from batsim.study.running.executors import run_each
from batsim.study.running.jobs import jobs_of, measures_of
from batsim.study.running.replications import Runs, runs_of


class RunEvidence(NamedTuple):
    """What is taken from the record of one replication."""

    measures: dict[str, float]
    load_kw: Floats
    """Load at the wall in each quarter of an hour of the measured time. [kW]"""
    gas_m3_per_h: Floats
    """Hydrogen in each quarter of an hour of the measured time. [m3/h]"""
    days_per_week: float
    """Working days in a measured week."""
    truck_hours_per_week: float
    """Scheduled truck hours in a measured week. [h]"""
    truck_shifts_per_week: float
    """Truck-shifts in a measured week."""
    waits_min: Floats
    """Wait of every exchange. [min]"""


@dataclass(frozen=True)
class Evidence:
    """What the replications of one layout say."""

    layout: str
    runs: Runs
    replications: tuple[RunEvidence, ...]

    def mean(self, measure: str) -> float:
        """Mean of a measure over the replications."""
        return self.runs.interval(self.layout, measure).mean

    def per_year(self, amount: str) -> float:
        """Days, truck_hours or truck_shifts in 52 weeks, see `RunEvidence`."""
        return WEEKS_PER_YEAR * float(np.mean([getattr(run, f"{amount}_per_week") for run in self.replications]))

    @property
    def week_kwh(self) -> Floats:
        """Energy from the wall in each quarter of an hour of a week, from Monday 00:00 on, the mean of all. [kWh]"""
        start = round(self.runs.schedule.warm_up_min / QUARTER_MIN)
        load_kw = np.zeros(QUARTERS)
        weeks = 0.0
        for run in self.replications:
            np.add.at(load_kw, (start + np.arange(run.load_kw.size)) % QUARTERS, run.load_kw)
            weeks += run.load_kw.size / QUARTERS
        kwh: Floats = load_kw * (QUARTER_MIN / 60.0) / weeks
        return kwh


def take(record: Record, scenario: Scenario) -> RunEvidence:
    """Take what a plan needs from a record."""
    measured = Measured(record)
    weeks = measured.minutes / WEEK_MIN
    return RunEvidence(
        measures_of(record, scenario),
        loads(measured)[0],
        gas_course(record),
        measured.working_days / weeks,
        float(np.sum(measured.scheduled_min)) / 60.0 / weeks,
        measured.truck_shifts / weeks,
        waits_min(record),
    )


def evidence(schedule: Schedule, settings: Settings = Settings()) -> dict[str, Evidence]:
    """Simulate layouts of one scenario; see `evidence_of_each`."""
    return evidence_of_each([schedule], settings)[0]


def evidence_of_each(schedules: Sequence[Schedule], settings: Settings = Settings()) -> list[dict[str, Evidence]]:
    """Simulate layouts of several scenarios, all together, and keep what a plan needs of them.

    Parameters
    ----------
    schedules
        What is run of each scenario.
    settings
        Their workers and progress hold.

    Returns
    -------
    list of dict
        For each of them, evidence by layout.
    """
    studied = [
        jobs_of(schedule, layout, scenario=number)
        for number, schedule in enumerate(schedules)
        for layout in schedule.layouts
    ]
    done = iter(run_each([schedule.scenario for schedule in schedules], studied, settings, take=take))
    evidences = []
    for schedule in schedules:
        replications = {layout: next(done) for layout in schedule.layouts}
        runs = runs_of(schedule, {layout: [run.measures for run in done] for layout, done in replications.items()})
        evidences.append({layout: Evidence(layout, runs, tuple(taken)) for layout, taken in replications.items()})
    return evidences
