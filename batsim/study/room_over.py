"""The room over a week or a day: what is usual and what is seldom, over replications and weeks."""

import math
from dataclasses import dataclass, replace
from functools import partial
from typing import NamedTuple

import numpy as np

from batsim.errors import Problem, ScenarioError
from batsim.measures.mean_week import HIGH_SHARE, LOW_SHARE, QUARTERS, Extremes, extremes
from batsim.measures.profile import QUARTER_HOUR_MIN
from batsim.measures.room_course import READY_OF, quarter_means
from batsim.measures.windows import Flags, Floats
from batsim.record.part import of_area
from batsim.record.record import Record
from batsim.scenario.parts.faults import did_you_mean
from batsim.scenario.parts.week import DAY_MIN, DAYS, WEEK_MIN
from batsim.scenario.settings import Settings
from batsim.scenario.site import Scenario
from batsim.study.bottleneck.time_windows import working_profile
from batsim.study.running.executors import run_schedule
from batsim.study.running.one_run import BEYOND_MIN

DAY_QUARTERS = round(DAY_MIN / QUARTER_HOUR_MIN)
HOUR_MIN, HOUR_QUARTERS = 60.0, round(60.0 / QUARTER_HOUR_MIN)
OF_TRUCKS = ("trucks waiting", "trucks away")
"""Counts of trucks: one that waits over the weekend waits for nobody."""
WORKED_SHARE = 0.5
"""Least part of the longest day's working time in a working day, and of a quarter's minutes in a quarter of work."""


class Band(NamedTuple):
    """A count over a week or a day: one value for each step, a quarter of an hour or an hour."""

    mean: Floats
    low: Floats
    """What 5 % of the weeks or days stay below."""
    high: Floats
    """What 95 % of them do not exceed."""

    @property
    def extremes(self) -> Extremes:
        """Mean of the mean course, its least and its most."""
        return extremes(self.mean)


class WeekSamples(NamedTuple):
    """What is taken from the record of one replication."""

    counts: dict[str, Floats]
    """By name: its mean in each quarter of an hour; shape (weeks, 672)."""
    batteries: float
    chargers: float
    stations: float
    devices: float


@dataclass(frozen=True)
class RoomOver:
    """A layout's room over the measured weeks of all replications."""

    scenario: Scenario
    layout: str
    replications: int
    weeks: int
    """Measured weeks of each replication."""
    counts: dict[str, Floats]
    """By name: shape (replications x weeks, 672)."""
    working_min: Floats
    """Minutes of each quarter in which any truck works; shape (672). [min]"""
    batteries: float
    """In all."""
    chargers: float
    """In all; infinite without a limit."""
    stations: float
    """In all; infinite without a limit."""
    devices: float = 0.0
    """In all, of all kinds."""
    area: str = ""
    """Area that is looked at; empty for all of the layout."""

    @property
    def title(self) -> str:
        """Layout, and the area that is looked at."""
        return f"{self.layout}, {self.area}" if self.area else self.layout

    @property
    def in_truck(self) -> bool:
        """True where all batteries are charged in the truck, so that there is no stock."""
        return all(site.arrangement(self.layout).in_truck for site in self.areas.values())

    @property
    def areas(self) -> dict[str, Scenario]:
        """Areas that are looked at, each as a scenario of its own."""
        sites = self.scenario.areas_of(self.layout)
        return {self.area: sites[self.area]} if self.area else sites

    @property
    def ready_by_type(self) -> dict[str, str]:
        """By battery type that is exchanged: the name of the count of its ready batteries."""
        counts = {name: READY_OF.format(name) for name in self.scenario.batteries}
        return {name: count for name, count in counts.items() if count in self.counts}

    @property
    def week_min(self) -> Floats:
        """Edges of the quarters of a week, from Monday 00:00. (673) [min]"""
        return QUARTER_HOUR_MIN * np.arange(QUARTERS + 1, dtype=np.float64)

    @property
    def hour_min(self) -> Floats:
        """Edges of the hours of a week, from Monday 00:00. (169) [min]"""
        return self.week_min[::HOUR_QUARTERS]

    @property
    def day_min(self) -> Floats:
        """Edges of the quarters of a day, from midnight. (97) [min]"""
        return QUARTER_HOUR_MIN * np.arange(DAY_QUARTERS + 1, dtype=np.float64)

    @property
    def working_days(self) -> tuple[str, ...]:
        """Weekdays, midnight to midnight, on which trucks work at least half as long as on the longest."""
        minutes = self.working_min.reshape(7, DAY_QUARTERS).sum(axis=1)
        longest = float(minutes.max())
        return tuple(day for day, worked in zip(DAYS, minutes, strict=True) if 0.0 < longest * WORKED_SHARE <= worked)

    @property
    def idle_week(self) -> list[tuple[float, float]]:
        """Stretches of the week in which trucks work less than half of each quarter: breaks, free hours. [min]"""
        return _stretches(~self._works.reshape(-1))

    def idle_day(self, days: tuple[str, ...] = ()) -> list[tuple[float, float]]:
        """Stretches of the clock in which that is so on every one of some weekdays. [min]"""
        numbers = [DAYS.index(day) for day in days or self.working_days]
        return _stretches(np.all(~self._works[numbers], axis=0))

    def week(self, name: str) -> Band:
        """A count over the mean week; trucks are counted only where they work, and are not a number elsewhere."""
        return _band(self._counted(name).reshape(-1, QUARTERS))

    def week_by_hour(self, name: str) -> Band:
        """The same in means of an hour, of trucks over those of its quarters in which they work."""
        rows = self._counted(name).reshape(-1, QUARTERS // HOUR_QUARTERS, HOUR_QUARTERS)
        numbers = np.isfinite(rows)
        known = numbers.sum(axis=2)
        means = np.where(numbers, rows, 0.0).sum(axis=2) / np.maximum(known, 1)
        return _band(np.where(known > 0, means, np.nan))

    def day(self, name: str, days: tuple[str, ...] = ()) -> Band:
        """A count over the mean of some weekdays, of the working days when none are named; trucks as in `week`."""
        numbers = [DAYS.index(day) for day in days or self.working_days]
        return _band(self._counted(name)[:, numbers].reshape(-1, DAY_QUARTERS))

    def _counted(self, name: str) -> Floats:
        """A count by week, weekday and quarter; trucks are not a number while they do not work."""
        rows = self.counts[name].reshape(-1, 7, DAY_QUARTERS)
        return np.where(self._works, rows, np.nan) if name in OF_TRUCKS else rows

    @property
    def _works(self) -> Flags:
        """Whether trucks work at least half of a quarter of an hour, by weekday and quarter."""
        works: Flags = self.working_min.reshape(7, DAY_QUARTERS) >= WORKED_SHARE * QUARTER_HOUR_MIN
        return works


def _stretches(flags: Flags) -> list[tuple[float, float]]:
    """From where to where quarters of an hour are marked. [min]"""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(int))) * QUARTER_HOUR_MIN
    return [(float(begin), float(end)) for begin, end in zip(edges[::2], edges[1::2], strict=True)]


def _band(rows: Floats) -> Band:
    """Mean and ends of what 90 % of the rows show, where there are numbers."""
    band = Band(*np.full((3, rows.shape[1]), np.nan))
    numbers = np.isfinite(rows)
    ends = [LOW_SHARE, HIGH_SHARE]
    whole, part = numbers.all(axis=0) & bool(len(rows)), numbers.any(axis=0) & ~numbers.all(axis=0)
    if whole.any():
        band.mean[whole] = rows[:, whole].mean(axis=0)
        band.low[whole], band.high[whole] = np.quantile(rows[:, whole], ends, axis=0)
    for column in np.flatnonzero(part):
        seen = rows[numbers[:, column], column]
        band.mean[column] = seen.mean()
        band.low[column], band.high[column] = np.quantile(seen, ends)
    return band


def take(record: Record, _: Scenario, area: str = "") -> WeekSamples:
    """Take the room in quarters of an hour from a record, of every whole measured week that is followed by another.

    Of an area alone, where one is named.
    """
    record = of_area(record, area) if area else record
    facts = record.facts
    first = _first_whole_week(facts.warm_up_min)
    weeks = int((facts.horizon_min - BEYOND_MIN - first) / WEEK_MIN + 1e-9)
    edges = first + QUARTER_HOUR_MIN * np.arange(weeks * QUARTERS + 1, dtype=np.float64)
    counts = {name: means.reshape(weeks, QUARTERS) for name, means in quarter_means(record, edges).items()}
    return WeekSamples(
        counts,
        float(facts.batteries),
        *(float(count) for count in (sum(facts.charger_counts), facts.stations, sum(facts.device_counts))),
    )


def _first_whole_week(warm_up_min: float) -> float:
    """First Monday 00:00 that is not in the warm-up. [min]"""
    return WEEK_MIN * math.ceil(warm_up_min / WEEK_MIN)


def room_over(scenario: Scenario, layout: str, settings: Settings = Settings(), *, area: str = "") -> RoomOver:
    """Simulate a layout and keep its room, or one area of it, in quarters of an hour.

    Parameters
    ----------
    scenario
        The site, as `read` returns it.
    layout
        Name of one of its layouts.
    settings
        What is run, in place of what the scenario says; weeks are whole ones, at least one, and begin on a Monday.
    area
        Name of one of the areas of the layout; all of them together when not given.

    Returns
    -------
    RoomOver
        For a mean week or day: mean and band of ready batteries, trucks waiting, batteries by state, chargers,
        attendants, stations, devices.

    Raises
    ------
    ScenarioError
        When the layout is not in the scenario, the area is not in the layout, or a number is out of range.

    Notes
    -----
    Each run goes on for a week beyond what is kept, so that what is told of its end is whole: see `one_run`.
    """
    schedule = replace(settings, layouts=layout).schedule(scenario)
    site = _area_of(scenario, layout, area) if area else scenario
    weeks = max(1, round(schedule.weeks))
    length_min = _first_whole_week(schedule.warm_up_min) - schedule.warm_up_min + weeks * WEEK_MIN + BEYOND_MIN
    taking = partial(take, area=area)
    samples = run_schedule(replace(schedule, length_min=length_min), settings, take=taking)[layout]
    counts = {name: np.concatenate([sample.counts[name] for sample in samples]) for name in samples[0].counts}
    _, batteries, chargers, stations, devices = samples[0]
    return RoomOver(
        scenario,
        layout,
        schedule.replications,
        weeks,
        counts,
        working_profile(site),
        batteries,
        chargers,
        stations,
        devices,
        area,
    )


def _area_of(scenario: Scenario, layout: str, area: str) -> Scenario:
    """Scenario of one area alone; refused where the layout has none of this name."""
    sites = scenario.areas_of(layout)
    if area not in sites:
        known = [name for name in sites if name]
        rule = f"no area of this name in layout '{layout}'{did_you_mean(area, known)}"
        raise ScenarioError(scenario.file, [Problem(scenario.file, 0, 0, "area", rule, f"'{area}'")])
    return sites[area]
