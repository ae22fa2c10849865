"""One truck group worked out once: its calendar, its demand, its mean power, the air about it."""

from dataclasses import dataclass

from batsim.formulas.discharge import Cell
from batsim.room.clock import ticked
from batsim.room.timetable import Timetable
from batsim.scenario.chemistry import cell_of
from batsim.scenario.parts.air import Air
from batsim.scenario.parts.calendar import Window, break_starts, group_windows, mean_shift_min, shift_ends
from batsim.scenario.parts.trucks import TruckGroup
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.site import Scenario

ALWAYS_AHEAD = 2 * WEEK_MIN
"""Calendars reach this far beyond the horizon, so that work planned at its end still finds its window."""


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
    shift_ends: tuple[float, ...]
    """When shifts end, in order. [min]"""
    demand: tuple[float, ...]
    """Factor on the work in each week. [-]"""
    shift_min: float
    """Mean working minutes of one shift. [min]"""
    trip_min: float
    """Way to the room, one way. [min]"""
    power_w: float
    """Mean power at work; 0 when run times are given. [W]"""
    cell: Cell
    """The battery at a first guess of its temperature at work: the stated one, or half way from room to work."""
    air_degc: tuple[float, ...]
    """Air about the trucks in each week. [degC]"""


def group_plan(
    scenario: Scenario, number: int, queues: tuple[int, ...], horizon_min: float, warm_up_min: float
) -> GroupPlan:
    """Work out one truck group, for a run up to a horizon after a warm-up. [min]"""
    truck = scenario.trucks[number]
    until_min = horizon_min + ALWAYS_AHEAD
    windows = group_windows(scenario.week, truck.shifts, until_min, warm_up_min)
    breaks = break_starts(scenario.week, truck.shifts, windows, until_min, warm_up_min)
    shift_min = mean_shift_min(scenario.week, truck.shifts)
    air = weekly_air(scenario, truck.air or scenario.site.room_air, horizon_min, warm_up_min)
    temperature_degc = truck.temperature_degc
    if temperature_degc is None:
        room_air = weekly_air(scenario, scenario.site.room_air, horizon_min, warm_up_min)
        temperature_degc = (air[0] + room_air[0]) / 2.0
    first_week = scenario.simulation.start_week - int(warm_up_min // WEEK_MIN)
    way = truck.to_room
    return GroupPlan(
        number=number,
        truck=truck,
        queues=queues,
        windows=tuple(windows),
        timetable=Timetable(windows, always=len(windows) == 1 and windows[0][0] <= 0.0 and windows[0][1] >= until_min),
        breaks=breaks,
        break_starts=tuple(sorted(breaks)),
        shift_ends=shift_ends(scenario.week, truck.shifts, until_min, warm_up_min),
        demand=tuple(scenario.demand.in_week(first_week + week) for week in range(int(until_min // WEEK_MIN) + 2)),
        shift_min=shift_min,
        trip_min=ticked(way.distance_m / way.speed_m_per_min) if way is not None else 0.0,
        power_w=_mean_power_w(truck, shift_min),
        cell=cell_of(scenario.batteries[truck.battery], scenario.figures, temperature_degc),
        air_degc=air,
    )


def _mean_power_w(truck: TruckGroup, shift_min: float) -> float:
    """Mean power at work, stated as such or as energy over a shift; 0 where run times are stated. [W]"""
    if truck.duty is None or truck.run_time_min is not None:
        return 0.0
    if truck.duty.mean_kw is not None:
        return truck.duty.mean_kw * 1000.0
    return (truck.duty.energy_per_shift_kwh or 0.0) * 1000.0 / (shift_min / 60.0)


def weekly_air(scenario: Scenario, air: Air, horizon_min: float, warm_up_min: float) -> tuple[float, ...]:
    """Temperature of a zone in each week of a run; the first measured week is the stated calendar week. [degC]"""
    first = scenario.simulation.start_week - warm_up_min / WEEK_MIN
    coldest_week = scenario.figures["site.coldest_week"].value
    return tuple(
        air.in_week(first + week, coldest_week) for week in range(int((horizon_min + ALWAYS_AHEAD) // WEEK_MIN) + 2)
    )
