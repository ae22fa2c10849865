"""The worst hour of a run: when most truck-minutes are lost waiting, and who does what in it."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from batsim.measures.profile import QUARTER_HOUR_MIN, lost_before, stayed_before
from batsim.measures.room_course import gaps
from batsim.measures.thing_lanes import STATION, Lane, attendant_lanes, attendants_at, device_lanes, station_lanes
from batsim.measures.truck_lanes import WAITING, TruckLane, truck_lanes
from batsim.measures.windows import Floats, Measured
from batsim.record.facts import RunFacts
from batsim.record.record import Record
from batsim.record.words import CAUSES, NO_ATTENDANT, NO_DEVICE, NO_STATION, NOTHING

HOUR_MIN = 60.0
MOST_TRUCKS = 20
"""Trucks of which lanes are shown at most: more would not be read."""
DIGITS = 6
"""Digits behind the point of minutes that are told apart."""


class Crowd(NamedTuple):
    """The most trucks that wait for one thing at one instant."""

    time_min: float
    """When there are first so many. [min]"""
    trucks: int
    cause: str
    """What they wait for: a word of `batsim.record.words.CAUSES`."""
    thing: str
    """The same by its name, such as a kind of device."""
    number: float
    """How many of it there are; 0 where that says nothing."""
    area: str
    """Area in which they wait; empty where the layout is one."""


@dataclass(frozen=True)
class WorstHour:
    """The hour of a run in which most truck-minutes are lost waiting."""

    facts: RunFacts
    from_min: float
    to_min: float
    waited_min: float
    """Scheduled truck-minutes that are waited in it. [min]"""
    lost_min: float
    """Scheduled truck-minutes that are lost in it in all. [min]"""
    trucks: tuple[TruckLane, ...]
    """Trucks that lose time in it, in the order in which they are served; at most 20, those that wait longest."""
    more: int
    """Trucks that lose time in it beside these."""
    things: tuple[Lane, ...]
    """Stations, then devices: all those of areas that serve these trucks, and those that are busy."""
    attendants: tuple[Lane, ...]
    crowd: Crowd | None
    """None where nobody waits."""
    idle: tuple[tuple[float, float], ...]
    """Stretches of the hour in which no truck works: breaks. [min]"""

    @property
    def trucks_away(self) -> int:
        """Trucks that lose time in it."""
        return len(self.trucks) + self.more


def worst_hour(record: Record) -> WorstHour:
    """Find the hour of the measured weeks of a run in which most truck-minutes are lost waiting.

    Parameters
    ----------
    record
        What a run left behind, see `batsim.simulate`.

    Returns
    -------
    WorstHour
        The hour, which begins at a quarter of an hour, with lanes of trucks, stations, devices and attendants. Where
        nobody waits it is the hour in which most is lost; where nothing is lost, the first, without trucks.
    """
    measured = Measured(record)
    first, last = (int(time // QUARTER_HOUR_MIN) for time in (measured.start, measured.end - HOUR_MIN))
    starts = QUARTER_HOUR_MIN * np.arange(first, max(first, last) + 1, dtype=np.float64)
    waited, lost = (_in_hours(measured, before, starts) for before in (_waited_before, lost_before))
    worst = int(np.argmax(waited if waited.any() else lost))
    begin, end = float(starts[worst]), min(float(starts[worst]) + HOUR_MIN, measured.end)
    trucks = truck_lanes(record, begin, end)
    things = (*station_lanes(record, begin, end), *device_lanes(record, begin, end))
    areas = {record.facts.areas[lane.area].name for lane in trucks}
    longest = sorted(trucks, key=lambda lane: (-lane.waited_min, -lane.away_min))[:MOST_TRUCKS]
    return WorstHour(
        facts=record.facts,
        from_min=begin,
        to_min=end,
        waited_min=float(waited[worst]),
        lost_min=float(lost[worst]),
        trucks=tuple(lane for lane in trucks if lane in longest),
        more=len(trucks) - len(longest),
        things=tuple(lane for lane in things if lane.area in areas or lane.stretches),
        attendants=tuple(attendant_lanes(record, begin, end)),
        crowd=_crowd(record, trucks, begin, end),
        idle=tuple(gaps(record.facts.site_windows, begin, end)),
    )


def _in_hours(measured: Measured, before: Callable[[Measured, Floats], Floats], starts: Floats) -> Floats:
    """What falls into the hours that begin at some instants, of an amount up to each time. [min]"""
    in_hours: Floats = np.round(before(measured, starts + HOUR_MIN) - before(measured, starts), DIGITS)
    return in_hours


def _waited_before(measured: Measured, times: Floats) -> Floats:
    """Scheduled truck-minutes waited from the warm-up's end to each time, all groups. [min]"""
    rows, until = measured.columns("exchanges"), measured.clip(times)
    waited = np.zeros_like(times)
    for number, worked in enumerate(measured.groups):
        mine = rows["group"] == number
        joined, start = (worked(measured.clip(rows[name][mine])) for name in ("joined_min", "start_min"))
        waited += stayed_before(joined, start, worked(until))
    return waited


def _crowd(record: Record, trucks: list[TruckLane], from_min: float, to_min: float) -> Crowd | None:
    """The most trucks that wait for one thing in one area at one instant; None where nobody waits for anything."""
    waits: dict[tuple[str, int], list[tuple[float, int]]] = {}
    for lane in trucks:
        for each in lane.stretches:
            begin, end = max(from_min, each.from_min), min(to_min, each.to_min)
            if each.what == WAITING and each.detail != CAUSES[NOTHING] and begin < end:
                waits.setdefault((each.detail, lane.area), []).extend([(begin, 1), (end, -1)])
    most: Crowd | None = None
    for (cause, area), changes in waits.items():
        number = 0
        for time_min, change in sorted(changes):  # who is served at an instant has gone before another comes
            number += change
            if most is None or number > most.trucks:
                thing, there = _waited_for(record, cause, area, time_min)
                most = Crowd(time_min, number, cause, thing, there, record.facts.areas[area].name)
    return most


def _waited_for(record: Record, cause: str, area: int, time_min: float) -> tuple[str, float]:
    """Name of what trucks of an area wait for, and how many of it there are; 0 where that says nothing."""
    facts = record.facts
    of_area = facts.areas[area]
    if cause == CAUSES[NO_STATION]:
        return "charging spot" if of_area.in_truck else STATION, of_area.stations
    if cause == CAUSES[NO_ATTENDANT]:
        return cause, attendants_at(record, time_min)
    kinds = [kind for kind in of_area.devices if facts.device_counts[kind] > 0.0]
    if cause == CAUSES[NO_DEVICE] and len(kinds) == 1:
        return facts.devices[kinds[0]].replace("_", " "), facts.device_counts[kinds[0]]
    return cause, 0.0
