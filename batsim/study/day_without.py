"""A day without a device or a station: what it costs, with what stands by and without it, over paired replications."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np

from batsim.display import Frame, Shows, frame_of
from batsim.errors import Problem, ScenarioError
from batsim.measures.profile import lost_before
from batsim.measures.windows import Floats, Measured
from batsim.record.part import of_area
from batsim.record.record import Record
from batsim.scenario.parts.breakdowns import Outage
from batsim.scenario.parts.calendar import group_windows, mean_shift_min, overlap_min
from batsim.scenario.parts.faults import did_you_mean
from batsim.scenario.parts.kinds import UNLIMITED
from batsim.scenario.parts.week import DAY_MIN, DAYS, WEEK_MIN, clock_text
from batsim.scenario.settings import Schedule, Settings
from batsim.scenario.site import Scenario
from batsim.statistics.intervals import Interval, student_interval
from batsim.study.running.counts import area_in_words, week_plan
from batsim.study.running.executors import run_each
from batsim.study.running.jobs import jobs_of
from batsim.study.running.runs import interval_json

BEGINS = (
    "The day begins with its first shift, the worst hour where trucks come at the change of shifts: one that begins at "
    "another hour may cost less."
)
"""What the hour at which the day begins does to the answer."""
STATION = "station"
"""What may be asked for beside the names of devices."""
AS_IT_IS, WITH_STANDBY, WITHOUT = "as it is", "out, standby takes over", "out, no standby"


class Day(NamedTuple):
    """The day that is looked at."""

    start_min: float
    """Start after the warm-up. [min]"""
    text: str
    """Such as `week 1 Tue 06:00`."""
    truck_shifts: float
    """Truck-shifts that fall into it."""


class LostMinutes(NamedTuple):
    """Truck minutes lost to batteries."""

    day_min: float
    """On the day itself, by trucks of the area. [min]"""
    week_min: float
    """In its whole week, and to the end of the day where that reaches beyond, by all trucks. [min]"""


@dataclass(frozen=True, repr=False)
class DayWithout(Shows):
    """One layout on a day without all devices of one kind, or stations, of an area, and on the same day as it is."""

    schedule: Schedule
    layout: str
    device: str
    """Kind of device, or `STATION`."""
    count: int
    standby: str
    """What stands by, in words; empty when nothing does."""
    day: Day
    lost: dict[str, list[LostMinutes]]
    """By way: one for each replication."""
    area: str = ""
    """Area that has to do without; empty where the layout is one area."""

    @property
    def title(self) -> str:
        """What the area has to do without, in words."""
        return self.device.replace("_", " ") + (f" of {area_in_words(self.area)}" if self.area else "")

    @property
    def in_short(self) -> str:
        """What it is, in a few words."""
        return self.sentence

    @property
    def note(self) -> str:
        """How to read it."""
        return BEGINS

    def downtime(self, way: str) -> Interval:
        """Downtime of the area's trucks on the day. [min per truck-shift]"""
        lost_min = np.array([lost.day_min for lost in self.lost[way]])
        return student_interval(lost_min / self.day.truck_shifts, self.schedule.confidence)

    def cost_h(self, way: str) -> Interval:
        """Truck hours lost in that week over those of the same week as it is, paired. [h]"""
        pairs = zip(self.lost[AS_IT_IS], self.lost[way], strict=True)
        extra_min = np.array([after.week_min - before.week_min for before, after in pairs])
        return student_interval(extra_min / 60.0, self.schedule.confidence)

    @property
    def sentence(self) -> str:
        """What the day costs, in words."""
        word, there = self.device.replace("_", " "), " there" if self.area else ""
        what = self.title.replace(word, word if self.count == 1 else f"{word}s", 1)
        what = f"the {what}" if self.count == 1 else f"both {what}" if self.count == 2 else f"all {self.count} {what}"
        usual, bare = self.downtime(AS_IT_IS).mean, self.downtime(WITHOUT).mean
        bare_hours = self.cost_h(WITHOUT).mean
        start = f"A day without {what} in '{self.layout}' ({self.day.text} for 24 h)"
        usually = f"min per truck-shift that day instead of {usual:,.0f}"
        if not self.standby:
            advice = "" if self.device == STATION else " State a 'standby' to see what it would save."
            return (
                f"{start} stops exchanges{there}: trucks{there} lose {bare:,.0f} {usually}, {_more(bare_hours)} in "
                f"that week.{advice}"
            )
        helped, hours = self.downtime(WITH_STANDBY).mean, self.cost_h(WITH_STANDBY).mean
        return (
            f"{start} is bridged by {self.standby}: trucks{there} lose {helped:,.0f} {usually}, {_more(hours)} in that "
            f"week; without what stands by they would lose {bare:,.0f} min per truck-shift and "
            f"{_truck_hours(bare_hours)}."
        )

    @property
    def frame(self) -> Frame:
        """Tidy table: way, downtime of the day and its limits, truck hours lost in the week over those as it is."""
        columns = ["way", "day_min_per_truck_shift", "low", "high", "more_truck_hours_in_week"]
        rows = [(way, *self.downtime(way), self.cost_h(way).mean) for way in self.lost]
        return frame_of(rows, columns=columns)

    def as_json(self) -> dict[str, Any]:
        """Everything as plain data for `json.dump`."""
        return {
            "device": self.device,
            **({"area": self.area} if self.area else {}),
            "units": self.count,
            "standby": self.standby or None,
            "day": self.day.text,
            "note": self.note,
            "ways": {
                way: {
                    "day_min_per_truck_shift": interval_json(self.downtime(way)),
                    "more_truck_hours_in_week": interval_json(self.cost_h(way)),
                }
                for way in self.lost
            },
            "sentence": self.sentence,
        }


def take(record: Record, scenario: Scenario) -> dict[str, LostMinutes]:
    """Truck minutes lost on the usual day of each area, and in its week. [min]"""
    start, layout = record.facts.warm_up_min, record.facts.layout
    lost = {}
    for area, site in scenario.areas_of(layout).items():
        day = usual_day(site)
        on_day = start + np.array([day.start_min, day.start_min + DAY_MIN])
        in_week = start + np.array([0.0, length_min(day)])
        day_min: Floats = lost_before(Measured(of_area(record, area)), on_day)
        week_min: Floats = lost_before(Measured(record), in_week)
        lost[area] = LostMinutes(float(day_min[1] - day_min[0]), float(week_min[1] - week_min[0]))
    return lost


def length_min(day: Day) -> float:
    """Time to simulate after the warm-up: the week, so that what has piled up is seen, and the whole day. [min]"""
    return max(WEEK_MIN, day.start_min + DAY_MIN)


def usual_day(scenario: Scenario) -> Day:
    """Second day of week 1 on which a shift begins, from its first shift on; the first if it is alone.

    Holidays are left out: it is a usual week.
    """
    week = scenario.week.in_normal_weeks().model_copy(update={"holidays": ()})
    shifts = [week.shifts[name] for group in scenario.trucks for name in group.shifts]
    days = sorted({day for shift in shifts for day in shift.days})
    day = days[min(1, len(days) - 1)]
    clock = min(shift.from_min for shift in shifts if day in shift.days)
    start_min = day * DAY_MIN + clock
    span = (WEEK_MIN + start_min, WEEK_MIN + start_min + DAY_MIN)
    truck_shifts = 0.0
    for group in scenario.trucks:
        windows = group_windows(week, group.shifts, 3 * WEEK_MIN)
        truck_shifts += group.count * overlap_min(windows, [span]) / mean_shift_min(week, group.shifts)
    return Day(start_min, f"week 1 {DAYS[day]} {clock_text(clock)}", truck_shifts)


def day_without(scenario: Scenario, settings: Settings = Settings(), *, device: str | None = None) -> list[DayWithout]:
    """Find what a day without a device costs, with what stands by and without it, on the same random numbers.

    Parameters
    ----------
    scenario
        The site, as `read` returns it.
    settings
        What is run, in place of what the scenario says; always one week is simulated, after whole weeks of warm-up.
    device
        Name of a device, or `station`, of each area that has any; `NAME of AREA` for one area alone. Every kind of
        device of each layout when not given.

    Returns
    -------
    list of DayWithout
        One for each layout, area and kind of device; none for layouts that exchange without a limited device.

    Raises
    ------
    ScenarioError
        When a layout is not in the scenario, no layout has a device of that name, or a number is out of range.
    """
    schedule = replace(settings, weeks=None).schedule(scenario)
    ways = [(things, _ways(scenario, things)) for things in _asked_for(schedule, device)]
    variants = [(things, variant) for things, by_way in ways for variant in by_way.values()]
    # A warm-up of part of a week would move week 1, and the day with it, to other weekdays.
    warm_up_min = WEEK_MIN * math.ceil(schedule.warm_up_min / WEEK_MIN)
    studied = []
    for number, (things, _) in enumerate(variants):
        run = replace(schedule, length_min=length_min(things.day), warm_up_min=warm_up_min)
        studied.append(jobs_of(run, things.layout, scenario=number))
    losses = iter(run_each([variant for _, variant in variants], studied, settings, take=take))
    days = []
    for things, by_way in ways:
        (layout, area, name, units, day), lost = things, {way: next(losses) for way in by_way}
        of_area = {way: [each[area] for each in replications] for way, replications in lost.items()}
        days.append(DayWithout(schedule, layout, name, units, _standby_text(scenario, things), day, of_area, area))
    return days


class _Things(NamedTuple):
    """All devices of one kind, or all stations, of an area."""

    layout: str
    area: str
    name: str
    units: int
    day: Day

    @property
    def names(self) -> tuple[str, ...]:
        """What they may be asked for by: their kind, and their kind of the area."""
        return (self.name, f"{self.name} of {self.area}") if self.area else (self.name,)


def _asked_for(schedule: Schedule, device: str | None) -> list[_Things]:
    """Devices that layouts may have to do without; only those that are named, or stations, where any are."""
    things = [each for layout in schedule.layouts for each in _limited(schedule.scenario, layout)]
    if device is None:
        return [each for each in things if each.name != STATION]
    named: dict[str, list[_Things]] = {}
    for each in things:
        for name in each.names:
            named.setdefault(name, []).append(each)
    if device not in named:
        file, rule = schedule.scenario.file, f"no such device in these layouts{did_you_mean(device, sorted(named))}"
        raise ScenarioError(file, [Problem(file, 0, 0, "device", rule, f"'{device}'")])
    return named[device]


def _limited(scenario: Scenario, layout: str) -> Iterator[_Things]:
    """Devices and stations of which a layout has a number to exchange with, area by area."""
    for area, site in scenario.areas_of(layout).items():
        plan, day = week_plan(site, layout), usual_day(site)
        counts = {} if plan.exchange is None else {**plan.devices, STATION: plan.stations}
        for name, count in counts.items():
            if count < UNLIMITED:
                yield _Things(layout, area, name, int(count), day)


def _ways(scenario: Scenario, things: _Things) -> dict[str, Scenario]:
    """Scenarios of the day: as it is, without the things, and that without what stands by."""
    usual = scenario.layouts[things.layout]
    outage = Outage.model_validate(
        {"thing": things.name, "units": things.units, "from": things.day.text, "for": "24 h"}
    )
    # Holidays, stated outages and breakdowns are left out: the day is to differ in nothing else.
    calm = scenario.model_copy(update={"week": scenario.week.model_copy(update={"holidays": ()})})

    def with_parts(**parts: object) -> Scenario:
        layout = usual
        for name, area in usual.by_area.items():
            own = parts if name == things.area else {}
            layout = layout.with_area(name, area.model_copy(update={"out": (), "breakdowns": {}, **own}))
        return calm.with_layout(things.layout, layout)

    with_standby = {WITH_STANDBY: with_parts(out=(outage,))} if _standby_text(scenario, things) else {}
    return {AS_IT_IS: with_parts(), **with_standby, WITHOUT: with_parts(out=(outage,), standby=None)}


def _standby_text(scenario: Scenario, things: _Things) -> str:
    """What stands by, in words; nothing stands by for stations."""
    site = scenario.areas_of(things.layout)[things.area]
    standby = site.layouts[things.layout].standby
    if standby is None or things.name == STATION:
        return ""
    devices = week_plan(site, things.layout).standby_devices
    counts = [f"{count:g} {name.replace('_', ' ')}{'s' * (count != 1)}" for name, count in devices.items()]
    return " and ".join(counts) or standby.handling.replace("_", " ")


def _more(hours: float) -> str:
    """Write a difference in whole truck-hours."""
    return f"{_truck_hours(abs(hours))} {'less' if round(hours) < 0 else 'more'}"


def _truck_hours(hours: float) -> str:
    """Write whole truck-hours."""
    whole = round(hours)
    return f"{whole:,} truck-hour{'s' * (whole != 1)}"
