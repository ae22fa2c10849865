"""The measured time of a record, and working time as a function of clock time."""

from functools import cached_property
from typing import Any

import numpy as np

from batsim.errors import require
from batsim.record.facts import RunFacts
from batsim.record.record import Record

Floats = np.ndarray[Any, np.dtype[np.float64]]
Whole = np.ndarray[Any, np.dtype[np.intp]]
Flags = np.ndarray[Any, np.dtype[np.bool_]]


def share_of(part: Flags, whole: Flags) -> float:
    """Number in a part over the number in the whole; not a number where the whole is empty."""
    count = int(np.sum(whole))
    return int(np.sum(part)) / count if count else float("nan")


def mean_of(values: Floats) -> float:
    """Mean; not a number where there is nothing to average."""
    return float(np.mean(values)) if values.size else float("nan")


def rate(amount: float, span: float) -> float:
    """Amount for each unit of a span, such as a day or a week; not a number without a span."""
    return amount / span if span else float("nan")


def check_window(from_min: float, to_min: float, window: str = "a window") -> None:
    """Refuse a window that is empty or endless."""
    rule = f"the end of {window} must lie after its start, both finite"
    require(-np.inf < from_min < to_min < np.inf, f"{rule} (got {from_min:g} to {to_min:g} min)")


class Worked:
    """Working minutes up to a clock time, for one calendar."""

    def __init__(self, windows: tuple[tuple[float, float], ...]) -> None:
        edges = np.array(windows, dtype=float).reshape(-1)
        lengths = np.array([0.0] + [end - start for start, end in windows])
        done = np.cumsum(lengths)
        self.edges = edges
        self.done = np.stack([done[:-1], done[1:]], axis=1).reshape(-1)

    def __call__(self, times: Floats) -> Floats:
        """Working minutes before each clock time; constant outside the windows."""
        if not self.edges.size:
            return np.zeros_like(times)
        worked: Floats = np.interp(times, self.edges, self.done)
        return worked

    def between(self, start: float, end: float) -> float:
        """Working minutes between two clock times."""
        both = self(np.array([start, end]))
        return float(both[1] - both[0])


def queue_causes(record: Record) -> list[tuple[Floats, Whole]]:
    """For each queue, since when it waits for what: times and codes of `batsim.record.words.CAUSES`. [min]"""
    rows = record.columns("queues")
    own = (rows["queue"] == queue for queue in range(len(record.facts.battery_types)))
    return [(rows["from_min"][mine], rows["cause"][mine].astype(np.intp)) for mine in own]


def stays(record: Record) -> tuple[Whole, Whole, Floats, Floats]:
    """Battery number, state, start and end of every stay in a state, battery by battery; the last has no end. [min]"""
    rows = record.columns("battery_states")
    number = rows["battery"].astype(np.min_scalar_type(record.facts.batteries))  # short whole numbers sort fast
    order = np.lexsort((rows["from_min"], number))  # stable: of rows at the same instant the last written stays last
    battery, since = number[order], rows["from_min"][order]
    until = np.append(since[1:], np.inf)
    until[np.append(battery[1:] != battery[:-1], True)] = np.inf
    return battery.astype(int), rows["state"][order].astype(int), since, until


class Measured:
    """A record with its warm-up cut off: columns, calendars, and totals that measures divide by."""

    def __init__(self, record: Record) -> None:
        self.record = record
        self.facts: RunFacts = record.facts
        self.start = self.facts.warm_up_min
        self.end = self.facts.horizon_min
        self.minutes = self.end - self.start
        self._columns: dict[str, dict[str, Floats]] = {}

    def columns(self, table: str) -> dict[str, Floats]:
        """Columns of a table, taken from the record once."""
        if table not in self._columns:
            self._columns[table] = self.record.columns(table)
        return self._columns[table]

    def clip(self, times: Floats) -> Floats:
        """Times moved into the measured time; what never came counts as its end."""
        came: Floats = np.where(np.isnan(times), self.end, times)
        return np.clip(came, self.start, self.end)

    def inside(self, times: Floats) -> Flags:
        """Tell which times fall into the measured time, its end left out."""
        return (times >= self.start) & (times < self.end)

    def part_of(self, start: Floats, end: Floats) -> Floats:
        """Share of each row that lies in the measured time, by its length; 0 for what never came."""
        length = np.where(np.isfinite(end), end - start, np.inf)
        inside = self.clip(end) - self.clip(start)
        at_once = self.inside(start).astype(float)
        with np.errstate(invalid="ignore", divide="ignore"):
            part: Floats = np.where(length > 0.0, inside / length, at_once)
        return np.where(np.isnan(start) | np.isnan(end), 0.0, part)

    @cached_property
    def stays(self) -> tuple[Whole, Whole, Floats, Floats]:
        """All stays of batteries in their states."""
        return stays(self.record)

    @cached_property
    def groups(self) -> list[Worked]:
        """Calendar of each truck group."""
        return [Worked(windows) for windows in self.facts.group_windows]

    @cached_property
    def site(self) -> Worked:
        """Calendar of all groups together."""
        return Worked(self.facts.site_windows)

    @cached_property
    def areas(self) -> list[Worked]:
        """Calendar of each area: when trucks of any of its groups work."""
        return [Worked(area.windows) for area in self.facts.areas]

    @cached_property
    def working_days(self) -> float:
        """Working days of the site in the measured time: what a part does in a day is part of what the site does."""
        whole = self.record.whole.facts
        return Worked(whole.site_windows).between(self.start, self.end) / whole.minutes_per_working_day

    @cached_property
    def scheduled_min(self) -> Floats:
        """Scheduled truck minutes of each group. [min]"""
        minutes = [worked.between(self.start, self.end) for worked in self.groups]
        scheduled: Floats = np.array(minutes) * self.facts.group_trucks
        return scheduled

    @cached_property
    def truck_shifts(self) -> float:
        """Truck-shifts in the measured time."""
        return float(np.sum(self.scheduled_min / np.array(self.facts.group_shift_min)))

    @cached_property
    def charged_part(self) -> Floats:
        """Share of each charge that lies in the measured time."""
        return self.part_of(self.columns("charges")["start_min"], self.columns("charges")["end_min"])

    @cached_property
    def discharge_part(self) -> Floats:
        """Share of each discharge that lies in the measured time."""
        return self.part_of(self.columns("discharges")["start_min"], self.columns("discharges")["end_min"])

    @cached_property
    def work_part(self) -> Floats:
        """Share of each stretch of work that lies in the measured time."""
        return self.part_of(self.columns("work")["start_min"], self.columns("work")["end_min"])
