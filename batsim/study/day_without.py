"""A day without a device: what it costs, with what stands by and without it, over paired replications."""

import math
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np

from batsim.display import Frame, Shows, frame_of
from batsim.errors import Problem, ScenarioError
from batsim.measures.profile import lost_before
from batsim.measures.windows import Floats, Measured
from batsim.record.record import Record
from batsim.scenario.parts.breakdowns import Outage
from batsim.scenario.parts.calendar import group_windows, mean_shift_min, overlap_min
from batsim.scenario.parts.faults import did_you_mean
from batsim.scenario.parts.kinds import UNLIMITED
from batsim.scenario.parts.week import DAY_MIN, DAYS, WEEK_MIN, clock_text
from batsim.scenario.settings import Schedule, Settings
from batsim.scenario.site import Scenario
from batsim.statistics.intervals import Interval, student_interval
from batsim.study.running.counts import week_plan
from batsim.study.running.executors import run_each
from batsim.study.running.jobs import jobs_of
from batsim.study.running.replications import interval_json

BEGINS = (
    "The day begins with its first shift, the worst hour where trucks come at the change of shifts: one that begins at "
    "another hour may cost less."
)
"""What the hour at which the day begins does to the answer."""
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
    """On the day itself. [min]"""
    week_min: float
    """In its whole week, and to the end of the day where that reaches beyond. [min]"""


@dataclass(frozen=True, repr=False)
class DayWithout(Shows):
    """One layout on a day without all its devices of one kind, and on the same day as it is."""

    schedule: Schedule
    layout: str
    device: str
    count: int
    standby: str
    """What stands by, in words; empty when nothing does."""
    day: Day
    lost: dict[str, list[LostMinutes]]
    """By way: one for each replication."""

    @property
    def in_short(self) -> str:
        """What it is, in a few words."""
        return self.sentence

    @property
    def note(self) -> str:
        """How to read it."""
        return BEGINS

    def downtime(self, way: str) -> Interval:
        """Downtime on the day. [min per truck-shift]"""
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
        word = self.device.replace("_", " ")
        what = f"the {word}" if self.count == 1 else f"all {self.count} {word}s"
        usual, bare = self.downtime(AS_IT_IS).mean, self.downtime(WITHOUT).mean
        bare_hours = self.cost_h(WITHOUT).mean
        start = f"A day without {what} in '{self.layout}' ({self.day.text} for 24 h)"
        if not self.standby:
            return (
                f"{start} stops exchanges: trucks lose {bare:.0f} min per truck-shift that day instead of "
                f"{usual:.0f}, {_more(bare_hours)} in that week. State a 'standby' to see what it would save."
            )
        helped, hours = self.downtime(WITH_STANDBY).mean, self.cost_h(WITH_STANDBY).mean
        return (
            f"{start} is bridged by {self.standby}: trucks lose {helped:.0f} min per truck-shift that day instead of "
            f"{usual:.0f}, {_more(hours)} in that week; without what stands by they would lose {bare:.0f} min per "
            f"truck-shift and {_truck_hours(bare_hours)}."
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


def take(record: Record, scenario: Scenario) -> LostMinutes:
    """Truck minutes lost on the day and in its week. [min]"""
    day, start = usual_day(scenario), record.facts.warm_up_min
    times = start + np.array([day.start_min, day.start_min + DAY_MIN, 0.0, length_min(day)])
    lost_min: Floats = lost_before(Measured(record), times)
    return LostMinutes(float(lost_min[1] - lost_min[0]), float(lost_min[3] - lost_min[2]))


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
        Name of a device; every kind of device of each layout when not given.

    Returns
    -------
    list of DayWithout
        One for each layout and kind of device; none for layouts that exchange without a limited device.

    Raises
    ------
    ScenarioError
        When a layout is not in the scenario, no layout has a device of that name, or a number is out of range.
    """
    schedule, day = replace(settings, weeks=None).schedule(scenario), usual_day(scenario)
    ways = [(kind, _ways(scenario, kind, day)) for kind in _devices(schedule, device)]
    variants = [(kind.layout, variant) for kind, by_way in ways for variant in by_way.values()]
    # A warm-up of part of a week would move week 1, and the day with it, to other weekdays.
    warm_up_min = WEEK_MIN * math.ceil(schedule.warm_up_min / WEEK_MIN)
    run = replace(schedule, length_min=length_min(day), warm_up_min=warm_up_min)
    studied = [jobs_of(run, layout, scenario=number) for number, (layout, _) in enumerate(variants)]
    losses = iter(run_each([variant for _, variant in variants], studied, settings, take=take))
    days = []
    for (layout, name, units), by_way in ways:
        lost = {way: next(losses) for way in by_way}
        days.append(DayWithout(schedule, layout, name, units, _standby_text(scenario, layout), day, lost))
    return days


class _Devices(NamedTuple):
    """All devices of one kind in a layout."""

    layout: str
    name: str
    units: int


def _devices(schedule: Schedule, device: str | None) -> list[_Devices]:
    """Devices that layouts may have to do without; only those of one kind where that is named."""
    scenario, devices = schedule.scenario, []
    for layout in schedule.layouts:
        built = week_plan(scenario, layout)
        counts = {} if built.exchange is None else built.devices
        devices += [_Devices(layout, name, int(count)) for name, count in counts.items() if count < UNLIMITED]
    known = sorted({kind.name for kind in devices})
    if device is not None and device not in known:
        rule = f"no such device in these layouts{did_you_mean(device, known)}"
        raise ScenarioError(scenario.file, [Problem(scenario.file, 0, 0, "device", rule, f"'{device}'")])
    return [kind for kind in devices if device in (None, kind.name)]


def _ways(scenario: Scenario, devices: _Devices, day: Day) -> dict[str, Scenario]:
    """Scenarios of the day: as it is, without the devices, and that without what stands by."""
    usual = scenario.layouts[devices.layout]
    outage = Outage.model_validate({"thing": devices.name, "units": devices.units, "from": day.text, "for": "24 h"})
    # Holidays, stated outages and breakdowns are left out: the day is to differ in nothing else.
    calm = scenario.model_copy(update={"week": scenario.week.model_copy(update={"holidays": ()})})

    def with_parts(**parts: object) -> Scenario:
        return calm.with_layout(devices.layout, usual.model_copy(update={"out": (), "breakdowns": {}, **parts}))

    with_standby = {} if usual.standby is None else {WITH_STANDBY: with_parts(out=(outage,))}
    return {AS_IT_IS: with_parts(), **with_standby, WITHOUT: with_parts(out=(outage,), standby=None)}


def _standby_text(scenario: Scenario, layout: str) -> str:
    """What stands by, in words."""
    standby = scenario.layouts[layout].standby
    if standby is None:
        return ""
    devices = week_plan(scenario, layout).standby_devices
    counts = [f"{count:g} {name.replace('_', ' ')}{'s' * (count != 1)}" for name, count in devices.items()]
    return " and ".join(counts) or standby.handling.replace("_", " ")


def _more(hours: float) -> str:
    """Write a difference in whole truck-hours."""
    return f"{_truck_hours(abs(hours))} {'less' if round(hours) < 0 else 'more'}"


def _truck_hours(hours: float) -> str:
    """Write whole truck-hours."""
    whole = round(hours)
    return f"{whole} truck-hour{'s' * (whole != 1)}"
