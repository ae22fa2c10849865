"""A run as a log of events, one row each, as spreadsheets and process mining take it."""

from collections.abc import Iterator
from datetime import date
from typing import Any

import numpy as np

from batsim.display import Frame, frame_of
from batsim.measures.truck_lanes import LEAST_MIN
from batsim.measures.windows import Flags, Floats, Whole, Worked, stays
from batsim.record.facts import RunFacts
from batsim.record.record import Record
from batsim.record.words import (
    BEING_CONNECTED,
    BEING_INSPECTED,
    BEING_READ,
    BEING_WASHED,
    BEING_WATERED,
    CHARGE_IN_TRUCK,
    COOLING,
    EXCHANGE,
    PERSONS,
    TASK_STATES,
    TURNED_AWAY,
)
from batsim.scenario.parts.calendar import first_week_min

FIRST_MONDAY = date(2024, 1, 1)
"""Day that stands for the Monday of week 1, where nobody says another."""
EXCHANGED, CHARGED, SHIFT, RUN = "exchange", "charge", "shift", "work on one battery"
WAY, WAIT, IN_STATION, PUT_AWAY, PLUGGED, WAY_BACK = (
    "way to the room", "wait", "truck in the station", "battery put away", "truck plugged in", "way back",
)  # fmt: skip
DONE_TO_BATTERIES = {
    BEING_CONNECTED: "connect",
    COOLING: "cool-down",
    BEING_WATERED: "watering",
    BEING_INSPECTED: "inspection",
    BEING_READ: "readings",
    BEING_WASHED: "wash",
}
"""Activities by the state in which a battery is meanwhile."""
STEPS = (WAY, WAIT, IN_STATION, PUT_AWAY, PLUGGED, WAY_BACK, *DONE_TO_BATTERIES.values())
"""Activities that are a step of a visit, or of what is done to a battery."""
KIND_OF_ACTIVITY = {EXCHANGED: "exchanges", CHARGED: "charges", SHIFT: "trucks", RUN: "trucks"} | dict.fromkeys(
    STEPS, "steps"
)
"""Kind of log, as they are kept on a site, that has rows of an activity."""
TIMES = ("start", "end", "arrived", "truck_free")
COLUMNS = (
    "case", "activity", "resource", "start", "end", "area", "group", "truck", "battery_type", "battery",
    "charged_battery", "arrived", "truck_free", "soc_start_share", "soc_end_share", "charge_ah", "energy_kwh",
    "worked_h",
)  # fmt: skip
AMOUNTS = ("soc_start_share", "soc_end_share", "charge_ah", "energy_kwh", "worked_h")
NUMBERS = frozenset((*TIMES, *AMOUNTS))
KNOWN_AT_THE_END = frozenset(AMOUNTS[1:])
"""Columns that are known when something has ended."""
MINUTES_AN_HOUR, WATTS_A_KILOWATT, SECONDS_A_MINUTE = 60.0, 1000.0, 60.0


def event_log(record: Record, first_monday: date = FIRST_MONDAY) -> Frame:
    """List all that happened in a run as a log of events, the warm-up left out.

    Parameters
    ----------
    record
        What a run of the whole site left behind.
    first_monday
        Day that stands for the Monday of week 1. [date]

    Returns
    -------
    DataFrame
        A row for each event, in the order in which they begin. `case`: the visit of a truck, with the charge and the
        maintenance of the battery that it left; batteries that nobody has brought yet, and shifts, are cases of their
        own. `activity`: `exchange` with its parts (`way to the room`, `wait`, `truck in the station`, `battery put
        away`, `way back`), `charge`, `shift`, and what else is done to batteries. `resource`: station, charger type,
        person or truck. `start` and `end`: local times to the second; no end where the run is over before. Then
        who, and states of charge, ampere-hours, energy and hours worked where the activity has them. A truck whose
        run times are stated has rows of `work on one battery` in place of shifts. Trucks and batteries count from 1.
    """
    log = _Log(record)
    parts = [part for make in (log.visits, log.charges, log.of_batteries, log.shifts) for part in make()]
    rows = {name: [value for part in parts for value in part[name]] for name in COLUMNS}
    starts = np.array(rows["start"], dtype=float)
    order = np.argsort(starts, kind="stable")
    kept = order[starts[order] >= record.facts.warm_up_min]
    frame = frame_of({name: [column[row] for row in kept] for name, column in rows.items()}, list(COLUMNS))
    week_1_min = first_week_min(record.facts.warm_up_min)
    for name in TIMES:
        frame[name] = _local(frame[name].to_numpy(dtype=float) - week_1_min, first_monday)
    return frame


def event_log_csv(frame: Frame) -> str:
    """Write a log of events as CSV: times in ISO 8601, shares to the fourth digit."""
    from batsim.output import csv_text  # noqa: PLC0415 - one use

    digits = {"soc_start_share": 4, "soc_end_share": 4, "charge_ah": 3, "energy_kwh": 4, "worked_h": 4}
    times = {name: frame[name].dt.strftime("%Y-%m-%dT%H:%M:%S").fillna("") for name in TIMES}
    return csv_text(frame.round(digits).assign(**times))


def _local(minutes: Floats, first_monday: date) -> "np.ndarray[Any, np.dtype[np.datetime64]]":
    """Local times of minutes since the first Monday, to the second."""
    seconds = np.round(minutes * SECONDS_A_MINUTE)
    known = np.isfinite(seconds)
    times = np.datetime64(first_monday.isoformat(), "s") + np.where(known, seconds, 0.0).astype("timedelta64[s]")
    return np.where(known, times, np.datetime64("NaT", "s"))


Part = dict[str, list[Any]]
Columns = dict[str, Floats]


class _Log:
    """Rows of the log of one record, activity by activity."""

    def __init__(self, record: Record) -> None:
        self.record, self.facts = record, record.facts
        self.groups = [group for group, count in enumerate(record.facts.group_trucks) for _ in range(count)]
        self.area_of_group = {group: area.name for area in record.facts.areas for group in area.groups}
        rows = record.columns("exchanges")
        self.exchanges = rows
        self.brought = _brought(rows)
        """Of each battery, when it was brought and by which visit."""
        battery, states, since, until = stays(record)
        self.stays = {"battery": battery, "state": states, "start": since, "end": until}
        runs, kept = record.columns("discharges"), [area.in_truck for area in self.facts.area_of_queue]
        pairs = zip(runs["battery"].astype(int).tolist(), runs["truck"].astype(int).tolist(), strict=True)
        self.keeper = {battery: truck for battery, truck in pairs if kept[self.facts.type_numbers[battery]]}
        """Truck that keeps a battery, where that is charged in it."""

    def _part(self, activity: str, times: tuple[Floats, Floats], columns: dict[str, Any]) -> Part:
        """Rows of an activity that begin in the run and take time; what they end with is not known of an open end."""
        start, end = times
        end = np.where(end < self.facts.horizon_min, end, np.nan)
        lasts = np.flatnonzero((start < self.facts.horizon_min) & ~(end - start <= LEAST_MIN))
        columns = columns | {"start": start, "end": end}
        for name in KNOWN_AT_THE_END & columns.keys():
            columns[name] = np.where(np.isnan(end), np.nan, columns[name])
        empty = np.full(start.size, "", dtype=object), np.full(start.size, np.nan)
        taken = {name: columns.get(name, empty[name in NUMBERS])[lasts].tolist() for name in COLUMNS}
        return taken | {"activity": [activity] * lasts.size}

    def visits(self) -> Iterator[Part]:
        """Visits of trucks: the exchange as a whole, and its parts one after another."""
        rows = self.exchanges
        joined, start, free, end, back = (
            rows[name] for name in ("joined_min", "start_min", "truck_free_min", "end_min", "back_min")
        )
        names = np.array([f"visit {number + 1}" for number in range(start.size)], dtype=object)
        who = self._trucks(rows) | self._batteries(rows["discharged"]) | {"case": names}
        at_work = who | {"resource": who["truck"]}
        station = np.array([f"station {int(n) + 1}" if n >= 0 else "" for n in rows["station"]], dtype=object)
        in_station = who | {"resource": station}
        exchange, turned_away = rows["kind"] == EXCHANGE, rows["kind"] == TURNED_AWAY
        served = {
            "arrived": joined, "truck_free": np.where(free < self.facts.horizon_min, free, np.nan),
            "charged_battery": _named("battery", rows["charged"]), "soc_start_share": rows["soc_share"],
        }  # fmt: skip
        came = ~turned_away & ~np.isnan(rows["ready_found"])
        yield self._part(EXCHANGED, _only(exchange, start, end), in_station | served)
        yield self._part(WAY, (rows["left_min"], joined), at_work)
        yield self._part(WAIT, _only(came, joined, start), at_work)
        yield self._part(IN_STATION, _only(exchange, start, free), in_station)
        yield self._part(PUT_AWAY, _only(exchange, free, end), in_station)
        yield self._part(PLUGGED, _only(rows["kind"] == CHARGE_IN_TRUCK, start, free), at_work)
        yield self._part(WAY_BACK, (np.where(turned_away, joined, free), back), at_work)

    def charges(self) -> Iterator[Part]:
        """Charges, from current on to current off."""
        rows = self.record.columns("charges")
        chargers = [*self.facts.chargers, ""]
        given = {
            "resource": np.array([chargers[-1 if np.isnan(n) else int(n)] for n in rows["charger"]], dtype=object),
            "soc_start_share": rows["soc_from_share"], "soc_end_share": rows["soc_to_share"],
            "charge_ah": rows["charged_ah"], "energy_kwh": rows["charged_kwh"],
        }  # fmt: skip
        times = rows["start_min"], rows["end_min"]
        yield self._part(CHARGED, times, self._about(rows["battery"], rows["start_min"]) | given)

    def of_batteries(self) -> Iterator[Part]:
        """What else is done to batteries: connecting, cool-down, watering and other maintenance."""
        work = self.record.columns("work")
        persons = {
            (int(task), start): PERSONS[int(person)]
            for task, start, person in zip(work["task"], work["start_min"], work["person"], strict=True)
        }
        for state, activity in DONE_TO_BATTERIES.items():
            mine = self.stays["state"] == state
            start, end, battery = (self.stays[name][mine] for name in ("start", "end", "battery"))
            tasks = [task for task, (_, done) in TASK_STATES.items() if done == state]
            who = [next((persons[task, at] for task in tasks if (task, at) in persons), "") for at in start]
            resource = {"resource": np.array(who, dtype=object)}
            yield self._part(activity, (start, end), self._about(battery, start) | resource)

    def shifts(self) -> Iterator[Part]:
        """Shifts of trucks with hours worked and energy used; work on batteries where run times are stated."""
        rows = self.record.columns("truck_shifts")
        hours = self._worked_h(rows)
        used = {"worked_h": hours, "energy_kwh": hours * rows["power_w"] / WATTS_A_KILOWATT}
        yield self._part(SHIFT, self._finished(rows), self._own_case(rows) | used)
        runs = self.record.columns("discharges")
        stated = ~np.isin(runs["group"], rows["group"])
        runs = {name: column[stated] for name, column in runs.items()}
        drawn = {
            "worked_h": self._worked_h(runs), "soc_start_share": runs["soc_from_share"],
            "soc_end_share": runs["soc_to_share"], "charge_ah": runs["drawn_ah"], "energy_kwh": runs["drawn_kwh"],
        }  # fmt: skip
        yield self._part(RUN, self._finished(runs), self._own_case(runs) | self._batteries(runs["battery"]) | drawn)

    def _finished(self, rows: Columns) -> tuple[Floats, Floats]:
        """Times of what has ended when the run is over."""
        return _only(rows["end_min"] < self.facts.horizon_min, rows["start_min"], rows["end_min"])

    def _own_case(self, rows: Columns) -> dict[str, Any]:
        """Trucks at their work, each a case."""
        who = self._trucks(rows)
        return who | {"case": who["truck"], "resource": who["truck"]}

    def _trucks(self, rows: Columns) -> dict[str, Any]:
        """Names of trucks, their groups and areas."""
        groups = rows["group"].astype(int)
        return {
            "truck": _named("truck", rows["truck"]),
            "group": np.array([self.facts.groups[group] for group in groups], dtype=object),
            "area": np.array([self.area_of_group[group] for group in groups], dtype=object),
        }

    def _batteries(self, numbers: Floats | Whole) -> dict[str, Any]:
        """Names of batteries and their types."""
        types = [self.facts.battery_types[queue].battery_type for queue in self.facts.type_numbers]
        return {
            "battery": _named("battery", numbers),
            "battery_type": np.array([types[int(n)] if n >= 0 else "" for n in numbers], dtype=object),
        }

    def _about(self, numbers: Floats | Whole, times: Floats) -> dict[str, Any]:
        """Names of batteries out of a truck, their areas, and the visit that brought each; the truck that keeps one."""
        areas = [self.facts.area_of_queue[queue].name for queue in self.facts.type_numbers]
        trucks = np.array([self.keeper.get(int(number), -1) for number in numbers], dtype=int)
        groups = [self.facts.groups[self.groups[truck]] if truck >= 0 else "" for truck in trucks]
        return self._batteries(numbers) | {
            "area": np.array([areas[int(number)] for number in numbers], dtype=object),
            "case": np.array([self._case(int(n), at) for n, at in zip(numbers, times, strict=True)], dtype=object),
            "truck": _named("truck", trucks),
            "group": np.array(groups, dtype=object),
        }

    def _case(self, battery: int, time_min: float) -> str:
        """Visit that brought a battery before a time."""
        times, visits = self.brought.get(battery, (np.empty(0), np.empty(0, dtype=int)))
        last = int(np.searchsorted(times, time_min, side="right")) - 1
        return f"visit {visits[last] + 1}" if last >= 0 else f"battery {battery + 1} at the start"

    def _worked_h(self, rows: Columns) -> Floats:
        """Scheduled hours of trucks in stretches of time, without those in which they are away or stand. [h]"""
        facts, calendars = self.facts, [Worked(windows) for windows in self.facts.group_windows]
        away = _away(self.exchanges, self.record.columns("stands"), facts)
        hours = np.empty(rows["truck"].size)
        columns = (rows[name].tolist() for name in ("truck", "group", "start_min", "end_min"))
        for number, (truck, group, start, end) in enumerate(zip(*columns, strict=True)):
            calendar, left, back = calendars[int(group)], *away.get(int(truck), (np.empty(0), np.empty(0)))
            first, last = np.searchsorted(back, start, side="right"), np.searchsorted(left, end)
            lost = calendar(np.minimum(back[first:last], end)) - calendar(np.maximum(left[first:last], start))
            hours[number] = (calendar.between(start, end) - float(np.sum(lost))) / MINUTES_AN_HOUR
        return hours


def _named(kind: str, numbers: Floats | Whole) -> "np.ndarray[Any, np.dtype[np.object_]]":
    """Names of things by their number, which counts from 1 for people; empty where there is none."""
    return np.array([f"{kind} {int(number) + 1}" if number >= 0 else "" for number in numbers], dtype=object)


def _only(those: Flags, start: Floats, end: Floats) -> tuple[Floats, Floats]:
    """Times of some rows; the others begin never."""
    return np.where(those, start, np.inf), end


def _brought(rows: Columns) -> dict[int, tuple[Floats, Whole]]:
    """Of each battery the times at which visits brought it, and the numbers of these."""
    numbers = np.lexsort((rows["joined_min"], rows["discharged"]))
    batteries, first = np.unique(rows["discharged"][numbers], return_index=True)
    parts = np.split(numbers, first[1:])
    return (
        {int(n): (rows["joined_min"][part], part) for n, part in zip(batteries, parts, strict=True)}
        if len(batteries)
        else {}
    )


def _away(visits: Columns, stands: Columns, facts: RunFacts) -> dict[int, tuple[Floats, Floats]]:
    """When each truck left its work and was back, in order; until the end of the run where it has not come back."""
    trucks = np.concatenate([visits["truck"], stands["truck"]]).astype(int)
    left = np.concatenate([visits["left_min"], stands["start_min"]])
    back = np.fmin(np.concatenate([visits["back_min"], stands["end_min"]]), facts.horizon_min)
    order = np.lexsort((left, trucks))
    names, first = np.unique(trucks[order], return_index=True)
    return {
        int(truck): (left[part], back[part])
        for truck, part in zip(names, np.split(order, first[1:]), strict=True)
    } if len(names) else {}  # fmt: skip
