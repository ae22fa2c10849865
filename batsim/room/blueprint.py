"""A layout worked out once, for all its replications: calendars, cells, profiles, the stages of an exchange."""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

from batsim.errors import Problem, ScenarioError
from batsim.room.battery_plan import BatteryPlan, battery_plan
from batsim.room.clock import ticked
from batsim.room.exchange_plan import ExchangePlan, exchange_plan
from batsim.room.floor_plan import FloorPlan, floor_plan
from batsim.room.timetable import Timetable
from batsim.scenario.chemistry import cell_of
from batsim.scenario.parts.base import UNLIMITED
from batsim.scenario.parts.calendar import (
    Window,
    break_starts,
    first_week_min,
    group_windows,
    mean_shift_min,
    minutes_per_working_day,
    shift_ends,
)
from batsim.scenario.parts.handling import Arrangement
from batsim.scenario.parts.laws import DurationLaw
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.unknowns import NOT_TOGETHER

if TYPE_CHECKING:
    from batsim.formulas.discharge import Cell
    from batsim.scenario.parts.air import Air
    from batsim.scenario.parts.charging_rules import ChargingRules
    from batsim.scenario.parts.layouts import InTruck
    from batsim.scenario.parts.trucks import TruckGroup
    from batsim.scenario.site import Rules, Scenario

ALWAYS_AHEAD = 2 * WEEK_MIN
"""Calendars reach this far beyond the horizon, so that work planned at its end still finds its window."""


@dataclass(frozen=True)
class GroupPlan:
    """One truck group, ready to run."""

    number: int
    truck: "TruckGroup"
    queues: tuple[int, ...]
    """Queue of each truck: the same for all, or one each where trucks keep batteries of their own."""
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
    cell: "Cell"
    """The battery at a first guess of its temperature at work: the stated one, or half way from room to work."""
    air_degc: tuple[float, ...]
    """Air about the trucks in each week. [degC]"""


class CrewShift(NamedTuple):
    """Attendants of one shift."""

    name: str
    attendants: int
    qualified: int
    """How many of them have the skill that the exchange asks for."""
    windows: tuple[Window, ...]
    breaks: frozenset[float]
    """Ends of those windows that a break follows, not the end of the shift. [min]"""


class OutagePlan(NamedTuple):
    """Something that is out of use on stated days."""

    thing: int
    units: int
    from_min: float
    length_min: float


class BreakdownPlan(NamedTuple):
    """How one kind of thing breaks down."""

    thing: int
    every: DurationLaw
    repair: DurationLaw


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
    queues: tuple[BatteryPlan, ...]
    exchange: ExchangePlan | None
    standby: ExchangePlan | None
    """How exchanges are made while the layout's own devices are out."""
    stations: float
    bays: float
    set_down_bays: float
    devices: dict[str, float]
    standby_devices: dict[str, float]
    floor: FloorPlan | None
    breakdowns: tuple[BreakdownPlan, ...]
    outages: tuple[OutagePlan, ...]
    reserve: int
    """Ready batteries of each type kept for the shift change."""
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
    attendants_limited: bool
    drivers_only: bool
    attendant_shifts: tuple[CrewShift, ...]
    """Each manned shift."""
    connect_by_driver: bool
    site_windows: tuple[Window, ...]
    """When trucks of any group work. [min]"""
    minutes_per_working_day: float
    """Site working minutes of a week over its working days. [min]"""


def blueprint(scenario: "Scenario", layout: str, length_min: float, warm_up_min: float) -> Blueprint:
    """Work out a layout for runs of some length after a warm-up. [min]"""
    try:
        return _blueprint(scenario, layout, length_min, warm_up_min)
    except (ValueError, ArithmeticError) as error:
        if not scenario.figures.stated:
            raise
        raise ScenarioError(scenario.file, [Problem(scenario.file, 0, 0, "figures", NOT_TOGETHER)]) from error


def _blueprint(scenario: "Scenario", layout: str, length_min: float, warm_up_min: float) -> Blueprint:
    """Work it out; what does not go together raises a ValueError or an ArithmeticError."""
    stated = scenario.layouts[layout]
    arrangement = scenario.arrangement(layout)
    horizon = ticked(length_min + warm_up_min)
    charging = scenario.charging_of(layout)
    hours = charging.open_windows(horizon + ALWAYS_AHEAD)
    queues, queues_of = _queues(scenario, layout)
    drivers_only = stated.attendants == "drivers"
    shifts = sorted({name for group in scenario.trucks for name in group.shifts})
    plan, standby = _exchanges(scenario, layout, drivers_only=drivers_only or stated.drivers_exchange)
    chargers = {count.charger: 0.0 for count in stated.chargers}
    for count in stated.chargers:
        chargers[count.charger] += count.number
    stations = stated.stations
    if stations is None:
        stations = sum(chargers.values()) if arrangement.in_truck else 1
    every_station = min(stations, sum(queue.trucks for queue in queues))
    bays = stated.bays
    if bays == UNLIMITED or (bays is None and scenario.rules.discharged_on_charge == "at_arrival"):
        bays = sum(queue.batteries for queue in queues) + every_station * arrangement.empty_bays
    elif bays is None:
        spares = sum(queue.batteries - queue.trucks for queue in queues)
        bays = spares + every_station * arrangement.empty_bays
    set_down = stated.set_down_bays
    set_down_each = max([arrangement.set_down_bays, *([standby.set_down_bays] if standby else [])])
    devices = {name: stated.devices.get(name, float(held)) for name, held in (plan.devices if plan else {}).items()}
    if arrangement.in_truck:
        devices = {name: stated.devices.get(name, float(n)) for name, n in arrangement.watering_devices.items()}
    standby_devices = {
        name: stated.standby.devices.get(name, float(held)) if stated.standby is not None else float(held)
        for name, held in (standby.devices if standby else {}).items()
    }
    things = ("station", *devices, *standby_devices, *chargers)
    return Blueprint(
        layout=layout,
        rules=scenario.rules,
        arrangement=arrangement,
        in_truck=stated.in_truck,
        horizon_min=horizon,
        warm_up_min=ticked(warm_up_min),
        groups=tuple(
            _group(scenario, number, queues_of[number], horizon, warm_up_min) for number in range(len(scenario.trucks))
        ),
        queues=queues,
        exchange=plan,
        standby=standby,
        stations=stations,
        bays=bays,
        set_down_bays=max(stations, _at_once(plan, devices)) * set_down_each if set_down is None else set_down,
        devices=devices,
        standby_devices=standby_devices,
        floor=_floor(scenario, layout, bays, stations),
        breakdowns=_breakdowns(scenario, layout, things),
        outages=tuple(
            OutagePlan(
                things.index(each.thing),
                each.units,
                first_week_min(warm_up_min) + ticked(each.from_min),
                each.length_min,
            )
            for each in stated.out
        ),
        reserve=stated.reserve_for_shift_change,
        picking=stated.picking,
        charger_names=tuple(chargers),
        charger_counts=tuple(chargers.values()),
        charger_efficiency=tuple(scenario.chargers[name].efficiency_share for name in chargers),
        charger_power_factor=tuple(scenario.chargers[name].power_factor for name in chargers),
        charger_standby_kw=tuple(scenario.chargers[name].standby_kw for name in chargers),
        charging=charging,
        open_windows=Timetable(hours) if hours else None,
        room_air_degc=_weekly(scenario, scenario.site.room_air, horizon, warm_up_min),
        bound_chargers=arrangement.charger_leads == "bound_to_bay" and UNLIMITED not in chargers.values(),
        attendants_limited=isinstance(stated.attendants, dict),
        drivers_only=drivers_only,
        attendant_shifts=_attendants(scenario, layout, horizon, warm_up_min),
        connect_by_driver=drivers_only or stated.drivers_exchange or arrangement.connects == "driver",
        site_windows=tuple(group_windows(scenario.week, shifts, horizon, warm_up_min)),
        minutes_per_working_day=minutes_per_working_day(scenario.week, shifts),
    )


def _weekly(scenario: "Scenario", air: "Air", horizon: float, warm_up_min: float) -> tuple[float, ...]:
    """Temperature of a zone in each week of a run; the first measured week is the stated calendar week. [degC]"""
    first = scenario.simulation.start_week - warm_up_min / WEEK_MIN
    coldest_week = scenario.figures["site.coldest_week"].value
    return tuple(
        air.in_week(first + week, coldest_week) for week in range(int((horizon + ALWAYS_AHEAD) // WEEK_MIN) + 2)
    )


def _at_once(plan: ExchangePlan | None, devices: dict[str, float]) -> float:
    """Exchanges that the devices allow at once; none where that has no limit."""
    each = [devices[name] // held for name, held in (plan.devices if plan else {}).items() if devices[name] < UNLIMITED]
    return min(each, default=0.0)


def _queues(scenario: "Scenario", layout: str) -> tuple[tuple[BatteryPlan, ...], list[tuple[int, ...]]]:
    """Work out one queue for each battery type, or for each truck that keeps its own; and the queues of each group."""
    queues: list[BatteryPlan] = []
    queues_of: list[tuple[int, ...]] = [()] * len(scenario.trucks)
    for name in dict.fromkeys(group.battery for group in scenario.trucks):
        mine = [number for number, group in enumerate(scenario.trucks) if group.battery == name]
        shared = battery_plan(scenario, layout, len(queues), name)
        if not scenario.trucks[mine[0]].own_batteries:
            for number in mine:
                queues_of[number] = (len(queues),) * scenario.trucks[number].count
            queues.append(shared)
            continue
        each, more = divmod(shared.batteries, shared.trucks)
        first = len(queues)
        for number in mine:
            group = scenario.trucks[number]
            queues_of[number] = tuple(range(len(queues), len(queues) + group.count))
            for position in range(group.count):
                kept = each + (len(queues) - first < more)
                title = f"{name}, {group.group} {position + 1}"
                queues.append(replace(shared, number=len(queues), name=title, trucks=1, batteries=kept))
    return tuple(queues), queues_of


def _exchanges(
    scenario: "Scenario", layout: str, *, drivers_only: bool
) -> tuple[ExchangePlan | None, ExchangePlan | None]:
    """Boil down the steps of a layout's exchanges, and those of its standby method."""
    stated, arrangement, standby = scenario.layouts[layout], scenario.arrangement(layout), scenario.standby(layout)
    if arrangement.in_truck:
        return None, None
    positions = stated.floor is not None
    plan = exchange_plan(arrangement, stated.exchange_time_min, drivers_only=drivers_only, positions=positions)
    if standby is None:
        return plan, None
    return plan, exchange_plan(standby, None, drivers_only=drivers_only, positions=positions)


def _floor(scenario: "Scenario", layout: str, bays: float, stations: float) -> FloorPlan | None:
    """Work out the ways of a layout that states positions."""
    stated, standby = scenario.layouts[layout], scenario.standby(layout)
    if stated.floor is None:
        return None
    devices = list(scenario.arrangement(layout).devices.values())
    return floor_plan(
        stated.floor, int(bays), int(stations), devices, list(standby.devices.values()) if standby else []
    )


def _breakdowns(scenario: "Scenario", layout: str, things: tuple[str, ...]) -> tuple[BreakdownPlan, ...]:
    """Work out what breaks down; `charger` stands for every type of charger."""
    stated = scenario.layouts[layout]
    chargers = list(dict.fromkeys(count.charger for count in stated.chargers))
    found = []
    for name, breakdown in stated.breakdowns.items():
        for thing in chargers if name == "charger" else [name]:
            found.append(BreakdownPlan(things.index(thing), breakdown.every_min, breakdown.repair_min))
    return tuple(found)


def _group(scenario: "Scenario", number: int, queues: tuple[int, ...], horizon: float, warm_up_min: float) -> GroupPlan:
    """Work out one truck group."""
    truck = scenario.trucks[number]
    until = horizon + ALWAYS_AHEAD
    windows = group_windows(scenario.week, truck.shifts, until, warm_up_min)
    always = len(windows) == 1 and windows[0][0] <= 0.0 and windows[0][1] >= until
    shift_min = mean_shift_min(scenario.week, truck.shifts)
    power_w = 0.0
    if truck.duty is not None and truck.run_time_min is None:
        if truck.duty.mean_kw is not None:
            power_w = truck.duty.mean_kw * 1000.0
        else:
            power_w = (truck.duty.energy_per_shift_kwh or 0.0) * 1000.0 / (shift_min / 60.0)
    air = _weekly(scenario, truck.air or scenario.site.room_air, horizon, warm_up_min)
    room = _weekly(scenario, scenario.site.room_air, horizon, warm_up_min)
    way = truck.to_room
    breaks = break_starts(scenario.week, truck.shifts, windows, until, warm_up_min)
    return GroupPlan(
        number=number,
        truck=truck,
        queues=queues,
        windows=tuple(windows),
        timetable=Timetable(windows, always=always),
        breaks=breaks,
        break_starts=tuple(sorted(breaks)),
        shift_ends=shift_ends(scenario.week, truck.shifts, until, warm_up_min),
        demand=tuple(
            scenario.demand.in_week(scenario.simulation.start_week - int(warm_up_min // WEEK_MIN) + week)
            for week in range(int(until // WEEK_MIN) + 2)
        ),
        shift_min=shift_min,
        trip_min=ticked(way.distance_m / way.speed_m_per_min) if way is not None else 0.0,
        power_w=power_w,
        cell=cell_of(
            scenario.batteries[truck.battery],
            scenario.figures,
            (air[0] + room[0]) / 2.0 if truck.temperature_degc is None else truck.temperature_degc,
        ),
        air_degc=air,
    )


def _attendants(scenario: "Scenario", layout: str, horizon: float, warm_up_min: float) -> tuple[CrewShift, ...]:
    """Windows of each manned shift, and which gaps are breaks."""
    skill = next((step.skill for step in scenario.arrangement(layout).steps if step.skill), None)
    by_shift = scenario.layouts[layout].attendants
    if not isinstance(by_shift, dict):
        return ()
    shifts = []
    for name, on_duty in by_shift.items():
        if on_duty:
            windows = group_windows(scenario.week, [name], horizon + ALWAYS_AHEAD, warm_up_min)
            breaks = break_starts(scenario.week, [name], windows, horizon + ALWAYS_AHEAD, warm_up_min)
            shifts.append(CrewShift(name, int(on_duty), on_duty.with_skill(skill), tuple(windows), breaks))
    return tuple(shifts)
