"""The minutes of a truck-shift: breaks, what is lost to the battery by cause, and what is left for work."""

from collections.abc import Mapping
from dataclasses import dataclass

from batsim.measures.names import LOST_TO, PARTS
from batsim.scenario.parts.calendar import mean_shift_min
from batsim.scenario.parts.week import Week
from batsim.scenario.settings import Schedule
from batsim.statistics.intervals import Interval
from batsim.study.running.runs import DOWNTIME, Runs


@dataclass(frozen=True)
class TruckShift:
    """The mean truck-shift of a layout, from its start to its end."""

    layout: str
    whole_min: float
    """From the start of the shift to its end. [min]"""
    scheduled_min: float
    """The same without breaks and handover. [min]"""
    lost: Mapping[str, float]
    """Scheduled minutes lost by cause, a word of `batsim.measures.names.PARTS`. [min]"""
    downtime: Interval
    """All of them, with their interval. [min]"""

    @property
    def breaks_min(self) -> float:
        """Breaks and handover. [min]"""
        return self.whole_min - self.scheduled_min

    @property
    def working_min(self) -> float:
        """What is left for work. [min]"""
        return self.scheduled_min - self.downtime.mean


def truck_shift(runs: Runs, layout: str) -> TruckShift:
    """Take the mean truck-shift of a layout from its runs.

    Parameters
    ----------
    runs
        Of normal weeks or of a season.
    layout
        Name of one of their layouts.

    Returns
    -------
    TruckShift
        Means over the replications; lengths of shifts are those of the calendar, each as often as it is worked.
    """
    week = _week_of(runs.schedule)
    without = {"breaks": (), "handover_min": 0.0}
    whole = {name: shift.model_copy(update=without) for name, shift in week.shifts.items()}
    whole_week = week.model_copy(update={"shifts": whole})
    whole_min, scheduled_min = (_mean_min(runs, layout, of) for of in (whole_week, week))
    return TruckShift(layout, whole_min, scheduled_min, lost_minutes(runs, layout), runs.interval(layout, DOWNTIME))


def lost_minutes(runs: Runs, layout: str) -> dict[str, float]:
    """Scheduled minutes of the mean truck-shift that are lost, by cause. [min]"""
    return {part: runs.interval(layout, f"{part}_min_per_truck_shift").mean for part in PARTS}


def lost_to(lost: Mapping[str, float]) -> dict[str, float]:
    """Minutes lost by cause put together by what they are lost to, a word of `batsim.measures.names.LOST_TO`. [min]"""
    return {word: sum(lost[part] for part in parts) for word, parts in LOST_TO.items()}


def _week_of(schedule: Schedule) -> Week:
    """The week that is run."""
    week = schedule.scenario.week
    return week.in_normal_weeks() if schedule.season is None else week.in_week(schedule.season.first)


def _mean_min(runs: Runs, layout: str, week: Week) -> float:
    """Mean length of the shifts of all trucks, each as often as it is worked in a week. [min]"""
    trucks = runs.scenario.in_layout(layout).trucks
    often = [group.count * sum(len(week.shifts[name].days) for name in group.shifts) for group in trucks]
    lengths = [mean_shift_min(week, group.shifts) for group in trucks]
    whole = sum(length * number for length, number in zip(lengths, often, strict=True))
    return whole / sum(often) if any(often) else float("nan")
