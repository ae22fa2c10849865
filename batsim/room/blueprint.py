"""A layout worked out once, for all its replications: calendars, cells, profiles, the stages of an exchange."""

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from batsim.room.clock import ticked
from batsim.room.line_plan import LinePlan, line_plan
from batsim.room.timetable import Timetable
from batsim.scenario.base import UNLIMITED
from batsim.scenario.calendar import Window, break_starts, group_windows, mean_shift_min, minutes_per_working_day
from batsim.scenario.chemistry import cell_of
from batsim.scenario.handling import Arrangement, Hands, Step
from batsim.scenario.laws import DurationLaw
from batsim.scenario.week import WEEK_MIN

if TYPE_CHECKING:
    from batsim.formulas.discharge import Cell
    from batsim.scenario.air import Air
    from batsim.scenario.charging_rules import ChargingRules
    from batsim.scenario.layouts import InTruck
    from batsim.scenario.site import Rules, Scenario
    from batsim.scenario.trucks import TruckGroup

ALWAYS_AHEAD = 2 * WEEK_MIN
"""Calendars reach this far beyond the horizon, so that work planned at its end still finds its window."""


@dataclass(frozen=True)
class GroupPlan:
    """One truck group, ready to run."""

    number: int
    truck: "TruckGroup"
    line: int
    windows: tuple[Window, ...]
    timetable: Timetable
    breaks: frozenset[float]
    """Starts of the gaps that are breaks, not the end of work. [min]"""
    shift_min: float
    """Mean working minutes of one shift. [min]"""
    trip_min: float
    """Way to the room, one way. [min]"""
    power_w: float
    """Mean power at work; 0 when run times are given. [W]"""
    cell: "Cell"
    """The battery at a first guess of its temperature at work: the stated one, or half way from room to work."""
    air_degc: tuple[float, ...]
    """Air about the trucks in each week. [degC]"""


class Instant(NamedTuple):
    """An instant of an exchange that has to happen: the truck leaves, people are free, or all is done."""

    step: int
    """Number of the step that ends then."""
    truck: bool
    """Whether the truck leaves, and with it the station is free."""
    end: bool
    """Whether it is the end: the spent battery stands in its place."""
    people: bool
    """Whether the attendants are free."""


@dataclass(frozen=True)
class ExchangePlan:
    """The steps of an exchange, boiled down to when what is given back, and to minutes of work."""

    laws: tuple[tuple[str, DurationLaw], ...]
    """Name and duration of each step."""
    hands: tuple[Hands, ...]
    """Who is busy with each step."""
    attendants: int
    """Attendants held from the start to their last step."""
    devices: dict[str, int]
    """Devices held from the start to their last step."""
    device_steps: dict[str, int]
    """Number of the last step that holds each device."""
    empty_places: int
    """Empty places taken at the start."""
    instants: tuple[Instant, ...]
    """When what is given back, in order; devices are free again without anything having to happen."""

    @cached_property
    def step_weights(self) -> "np.ndarray[tuple[int, int], np.dtype[np.float64]]":
        """Weights that leave the step times as they are."""
        return np.eye(len(self.hands))

    @property
    def ends(self) -> tuple[int, ...]:
        """Last steps of the instants, then of the devices, in the order of the exchange's times."""
        return (*(instant.step for instant in self.instants), *self.device_steps.values())

    @cached_property
    def weights(self) -> "np.ndarray[tuple[int, int], np.dtype[np.float64]]":
        """Weights of step times in: attendant minutes, driver minutes, each instant, each device free."""
        rows = [
            [float(hands.attendants) for hands in self.hands],
            [float(hands.drivers) for hands in self.hands],
            *([float(step <= last) for step in range(len(self.hands))] for last in self.ends),
        ]
        return np.array(rows).T


@dataclass(frozen=True)
class Blueprint:
    """One layout of a scenario, ready to run."""

    layout: str
    rules: "Rules"
    arrangement: Arrangement
    in_truck: "InTruck"
    horizon_min: float
    warm_up_min: float
    groups: tuple[GroupPlan, ...]
    lines: tuple[LinePlan, ...]
    exchange: ExchangePlan | None
    stations: float
    places: float
    devices: dict[str, float]
    picking: str
    charger_names: tuple[str, ...]
    charger_counts: tuple[float, ...]
    charger_efficiency: tuple[float, ...]
    charger_power_factor: tuple[float, ...]
    charger_standby_kw: tuple[float, ...]
    charging: "ChargingRules"
    open_windows: Timetable | None
    """Hours in which current may flow; None when always."""
    room_air_degc: tuple[float, ...]
    """Air of the room in each week. [degC]"""
    bound_chargers: bool
    crew_limited: bool
    drivers_only: bool
    crew_shifts: tuple[tuple[int, tuple[Window, ...], frozenset[float]], ...]
    """Attendants, working windows and starts of breaks of each manned shift."""
    connect_by_driver: bool
    site_windows: tuple[Window, ...]
    """When trucks of any group work. [min]"""
    minutes_per_working_day: float
    """Site working minutes of a week over its working days. [min]"""


def blueprint(scenario: "Scenario", layout: str, length_min: float, warm_up_min: float) -> Blueprint:
    """Work out a layout for runs of some length after a warm-up. [min]"""
    stated = scenario.layouts[layout]
    arrangement = scenario.arrangement(layout)
    horizon = ticked(length_min + warm_up_min)
    names = list(dict.fromkeys(group.battery for group in scenario.trucks))
    charging = scenario.charging_of(layout)
    hours = charging.open_windows(horizon + ALWAYS_AHEAD)
    lines = tuple(line_plan(scenario, layout, number, name) for number, name in enumerate(names))
    drivers_only = stated.crew == "drivers"
    shifts = sorted({name for group in scenario.trucks for name in group.shifts})
    plan = None if arrangement.in_truck else _exchange(scenario, layout, drivers_only=drivers_only)
    chargers = {count.charger: 0.0 for count in stated.chargers}
    for count in stated.chargers:
        chargers[count.charger] += count.number
    stations = stated.stations
    if stations is None:
        stations = sum(chargers.values()) if arrangement.in_truck else 1
    every_station = min(stations, sum(line.trucks for line in lines))
    places = stated.places
    if places == UNLIMITED or (places is None and scenario.rules.spent_release == "at_arrival"):
        places = sum(line.batteries for line in lines) + every_station * arrangement.empty_places
    elif places is None:
        spares = sum(line.batteries - line.trucks for line in lines)
        places = spares + every_station * arrangement.empty_places
    return Blueprint(
        layout=layout,
        rules=scenario.rules,
        arrangement=arrangement,
        in_truck=stated.in_truck,
        horizon_min=horizon,
        warm_up_min=ticked(warm_up_min),
        groups=tuple(_group(scenario, number, names, horizon, warm_up_min) for number in range(len(scenario.trucks))),
        lines=lines,
        exchange=plan,
        stations=stations,
        places=places,
        devices={
            name: stated.devices.get(name, float(count)) for name, count in (plan.devices if plan else {}).items()
        },
        picking=stated.picking,
        charger_names=tuple(chargers),
        charger_counts=tuple(chargers.values()),
        charger_efficiency=tuple(scenario.chargers[name].efficiency_share for name in chargers),
        charger_power_factor=tuple(scenario.chargers[name].power_factor for name in chargers),
        charger_standby_kw=tuple(scenario.chargers[name].standby_kw for name in chargers),
        charging=charging,
        open_windows=Timetable(hours) if hours else None,
        room_air_degc=_weekly(scenario, scenario.site.room_air, horizon, warm_up_min),
        bound_chargers=arrangement.charger_leads == "bound_to_place" and UNLIMITED not in chargers.values(),
        crew_limited=isinstance(stated.crew, dict) and not arrangement.in_truck,
        drivers_only=drivers_only or arrangement.in_truck,
        crew_shifts=_crew(scenario, layout, horizon, warm_up_min),
        connect_by_driver=drivers_only or arrangement.connects == "driver",
        site_windows=tuple(group_windows(scenario.week, shifts, horizon, warm_up_min)),
        minutes_per_working_day=minutes_per_working_day(scenario.week, shifts),
    )


def _weekly(scenario: "Scenario", air: "Air", horizon: float, warm_up_min: float) -> tuple[float, ...]:
    """Temperature of a zone in each week of a run; the first measured week is the stated calendar week. [degC]"""
    first = scenario.simulation.start_week - warm_up_min / WEEK_MIN
    return tuple(air.in_week(first + week) for week in range(int((horizon + ALWAYS_AHEAD) // WEEK_MIN) + 2))


def _group(scenario: "Scenario", number: int, lines: list[str], horizon: float, warm_up_min: float) -> GroupPlan:
    """Work out one truck group."""
    truck = scenario.trucks[number]
    until = horizon + ALWAYS_AHEAD
    windows = group_windows(scenario.week, truck.shifts, until, warm_up_min)
    always = len(windows) == 1 and windows[0][0] <= 0.0 and windows[0][1] >= until
    shift_min = mean_shift_min(scenario.week, truck.shifts)
    power_w = 0.0
    if truck.draws is not None and truck.run_time_min is None:
        if truck.draws.mean_kw is not None:
            power_w = truck.draws.mean_kw * 1000.0
        else:
            power_w = (truck.draws.energy_per_shift_kwh or 0.0) * 1000.0 / (shift_min / 60.0)
    air = _weekly(scenario, truck.air or scenario.site.room_air, horizon, warm_up_min)
    room = _weekly(scenario, scenario.site.room_air, horizon, warm_up_min)
    way = truck.to_room
    return GroupPlan(
        number=number,
        truck=truck,
        line=lines.index(truck.battery),
        windows=tuple(windows),
        timetable=Timetable(windows, always=always),
        breaks=break_starts(scenario.week, truck.shifts, windows, until),
        shift_min=shift_min,
        trip_min=ticked(way.distance_m / way.speed_m_per_min) if way is not None else 0.0,
        power_w=power_w,
        cell=cell_of(
            scenario.batteries[truck.battery],
            (air[0] + room[0]) / 2.0 if truck.temperature_degc is None else truck.temperature_degc,
        ),
        air_degc=air,
    )


def _exchange(scenario: "Scenario", layout: str, *, drivers_only: bool) -> ExchangePlan:
    """Boil the steps down; a time for the whole exchange stands in place of them all."""
    arrangement, stated = scenario.arrangement(layout), scenario.layouts[layout]
    steps = list(arrangement.steps)
    if stated.exchange_time_min is not None:
        whole = {"step": "exchange", "by": "attendant", "time": "0 min"}
        one = Step.model_validate(whole).model_copy(update={"time_min": stated.exchange_time_min})
        steps = [one]
    hands = [_by_driver(step.by) if drivers_only else step.by for step in steps]
    last = len(steps) - 1
    truck_step = last if drivers_only else max(n for n, step in enumerate(steps) if step.truck == "waits")
    people_step = max((n for n, each in enumerate(hands) if each.attendants), default=-1)
    device_steps = {
        name: max((n for n, step in enumerate(steps) if step.device == name), default=truck_step)
        for name in arrangement.devices
    }
    ends = sorted({truck_step, last, *({people_step} - {-1})})
    return ExchangePlan(
        laws=tuple((f"{number} {step.step}", step.law) for number, step in enumerate(steps)),
        hands=tuple(hands),
        attendants=max(each.attendants for each in hands),
        devices=dict(arrangement.devices),
        device_steps=device_steps,
        empty_places=arrangement.empty_places,
        instants=tuple(Instant(step, step == truck_step, step == last, step == people_step) for step in ends),
    )


def _by_driver(hands: Hands) -> Hands:
    """Let the driver do what attendants would."""
    return Hands(0, 1) if hands.attendants or hands.drivers else hands


def _crew(
    scenario: "Scenario", layout: str, horizon: float, warm_up_min: float
) -> tuple[tuple[int, tuple[Window, ...], frozenset[float]], ...]:
    """Windows of each manned shift, and which gaps are breaks."""
    crew = scenario.layouts[layout].crew
    if not isinstance(crew, dict):
        return ()
    shifts = []
    for name, count in crew.items():
        if count:
            windows = group_windows(scenario.week, [name], horizon + ALWAYS_AHEAD, warm_up_min)
            breaks = break_starts(scenario.week, [name], windows, horizon + ALWAYS_AHEAD)
            shifts.append((count, tuple(windows), breaks))
    return tuple(shifts)
