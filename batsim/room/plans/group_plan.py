"""One truck group worked out once: its calendar, its demand, its mean power, the air about it."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from typing import NamedTuple

from batsim.formulas.discharge import Cell, soc_after
from batsim.room.timing.clock import ticked
from batsim.room.timing.crossing import Crossing
from batsim.room.timing.timetable import Timetable
from batsim.scenario.chemistry import cell_of
from batsim.scenario.parts.air import Air
from batsim.scenario.parts.calendar import (
    Begin,
    Window,
    break_starts,
    group_windows,
    mean_kw,
    mean_shift_min,
    whole_shifts,
)
from batsim.scenario.parts.group_change import CONNECT_BY, MAINTAIN_BY, InTruck
from batsim.scenario.parts.layouts import Layout
from batsim.scenario.parts.trucks import TruckGroup
from batsim.scenario.parts.week import WEEK_MIN, Week
from batsim.scenario.site import Scenario

W_PER_KW = 1000.0
ALWAYS_AHEAD = 2 * WEEK_MIN
"""Calendars reach this far beyond the horizon, so that work planned at its end still finds its window."""


class ByShift(NamedTuple):
    """Who does what with the batteries of a group in one of its shifts."""

    drivers_exchange: bool
    drivers_maintain: bool
    """Whether drivers are named to maintain them."""
    attendants_plug_in: bool
    """Whether attendants are named to plug in trucks that leave their work in this shift."""


@dataclass(frozen=True)
class GroupPlan:
    """One truck group, ready to run."""

    number: int
    truck: TruckGroup
    queues: tuple[int, ...]
    """Number of the queue of each truck: the same for all, or one each where trucks keep batteries of their own."""
    windows: tuple[Window, ...]
    timetable: Timetable
    breaks: frozenset[float]
    """Starts of the gaps that are breaks, not the end of work. [min]"""
    break_starts: tuple[float, ...]
    """The same in order. [min]"""
    crossing: Crossing
    """Its drivers' breaks."""
    shift_starts: tuple[float, ...]
    """When each of its shifts begins, in order. [min]"""
    shift_ends: tuple[float, ...]
    """When each of its shifts ends. [min]"""
    by_shift: tuple[ByShift, ...]
    """Who does what in each of its shifts."""
    in_truck: InTruck
    """Rules for charging in its trucks."""
    shift_power_w: tuple[float, ...]
    """Stated mean power in each shift, its week's demand in it; 0 when run times are given. [W]"""
    shift_use_share: tuple[float, ...]
    """What each shift takes of a charged battery at that power and the temperature of its rating. [-]"""
    demand: tuple[float, ...]
    """Factor on the work in each week. [-]"""
    shift_min: float
    """Mean working minutes of one shift. [min]"""
    trip_min: float
    """Way to the room, one way. [min]"""
    fetch_min: float
    """Time to fetch a truck that has come to a stop with an empty battery. [min]"""
    power_w: float
    """Mean power over its shifts; 0 when run times are given. [W]"""
    cell: Cell
    """The battery at a first guess of its temperature at work: the stated one, or half way from room to work."""
    air_degc: tuple[float, ...]
    """Air about the trucks in each week. [degC]"""


def group_plan(
    scenario: Scenario,
    layout: Layout,
    number: int,
    queues: tuple[int, ...],
    horizon_min: float,
    warm_up_min: float,
) -> GroupPlan:
    """Work out one truck group, for a run up to a horizon after a warm-up. [min]"""
    truck = scenario.trucks[number]
    until_min = horizon_min + ALWAYS_AHEAD
    begin = Begin(warm_up_min, scenario.simulation.start_week)
    windows = group_windows(scenario.week, truck.shifts, until_min, begin)
    breaks = break_starts(scenario.week, truck.shifts, windows, until_min, begin)
    week = scenario.week.in_week(scenario.simulation.start_week)
    shift_min = mean_shift_min(week, truck.shifts)
    air = weekly_air(scenario, truck.air or scenario.site.room_air, horizon_min, warm_up_min)
    room_degc = weekly_air(scenario, scenario.site.room_air, horizon_min, warm_up_min)[0]
    temperature_degc = _usual(truck.temperature_degc, (air[0] + room_degc) / 2.0)
    first_week = scenario.simulation.start_week - int(warm_up_min // WEEK_MIN)
    demand = tuple(scenario.demand.in_week(first_week + week) for week in range(int(until_min // WEEK_MIN) + 2))
    table = Timetable(windows, always=len(windows) == 1 and windows[0][0] <= 0.0 and windows[0][1] >= until_min)
    named = _named(scenario.week, truck.shifts, until_min, begin)
    shifts = sorted(named)
    table.remember(time for shift in shifts for time in shift)
    worked_min = _worked_min(shifts, Timetable(windows), shift_min)
    factors = [demand[int((start + end) / 2.0 // WEEK_MIN)] for start, end in shifts]
    power_w = _powers_w(truck, [named[shift] for shift in shifts], factors, worked_min)
    cell = cell_of(scenario.batteries[truck.battery], scenario.figures, temperature_degc)
    way = truck.to_room
    return GroupPlan(
        number=number,
        truck=truck,
        queues=queues,
        windows=tuple(windows),
        timetable=table,
        breaks=breaks,
        break_starts=tuple(sorted(breaks)),
        crossing=_breaks(windows, breaks),
        shift_starts=tuple(start for start, _ in shifts),
        shift_ends=tuple(end for _, end in shifts),
        by_shift=tuple(_people(layout, named[shift], truck.group) for shift in shifts),
        in_truck=layout.in_truck_of(truck.group),
        shift_power_w=power_w,
        shift_use_share=tuple(map(_use_of(truck, cell), power_w, worked_min, factors)),
        demand=demand,
        shift_min=shift_min,
        trip_min=ticked(way.distance_m / way.speed_m_per_min) if way is not None else 0.0,
        fetch_min=ticked(scenario.figures["truck.fetch"].value),
        power_w=0.0 if truck.duty is None else W_PER_KW * mean_kw(week, truck.shifts, truck.duty),
        cell=cell,
        air_degc=air,
    )


def _named(week: Week, names: tuple[str, ...], until_min: float, begin: Begin) -> dict[Window, str]:
    """Name of the shift of each whole shift that begins before a time. [min]"""
    return {window: name for name in names for window in whole_shifts(week, [name], until_min, begin)}


def _people(layout: Layout, shift: str, group: str) -> ByShift:
    """Settle who does what in one shift of a group."""
    return ByShift(
        drivers_exchange=layout.exchanged_by_drivers(shift, group),
        drivers_maintain=layout.names_drivers(MAINTAIN_BY, shift, group),
        attendants_plug_in=layout.names_attendants(CONNECT_BY, shift, group),
    )


def _usual(stated: float | None, usual: float) -> float:
    """What is stated, or what is usual."""
    return usual if stated is None else stated


def _use_of(truck: TruckGroup, cell: Cell) -> Callable[[float, float, float], float]:
    """What gives the state of charge that a shift takes, by mean power, working minutes and demand. [W, min, -]"""

    @cache
    def use_of(watts: float, minutes: float, factor: float) -> float:
        if truck.run_time_min is not None:
            return min(1.0, (1.0 - truck.exchange_at_share) * factor * minutes / truck.run_time_min.mean)
        return 1.0 - soc_after(1.0, minutes / 60.0, watts, cell)[0]

    return use_of


def _worked_min(shifts: list[Window], table: Timetable, shift_min: float) -> list[float]:
    """Working minutes of each shift; the first may have begun before the run, its energy is still a whole one's."""
    return [max(table.worked(start, end), shift_min if start <= 0.0 else 0.0) for start, end in shifts]


def _breaks(windows: list[Window], starts: frozenset[float]) -> Crossing:
    """Gaps between windows that are breaks."""
    return Crossing([(end, start) for (_, end), (start, _) in pairwise(windows) if end in starts])


def _powers_w(truck: TruckGroup, shifts: list[str], factors: list[float], worked_min: list[float]) -> tuple[float, ...]:
    """Mean power in each of some shifts, by name, demand and working minutes; 0 where run times are stated. [W]"""
    if truck.duty is None:
        return (0.0,) * len(shifts)
    each = zip(shifts, factors, worked_min, strict=True)
    return tuple(factor * (W_PER_KW * truck.duty.kw_in(shift, minutes)) for shift, factor, minutes in each)


def weekly_air(scenario: Scenario, air: Air, horizon_min: float, warm_up_min: float) -> tuple[float, ...]:
    """Temperature of a zone in each week of a run; the first measured week is the stated calendar week. [degC]"""
    first = scenario.simulation.start_week - warm_up_min / WEEK_MIN
    coldest_week = scenario.figures["site.coldest_week"].value
    return tuple(
        air.in_week(first + week, coldest_week) for week in range(int((horizon_min + ALWAYS_AHEAD) // WEEK_MIN) + 2)
    )
