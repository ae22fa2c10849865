"""The course of some weeks as logs tell it: exchanges, waits, charges, energy; of a site and of a run alike."""

import csv
from collections.abc import Callable, Collection, Iterator, Mapping
from functools import cache, cached_property, partial
from pathlib import Path
from typing import NamedTuple

import numpy as np

from batsim.calibration.log_weeks import hours_of, hours_of_shift, shifts_of, stretches_of, working_days
from batsim.calibration.on_hand import Level, Names, at, first_of, next_of
from batsim.display import Frame
from batsim.measures.windows import Flags, Floats, Worked, mean_of
from batsim.scenario.parts.week import DAY_MIN, WEEK_MIN, clock_text
from batsim.scenario.site import Scenario
from batsim.study.event_log import WAY, WAY_BACK

MINUTES_AN_HOUR, HOURS_A_DAY = 60.0, 24
WAITED_MIN = 1.0
"""A wait above this is one that somebody notices. [min]"""
MOST_SHARE = 0.95
"""Share of exchanges whose wait a measure of long waits is not below."""
SITE, GROUP, SHIFT, HOUR = CUTS = ("site", "group", "shift", "hour")
"""How measures are cut."""
Frames = Mapping[str, Frame]
"""Rows of logs by kind."""


class Where(NamedTuple):
    """Part of the site or of the day that a number is about."""

    cut: str = SITE
    """One of `CUTS`."""
    name: str = ""
    """Truck group, shift, or hours such as `14:00-15:00`; empty of the site."""

    @property
    def text(self) -> str:
        """Such as `docks`, `night shift` or `14:00-15:00`; empty of the site."""
        return f"{self.name} shift" if self.cut == SHIFT and "shift" not in self.name.lower() else self.name


class LogMeasure(NamedTuple):
    """What logs say about some weeks."""

    name: str
    of: str
    """What it is made of: events of `EVENTS`, or a level of `LEVELS`."""
    how: str
    """How it is made of them: mean, 95 %, total a day; level, busiest hour, most, least."""
    unit: str
    short: str
    """What it is in a row of others, such as `waits`."""
    label: str
    needs: tuple[str, ...]
    """Columns of logs, such as `exchanges.wait_min`."""
    cuts: tuple[str, ...]
    deciding: tuple[str, ...]
    """Cuts in which it decides whether a model gives a site."""
    meaning: str


Key = tuple[str, Where]
Course = dict[Key, float]


@cache
def log_measures() -> dict[str, LogMeasure]:
    """All that is declared in `course.csv`, by name."""
    with Path(__file__).with_name("course.csv").open(newline="", encoding="utf-8") as lines:
        found = [
            LogMeasure(
                row["name"], row["of"], row["how"], row["unit"], row["short"], row["label"],
                tuple(row["needs"].split()), tuple(row["cuts"].split()), tuple(row["deciding"].split()), row["meaning"],
            )
            for row in csv.DictReader(lines)
        ]  # fmt: skip
    return {measure.name: measure for measure in found}


def course(logs: Frames, weeks: Collection[int], scenario: Scenario) -> Course:
    """Work out what logs say about some weeks.

    Parameters
    ----------
    logs
        Rows of each log by its kind, as `Log.rows` and `logs_of` have them.
    weeks
        Numbers of the weeks that are looked at, from 0; what begins in them counts, as far as they tell it.
    scenario
        The site, with the calendar of week 0 as its week 1 (see `in_calendar`).

    Returns
    -------
    dict
        By measure of `course.csv` and where: the site, a truck group, a shift or an hour of the day. Shares from 0 to
        1. What the columns do not tell is not there.
    """
    told = _Weeks(logs, weeks, scenario)
    numbers: Course = {}
    for measure in log_measures().values():
        if told.has(measure.needs):
            make = _of_level if measure.of in LEVELS else _of_events
            numbers.update({(measure.name, where): number for where, number in make(measure, told)})
    return {key: number for key, number in numbers.items() if np.isfinite(number)}


class _Weeks:
    """Rows of logs that begin in some weeks; what ends after them has not ended."""

    def __init__(self, logs: Frames, weeks: Collection[int], scenario: Scenario) -> None:
        self.scenario, self.weeks = scenario, sorted(set(weeks))
        self.stretches = stretches_of(self.weeks)
        self.until_min = (self.weeks[-1] + 1) * WEEK_MIN
        self.rows = {kind: self._inside(frame) for kind, frame in logs.items() if "week" in frame and len(frame)}

    def _inside(self, frame: Frame) -> dict[str, Floats | Names]:
        """Columns of the rows that begin in the weeks."""
        inside = frame[frame["week"].isin(self.weeks)]
        rows = {str(name): inside[name].to_numpy() for name in inside}
        if "end_min" in rows:
            end = rows["end_min"].astype(float)
            rows["end_min"] = np.where(end > self.until_min, np.nan, end)
        return rows

    def has(self, needs: Collection[str]) -> bool:
        """Whether the logs have such columns."""
        return all(column in self.rows.get(kind, {}) for kind, _, column in (need.partition(".") for need in needs))

    def numbers(self, kind: str, column: str) -> Floats:
        """A column of numbers."""
        return self.rows[kind][column].astype(float)

    def names(self, kind: str, column: str) -> Names:
        """A column of names; empty where the log has none."""
        rows = self.rows[kind]
        return rows[column].astype(object) if column in rows else np.full(rows["start_min"].size, "", dtype=object)

    def things(self, kind: str, column: str) -> Names:
        """Names of things, each with the stretch of weeks, so that nothing goes on over weeks that are left out."""
        starts = [first * WEEK_MIN for first, _ in self.stretches]
        stretch = np.searchsorted(starts, self.numbers(kind, "start_min"), side="right")
        pairs = zip(self.names(kind, column), stretch, strict=True)
        return np.array([f"{number} {name}" if name else None for name, number in pairs], dtype=object)

    def first_min(self, times_min: Floats) -> Floats:
        """Begin of the stretch of weeks in which each time lies. [min]"""
        starts = np.array([first * WEEK_MIN for first, _ in self.stretches])
        begin: Floats = starts[np.searchsorted(starts, times_min, side="right") - 1]
        return begin

    def last_min(self, times_min: Floats) -> Floats:
        """End of the stretch of weeks in which each time lies, or after which it does. [min]"""
        starts, ends = np.array([(first * WEEK_MIN, (last + 1) * WEEK_MIN) for first, last in self.stretches]).T
        end: Floats = ends[np.searchsorted(starts, times_min, side="right") - 1]
        return np.fmax(end, np.nan_to_num(times_min))

    @cached_property
    def days(self) -> list[int]:
        """Working days."""
        return working_days(self.scenario, self.weeks)

    @cached_property
    def day_starts(self) -> Floats:
        """Beginnings of the working days. [min]"""
        return np.array(self.days, dtype=float) * DAY_MIN

    def worked_min(self, groups: Names, from_min: Floats, to_min: Floats) -> Floats:
        """Working minutes of truck groups between times, breaks left out; of the site where a group is not known."""
        worked = np.full(from_min.size, np.nan)
        for name, calendar in self._calendars.items():
            mine = groups == name if name else ~np.isin(groups, [each for each in self._calendars if each])
            between = calendar(np.nan_to_num(to_min[mine])) - calendar(np.nan_to_num(from_min[mine]))
            worked[mine] = np.where(np.isnan(to_min[mine] + from_min[mine]), np.nan, np.maximum(between, 0.0))
        return worked

    @cached_property
    def _calendars(self) -> dict[str, Worked]:
        """When each group works, and under no name when any does."""
        names = {"": shifts_of(self.scenario)} | {group.group: group.shifts for group in self.scenario.trucks}
        return {name: Worked(tuple(hours_of(self.scenario, shifts, self.weeks))) for name, shifts in names.items()}

    @cached_property
    def shift_hours(self) -> dict[str, list[tuple[float, float]]]:
        """When each shift of the trucks works. [min]"""
        return {name: hours_of_shift(self.scenario, name, self.weeks) for name in shifts_of(self.scenario)}


class Events(NamedTuple):
    """Things that happened, one after another."""

    time_min: Floats
    """When, for the hour of the day."""
    values: Floats
    """How much; not a number where that is not known."""
    group: Names
    """Truck group, empty where it is not known."""

    def those(self, flags: Flags) -> "Events":
        """Some of them."""
        return Events(self.time_min[flags], self.values[flags], self.group[flags])


def _column(kind: str, column: str, told: _Weeks, factor: float = 1.0, at: str = "start_min") -> Events:
    """A column of a log as events."""
    return Events(told.numbers(kind, at), factor * told.numbers(kind, column), told.names(kind, "group"))


def _each(kind: str, told: _Weeks) -> Events:
    """Rows of a log, each once."""
    events = _column(kind, "start_min", told)
    return events._replace(values=np.ones(events.time_min.size))


def _wait(told: _Weeks) -> Events:
    """Waits at the time of arrival; where two clocks disagree there was none."""
    events = _column("exchanges", "start_min", told, at="arrived_min")
    return events._replace(values=told.worked_min(events.group, events.time_min, events.values))


def _waited(told: _Weeks) -> Events:
    """Whether each exchange had to wait."""
    events = _wait(told)
    return events._replace(values=np.where(np.isnan(events.values), np.nan, events.values > WAITED_MIN))


def _station(told: _Weeks) -> Events:
    """Times of trucks at the station."""
    events = _column("exchanges", "truck_free_min", told)
    left = np.where(events.values > told.until_min, np.nan, events.values)
    return events._replace(values=left - events.time_min)


def _length(kind: str, told: _Weeks) -> Events:
    """Hours from begin to end."""
    events = _column(kind, "end_min", told)
    return events._replace(values=(events.values - events.time_min) / MINUTES_AN_HOUR)


def _amount_of_ended(column: str, told: _Weeks) -> Events:
    """An amount of charges that have ended."""
    events = _column("charges", column, told)
    return events._replace(values=np.where(np.isnan(told.numbers("charges", "end_min")), np.nan, events.values))


def _away(told: _Weeks) -> Events:
    """From leaving for the room to the end of the way back, truck by truck."""
    step, start, end = told.names("steps", "step"), told.numbers("steps", "start_min"), told.numbers("steps", "end_min")
    out, back = step == WAY, (step == WAY_BACK) & ~np.isnan(end)
    truck = told.things("steps", "truck")
    returned = at(end[back], next_of(truck[out], start[out], truck[back], end[back]))
    group = told.names("steps", "group")[out]
    away_min = told.worked_min(group, start[out], np.where(np.isfinite(returned), returned, np.nan))
    return Events(start[out], away_min, group)


def _stands(told: _Weeks) -> Events:
    """How long batteries stand between the exchange that brought them and their charge. [h]"""
    begun, done = (told.numbers("exchanges", name) for name in ("start_min", "end_min"))
    battery = told.things("exchanges", "battery")
    starts = told.numbers("charges", "start_min")
    charged = at(starts, next_of(battery, begun, told.things("charges", "battery"), starts))
    again = at(begun, next_of(battery, begun, battery, begun))
    own = np.where((charged < again) & np.isfinite(charged), charged, np.nan)
    stood_h = np.maximum(own - done, 0.0) / MINUTES_AN_HOUR
    return Events(done, stood_h, told.names("exchanges", "group"))


EVENTS: dict[str, Callable[[_Weeks], Events]] = {
    "exchange": partial(_each, "exchanges"),
    "wait": _wait,
    "waited": _waited,
    "station": _station,
    "away": _away,
    "soc": partial(_column, "exchanges", "soc_start_share"),
    "charge": partial(_each, "charges"),
    "charge_h": partial(_length, "charges"),
    "charge_ah": partial(_amount_of_ended, "charge_ah"),
    "charged_kwh": partial(_amount_of_ended, "energy_kwh"),
    "used_kwh": partial(_column, "trucks", "energy_kwh"),
    "worked_h": partial(_column, "trucks", "worked_min", factor=1.0 / MINUTES_AN_HOUR),
    "stands": _stands,
}
"""Events by what they are."""


def _of_events(measure: LogMeasure, told: _Weeks) -> Iterator[tuple[Where, float]]:
    """A measure of events, in each of its cuts."""
    events = EVENTS[measure.of](told)
    for cut in measure.cuts:
        for where, flags in _parts(cut, events, told):
            yield where, _number(measure.how, events.those(flags), len(told.days))


def _parts(cut: str, events: Events, told: _Weeks) -> Iterator[tuple[Where, Flags]]:
    """Parts of a cut, with the events of each."""
    if cut == SITE:
        yield Where(), np.ones(events.time_min.size, dtype=bool)
    elif cut == GROUP:
        for group in told.scenario.trucks if np.any(events.group != "") else ():
            yield Where(GROUP, group.group), events.group == group.group
    elif cut == SHIFT:
        for name, hours in told.shift_hours.items():
            yield Where(SHIFT, name), _within(events.time_min, hours)
    else:
        hour = events.time_min % DAY_MIN // MINUTES_AN_HOUR
        yield from ((_hour(number), hour == number) for number in range(HOURS_A_DAY))


def _hour(number: int) -> Where:
    """An hour of the day."""
    begin, end = (clock_text(MINUTES_AN_HOUR * each) for each in (number, number + 1))
    return Where(HOUR, f"{begin}-{end}")


def _within(times_min: Floats, hours: list[tuple[float, float]]) -> Flags:
    """Which times lie in stretches that do not overlap."""
    edges = np.array(hours, dtype=float).reshape(-1)
    inside: Flags = np.searchsorted(edges, times_min, side="right") % 2 == 1
    return inside


def _number(how: str, events: Events, days: int) -> float:
    """What events come to."""
    known = events.values[np.isfinite(events.values)]
    if how == "total a day":
        if not events.values.size:
            return 0.0 if days else float("nan")
        return mean_of(known) * events.values.size / days if days else float("nan")
    if how == "95 %":
        return float(np.quantile(known, MOST_SHARE)) if known.size else float("nan")
    return mean_of(known)


def _on_charge(told: _Weeks) -> Level:
    """Chargers that give current; a charge that has not ended goes on."""
    start, end = told.numbers("charges", "start_min"), told.numbers("charges", "end_min")
    return Level(start, np.where(np.isnan(end), told.until_min, end))


def _ready(told: _Weeks) -> Level:
    """Charged batteries out of trucks: from the end of a charge, or the first week, until they leave or are charged."""
    battery, end = told.things("charges", "battery"), told.numbers("charges", "end_min")
    charged, begun = told.things("exchanges", "charged_battery"), told.numbers("exchanges", "start_min")
    taken = next_of(battery, end, charged, begun)
    again = at(
        told.numbers("charges", "start_min"), next_of(battery, end, battery, told.numbers("charges", "start_min"))
    )
    gone = np.fmin(np.fmin(at(begun, taken), again), told.last_min(end))
    ended = np.isfinite(end)
    # What leaves without a charge in the log was there from the first week, unless it has been seen before: then
    # the row of its charge is missing.
    seen = first_of(np.concatenate([charged, told.things("exchanges", "battery")]), np.concatenate([begun, begun]))
    before = (charged != None) & ~np.isin(np.arange(begun.size), taken) & (seen[: begun.size] == begun)  # noqa: E711
    come = np.concatenate([end[ended], told.first_min(begun[before])])
    return Level(come, np.concatenate([gone[ended], begun[before]]))


LEVELS: dict[str, Callable[[_Weeks], Level]] = {"on_charge": _on_charge, "ready": _ready}
"""Numbers over time by what they are of."""


def _of_level(measure: LogMeasure, told: _Weeks) -> Iterator[tuple[Where, float]]:
    """A measure of a number over time, in each of its cuts."""
    level = LEVELS[measure.of](told)
    if measure.how in ("most", "least"):
        ends = [(first * WEEK_MIN, (last + 1) * WEEK_MIN) for first, last in told.stretches]
        seen = np.concatenate([level.changes(*each) for each in ends])
        yield Where(), float(np.max(seen) if measure.how == "most" else np.min(seen))
        return
    begins = [told.day_starts + number * MINUTES_AN_HOUR for number in range(HOURS_A_DAY)]
    by_hour = [level.mean(begin, begin + MINUTES_AN_HOUR) for begin in begins]
    yield Where(), max(by_hour) if measure.how == "busiest hour" else float(np.mean(by_hour))
    if HOUR in measure.cuts:
        yield from ((_hour(number), mean) for number, mean in enumerate(by_hour))
