"""What the simulation has to say to a plan: measures, the load over the week, hydrogen over time."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from batsim.measures.electrical_load import QUARTER_MIN, loads
from batsim.measures.exchanges import waits_min
from batsim.measures.gas import gas_course
from batsim.measures.mean_week import QUARTERS
from batsim.measures.occupancy import labour_measures
from batsim.measures.warmth import Hardship, hardships, worst_of
from batsim.measures.wear import lives_by_type
from batsim.measures.windows import Floats, Measured
from batsim.measures.work import shift_powers_kw
from batsim.record.part import of_area
from batsim.record.record import Record
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.settings import Schedule, Settings
from batsim.scenario.site import Scenario
from batsim.statistics.intervals import Interval
from batsim.study.cost import WEEKS_PER_YEAR
from batsim.study.running.executors import run_each
from batsim.study.running.jobs import Results, jobs_of, results_of
from batsim.study.running.replications import runs_of
from batsim.study.running.runs import Runs


class AreaEvidence(NamedTuple):
    """What is taken of one area."""

    in_truck: bool
    """Whether its batteries are charged in the truck."""
    gas_m3_per_h: Floats
    """Hydrogen in each quarter of an hour of the measured time. [m3/h]"""
    hardships: Mapping[str, Hardship]
    """What each battery type went through, by its name."""
    lives: Mapping[str, float]
    """Years that batteries of each type last, by its name. [years]"""
    attended_min_per_day: float
    """Hands-on minutes of attendants in a working day. [min]"""


class RunEvidence(NamedTuple):
    """What is taken from the record of one replication."""

    results: Results
    load_kw: Floats
    """Load at the wall in each quarter of an hour of the measured time. [kW]"""
    days_per_week: float
    """Working days in a measured week."""
    truck_hours_per_week: float
    """Scheduled truck hours in a measured week. [h]"""
    truck_shifts_per_week: float
    """Truck-shifts in a measured week."""
    waits_min: Floats
    """Wait of every exchange. [min]"""
    shift_kw: Mapping[str, Floats]
    """Power drawn for each truck-shift, by truck group; none where run times say nothing of power. [kW]"""
    areas: Mapping[str, AreaEvidence]
    """What concerns each area, by its name."""

    def gas_m3_per_h(self, *, in_truck: bool) -> Floats:
        """Hydrogen of all areas that charge in the truck, or of all others, in each quarter of an hour. [m3/h]"""
        gas: Floats = np.sum([area.gas_m3_per_h for area in self.areas.values() if area.in_truck is in_truck], axis=0)
        return gas


@dataclass(frozen=True)
class Evidence:
    """What the replications of one layout say."""

    layout: str
    runs: Runs
    replications: tuple[RunEvidence, ...]
    seasons: tuple["Evidence", ...] = ()
    """The same of each season; the rest is that of the normal weeks."""

    @property
    def parts(self) -> tuple["Evidence", ...]:
        """Results of the year: the normal weeks and each season."""
        return (self, *self.seasons)

    @property
    def weeks_a_year(self) -> int:
        """Weeks of a year for which it stands, its seasons left out."""
        return self.runs.schedule.weeks_a_year

    def mean(self, measure: str) -> float:
        """Mean of a measure over the replications."""
        return self.interval(measure).mean

    def interval(self, measure: str) -> Interval:
        """The same with its interval."""
        return self.runs.interval(self.layout, measure)

    def per_year(self, amount: str, measure: str | None = None) -> float:
        """Days, truck_hours or truck_shifts in 52 weeks, see `RunEvidence`; times the mean of a measure in each part.

        Examples: `per_year("days")`, and `per_year("days", "water_lost_kg_per_day")` for the water of a year.
        """
        return sum(
            part.weeks_a_year
            * float(np.mean([getattr(run, f"{amount}_per_week") for run in part.replications]))
            * (1.0 if measure is None else part.mean(measure))
            for part in self.parts
        )

    def mean_of_year(self, measure: str) -> float:
        """Mean of a measure over the weeks of a year."""
        return sum(part.weeks_a_year / WEEKS_PER_YEAR * part.mean(measure) for part in self.parts)

    def hardship(self, area: str, battery: str) -> Hardship:
        """What batteries of a type went through in an area, in all replications of a year."""
        return worst_of(run.areas[area].hardships[battery] for part in self.parts for run in part.replications)

    def attended_hours_per_year(self, area: str) -> float:
        """Hands-on hours of attendants in an area in a year. [h]"""
        return sum(
            part.weeks_a_year
            * float(np.mean([run.days_per_week for run in part.replications]))
            * float(np.mean([run.areas[area].attended_min_per_day for run in part.replications]))
            / 60.0
            for part in self.parts
        )

    def shift_kw(self, group: str) -> Floats:
        """Power drawn for each truck-shift of a group, in all replications of a year. [kW]"""
        each = [run.shift_kw[group] for part in self.parts for run in part.replications if group in run.shift_kw]
        powers: Floats = np.concatenate([np.zeros(0), *each])
        return powers

    def life_years(self, area: str, battery: str) -> float:
        """Years that a battery of a type lasts at the wear of a year in an area; not a number without wear. [years]"""
        of_parts = [
            float(np.mean([run.areas[area].lives[battery] for run in part.replications])) for part in self.parts
        ]
        if not self.seasons:
            return of_parts[0]
        lives = [(part.weeks_a_year / WEEKS_PER_YEAR, life) for part, life in zip(self.parts, of_parts, strict=True)]
        worn_share = sum(share / years for share, years in lives if np.isfinite(years))
        return 1.0 / worn_share if worn_share else np.nan

    @property
    def week_kwh(self) -> Floats:
        """Energy from the wall in each quarter of an hour of a week, from Monday 00:00 on, the mean of a year. [kWh]"""
        of_parts = [part.weeks_a_year / WEEKS_PER_YEAR * part._own_week_kwh for part in self.parts]
        kwh: Floats = np.sum(of_parts, axis=0)
        return kwh

    @property
    def _own_week_kwh(self) -> Floats:
        """The same of its own weeks alone. [kWh]"""
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
        results_of(record, scenario),
        loads(measured)[0],
        measured.working_days / weeks,
        float(np.sum(measured.scheduled_min)) / 60.0 / weeks,
        measured.truck_shifts / weeks,
        waits_min(record),
        shift_powers_kw(measured),
        {area.name: _of_area(of_area(record, area.name), in_truck=area.in_truck) for area in record.facts.areas},
    )


def _of_area(record: Record, *, in_truck: bool) -> AreaEvidence:
    """Take what a plan needs of one area from its part of a record."""
    measured = Measured(record)
    attended = labour_measures(measured)["labour_attendant_min_per_day"]
    return AreaEvidence(in_truck, gas_course(record), hardships(measured), lives_by_type(measured), attended)


def evidence(schedule: Schedule, settings: Settings = Settings()) -> dict[str, Evidence]:
    """Simulate layouts of one scenario, in normal weeks and in each season; see `evidence_of_each`."""
    normal, *seasons = evidence_of_each([schedule, *schedule.seasons.values()], settings)
    return {
        layout: replace(of_layout, seasons=tuple(season[layout] for season in seasons))
        for layout, of_layout in normal.items()
    }


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
        runs = runs_of(schedule, {layout: [run.results for run in done] for layout, done in replications.items()})
        evidences.append({layout: Evidence(layout, runs, tuple(taken)) for layout, taken in replications.items()})
    return evidences
