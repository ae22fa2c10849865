"""A day without a device: what it costs, with what stands by and without it, over paired replications."""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from batsim.display import Shows
from batsim.errors import Problem, ScenarioError
from batsim.measures.profile import lost_before
from batsim.measures.windows import Measured
from batsim.room.blueprint import blueprint_of
from batsim.scenario.parts.base import UNLIMITED, did_you_mean
from batsim.scenario.parts.calendar import group_windows, mean_shift_min, overlap_min
from batsim.scenario.parts.week import DAY_MIN, DAYS, WEEK_MIN, clock_text
from batsim.scenario.reading import changed
from batsim.statistics.intervals import Interval, student_interval
from batsim.study.running.executors import run_jobs
from batsim.study.running.jobs import Job
from batsim.study.running.replications import Settings, plain, settings

if TYPE_CHECKING:
    import pandas as pd

    from batsim.measures.windows import Floats
    from batsim.record import Record
    from batsim.scenario.site import Scenario
    from batsim.study.running.executors import Progress

AS_IT_IS, WITH_STANDBY, WITHOUT = "as it is", "out, standby takes over", "out, no standby"


class Day(NamedTuple):
    """The day that is looked at."""

    start_min: float
    """Start after the warm-up. [min]"""
    text: str
    """Such as `week 1 Tue 06:00`."""
    truck_shifts: float
    """Truck-shifts that fall into it."""


class Lost(NamedTuple):
    """Truck minutes lost to batteries."""

    day_min: float
    """On the day itself. [min]"""
    week_min: float
    """In its whole week, and to the end of the day where that reaches beyond. [min]"""


@dataclass(frozen=True, repr=False)
class DayWithout(Shows):
    """One layout on a day without all its devices of one kind, and on the same day as it is."""

    settings: Settings
    layout: str
    device: str
    count: int
    standby: str
    """What stands by, in words; empty when nothing does."""
    day: Day
    found: dict[str, tuple[Lost, ...]]
    """By way: one for each replication."""

    @property
    def in_short(self) -> str:
        """What it is, in a few words."""
        return self.sentence

    def downtime(self, way: str) -> Interval:
        """Downtime on the day. [min per truck-shift]"""
        lost = np.array([each.day_min for each in self.found[way]])
        return student_interval(lost / self.day.truck_shifts, self.settings.confidence)

    def cost_h(self, way: str) -> Interval:
        """Truck hours lost in that week over those of the same week as it is, paired. [h]"""
        extra = [
            after.week_min - before.week_min
            for before, after in zip(self.found[AS_IT_IS], self.found[way], strict=True)
        ]
        return student_interval(np.array(extra) / 60.0, self.settings.confidence)

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
    def frame(self) -> "pd.DataFrame":
        """Tidy table: way, downtime of the day and its limits, truck hours lost in the week over those as it is."""
        import pandas as pd  # noqa: PLC0415 - heavy, and only people need it

        columns = ["way", "day_min_per_truck_shift", "low", "high", "more_truck_hours_in_week"]
        rows = [(way, *self.downtime(way), self.cost_h(way).mean) for way in self.found]
        return pd.DataFrame(rows, columns=columns)

    def as_json(self) -> dict[str, Any]:
        """Everything as plain data for `json.dump`."""
        names = ("mean", "low", "high")
        return {
            "device": self.device,
            "units": self.count,
            "standby": self.standby or None,
            "day": self.day.text,
            "ways": {
                way: {
                    "day_min_per_truck_shift": dict(zip(names, map(plain, self.downtime(way)), strict=True)),
                    "more_truck_hours_in_week": dict(zip(names, map(plain, self.cost_h(way)), strict=True)),
                }
                for way in self.found
            },
            "sentence": self.sentence,
        }


def lost(record: "Record", scenario: "Scenario") -> Lost:
    """Truck minutes lost on the day and in its week. [min]"""
    day, start = usual_day(scenario), record.facts.warm_up_min
    times = start + np.array([day.start_min, day.start_min + DAY_MIN, 0.0, length_min(day)])
    lost_min: Floats = lost_before(Measured(record), times)
    return Lost(float(lost_min[1] - lost_min[0]), float(lost_min[3] - lost_min[2]))


def length_min(day: Day) -> float:
    """Time to simulate after the warm-up: the week, so that what has piled up is seen, and the whole day. [min]"""
    return max(WEEK_MIN, day.start_min + DAY_MIN)


def usual_day(scenario: "Scenario") -> Day:
    """Second day of week 1 on which a shift begins, from its first shift on; the first if it is alone.

    Holidays are left out: it is a usual week.
    """
    shifts = sorted({name for group in scenario.trucks for name in group.shifts})
    starts = sorted(
        {(day, scenario.week.shifts[name].from_min) for name in shifts for day in scenario.week.shifts[name].days}
    )
    days = sorted({day for day, _ in starts})
    day = days[min(1, len(days) - 1)]
    clock = min(from_min for each, from_min in starts if each == day)
    start_min = day * DAY_MIN + clock
    truck_shifts = 0.0
    week = scenario.week.model_copy(update={"holidays": ()})
    for group in scenario.trucks:
        windows = group_windows(week, group.shifts, 3 * WEEK_MIN)
        span = (WEEK_MIN + start_min, WEEK_MIN + start_min + DAY_MIN)
        truck_shifts += group.count * overlap_min(windows, [span]) / mean_shift_min(week, group.shifts)
    return Day(start_min, f"week 1 {DAYS[day]} {clock_text(clock)}", truck_shifts)


def day_without(
    scenario: "Scenario",
    layouts: "list[str] | tuple[str, ...] | str | None" = None,
    device: str | None = None,
    *,
    replications: int | None = None,
    warm_up_weeks: float | None = None,
    seed: int | None = None,
    workers: int | None = None,
    progress: "Progress | None" = None,
) -> list[DayWithout]:
    """Find what a day without a device costs, with what stands by and without it, on the same random numbers.

    Parameters
    ----------
    scenario
        The site, as `read` returns it.
    layouts
        Names of layouts; all of them when not given.
    device
        Name of a device; every kind of device of each layout when not given.
    replications, warm_up_weeks, seed
        In place of what the scenario says; always one week is simulated, after whole weeks of warm-up.
    workers, progress
        As for `run`.

    Returns
    -------
    list of DayWithout
        One for each layout and kind of device; none for layouts that exchange without a limited device.

    Raises
    ------
    ScenarioError
        When a layout is not in the scenario, no layout has a device of that name, or a number is out of range.
    """
    stated = settings(scenario, layouts, replications, None, warm_up_weeks, seed)
    return days_without(stated, device, workers=workers, progress=progress)


def days_without(
    stated: Settings, device: str | None, *, workers: int | None = None, progress: "Progress | None" = None
) -> list[DayWithout]:
    """Do the same for some settings."""
    scenario, day = stated.scenario, usual_day(stated.scenario)
    # A warm-up of part of a week would move week 1, and the day with it, to other weekdays.
    warm_up_min = WEEK_MIN * math.ceil(stated.warm_up_min / WEEK_MIN)
    wanted = []
    for layout in stated.layouts:
        plan = blueprint_of(scenario, layout, WEEK_MIN, 0.0)
        counts = {} if plan.exchange is None else plan.devices
        wanted += [(layout, name, int(count)) for name, count in counts.items() if count < UNLIMITED]
    known = sorted({name for _, name, _ in wanted})
    if device is not None and device not in known:
        rule = f"no such device in these layouts{did_you_mean(device, known)}"
        raise ScenarioError(scenario.file, [Problem(scenario.file, 0, 0, "device", rule, f"'{device}'")])
    wanted = [each for each in wanted if device in (None, each[1])]
    cases = [
        (number, way, of_way) for number, each in enumerate(wanted) for way, of_way in _ways(scenario, *each).items()
    ]
    jobs = [
        Job(wanted[number][0], replication, stated.seed, length_min(day), warm_up_min, position)
        for position, (number, _, _) in enumerate(cases)
        for replication in range(stated.replications)
    ]
    taken = run_jobs([of_way for _, _, of_way in cases], jobs, take=lost, workers=workers, progress=progress)
    found: list[dict[str, tuple[Lost, ...]]] = [{} for _ in wanted]
    for position, (number, way, _) in enumerate(cases):
        count = stated.replications
        found[number][way] = tuple(taken[position * count : (position + 1) * count])
    return [
        DayWithout(stated, layout, name, count, _standby_text(scenario, layout), day, found[number])
        for number, (layout, name, count) in enumerate(wanted)
    ]


def _ways(scenario: "Scenario", layout: str, device: str, count: int) -> dict[str, "Scenario"]:
    """Scenarios of the day: as it is, without the device, and that without what stands by."""
    quote = '"' if "'" in layout else "'"
    path = f"layouts.{quote}{layout}{quote}"
    outage = {"thing": device, "units": count, "from": usual_day(scenario).text, "for": "24 h"}
    # Holidays, stated outages and breakdowns are left out: the day is to differ in nothing else.
    calm = changed(scenario, {"week.holidays": [], f"{path}.out": [], f"{path}.breakdowns": {}})
    out = changed(calm, {f"{path}.out": [outage]})
    if scenario.layouts[layout].standby is None:
        return {AS_IT_IS: calm, WITHOUT: out}
    return {AS_IT_IS: calm, WITH_STANDBY: out, WITHOUT: changed(out, {f"{path}.standby": None})}


def _standby_text(scenario: "Scenario", layout: str) -> str:
    """What stands by, in words."""
    plan = blueprint_of(scenario, layout, WEEK_MIN, 0.0)
    if plan.standby is None:
        return ""
    counts = [f"{count:g} {name.replace('_', ' ')}{'s' * (count != 1)}" for name, count in plan.standby_devices.items()]
    return " and ".join(counts) or scenario.layouts[layout].standby.handling.replace("_", " ")  # type: ignore[union-attr]


def _more(hours: float) -> str:
    """Write a difference in whole truck-hours."""
    return f"{_truck_hours(abs(hours))} {'less' if round(hours) < 0 else 'more'}"


def _truck_hours(hours: float) -> str:
    """Write whole truck-hours."""
    whole = round(hours)
    return f"{whole} truck-hour{'s' * (whole != 1)}"
