"""A layout worked out once, for all its replications: calendars, cells, profiles, the stages of an exchange."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

from batsim.errors import Problem, ScenarioError
from batsim.room.battery_plan import BatteryPlan, battery_plan
from batsim.room.clock import ticked
from batsim.room.exchange_plan import ExchangePlans, exchange_plans
from batsim.room.floor_plan import FloorPlan, floor_plan
from batsim.room.group_plan import ALWAYS_AHEAD, GroupPlan, group_plan, weekly_air
from batsim.room.timetable import Timetable
from batsim.scenario.parts.calendar import (
    Begin,
    Window,
    break_starts,
    first_week_min,
    group_windows,
    minutes_per_working_day,
)
from batsim.scenario.parts.charging_rules import ChargingRules
from batsim.scenario.parts.handling import BOUND_TO_BAY, Arrangement
from batsim.scenario.parts.kinds import UNLIMITED
from batsim.scenario.parts.laws import DurationLaw
from batsim.scenario.parts.layouts import Layout
from batsim.scenario.parts.rules import Rules
from batsim.scenario.site import Scenario
from batsim.scenario.unknowns import NOT_TOGETHER


class AttendantShift(NamedTuple):
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
    rules: Rules
    arrangement: Arrangement
    horizon_min: float
    warm_up_min: float
    groups: tuple[GroupPlan, ...]
    battery_plans: tuple[BatteryPlan, ...]
    """Batteries of each queue, by its number."""
    exchange: ExchangePlans | None
    standby: ExchangePlans | None
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
    charging: ChargingRules
    open_windows: Timetable | None
    """Hours in which current may flow; None when always."""
    room_air_degc: tuple[float, ...]
    """Air of the room in each week. [degC]"""
    bound_chargers: bool
    attendants_limited: bool
    drivers_only: bool
    drivers_exchange: bool
    """Whether drivers exchange batteries in some shift."""
    attendant_shifts: tuple[AttendantShift, ...]
    """Each manned shift."""
    drivers_connect: Timetable | None
    """When drivers who connect batteries are at work; None when they never do."""
    drivers_at_work: Timetable
    """When drivers of any group are at work."""
    site_windows: tuple[Window, ...]
    """When trucks of any group work. [min]"""
    minutes_per_working_day: float
    """Site working minutes of a week over its working days. [min]"""


def blueprint_of(scenario: Scenario, layout: str, length_min: float, warm_up_min: float) -> Blueprint:
    """Work out a layout for runs of some length after a warm-up. [min]"""
    try:
        return _blueprint(scenario, layout, length_min, warm_up_min)
    except (ValueError, ArithmeticError) as error:
        if not scenario.figures.stated:
            raise
        raise ScenarioError(scenario.file, [Problem(scenario.file, 0, 0, "figures", NOT_TOGETHER)]) from error


def _blueprint(scenario: Scenario, name: str, length_min: float, warm_up_min: float) -> Blueprint:
    """Work it out; what does not go together raises a ValueError or an ArithmeticError."""
    scenario = scenario.in_layout(name)
    layout, arrangement = scenario.layouts[name], scenario.arrangement(name)
    horizon_min = ticked(length_min + warm_up_min)
    hours = scenario.charging_of(name).open_windows(horizon_min + ALWAYS_AHEAD)
    battery_plans, queues_of = _battery_plans(scenario, name)
    exchange, standby = _exchanges(scenario, name)
    chargers = _charger_counts(layout)
    stations = layout.stations
    if stations is None:
        stations = sum(chargers.values()) if arrangement.in_truck else 1
    bays = _bays(scenario, name, battery_plans, stations)
    devices = _devices(exchange.attendants.devices if exchange else arrangement.watering_devices, layout.devices)
    standby_devices = _devices(
        standby.attendants.devices if standby else {}, layout.standby.devices if layout.standby else {}
    )
    things = ("station", *devices, *standby_devices, *chargers)
    shifts = sorted({shift for group in scenario.trucks for shift in group.shifts})
    by_drivers = _shifts_by_drivers(scenario, layout)
    start_week = scenario.simulation.start_week
    begin = Begin(warm_up_min, start_week)
    return Blueprint(
        layout=name,
        rules=scenario.rules,
        arrangement=arrangement,
        horizon_min=horizon_min,
        warm_up_min=ticked(warm_up_min),
        groups=tuple(
            group_plan(scenario, layout, number, queues, horizon_min, warm_up_min)
            for number, queues in enumerate(queues_of)
        ),
        battery_plans=battery_plans,
        exchange=exchange,
        standby=standby,
        stations=stations,
        bays=bays,
        set_down_bays=_set_down_bays(layout, exchange, standby, max(stations, _at_once(exchange, devices))),
        devices=devices,
        standby_devices=standby_devices,
        floor=_floor(scenario, name, bays, stations),
        breakdowns=_breakdowns(layout, things),
        outages=_outages(layout, things, first_week_min(warm_up_min)),
        reserve=layout.reserve_for_shift_change,
        picking=layout.picking,
        charger_names=tuple(chargers),
        charger_counts=tuple(chargers.values()),
        charger_efficiency=tuple(scenario.chargers[charger].efficiency_share for charger in chargers),
        charger_power_factor=tuple(scenario.chargers[charger].power_factor for charger in chargers),
        charger_standby_kw=tuple(scenario.chargers[charger].standby_kw for charger in chargers),
        charging=scenario.charging_of(name),
        open_windows=Timetable(hours) if hours else None,
        room_air_degc=weekly_air(scenario, scenario.site.room_air, horizon_min, warm_up_min),
        bound_chargers=arrangement.charger_leads == BOUND_TO_BAY and UNLIMITED not in chargers.values(),
        attendants_limited=isinstance(layout.attendants, dict),
        drivers_only=layout.drivers_only,
        drivers_exchange=bool(by_drivers),
        attendant_shifts=_attendant_shifts(scenario, name, horizon_min + ALWAYS_AHEAD, begin),
        drivers_connect=_connecting(scenario, shifts, by_drivers, horizon_min, begin, arrangement.connects),
        drivers_at_work=Timetable(group_windows(scenario.week, shifts, horizon_min + ALWAYS_AHEAD, begin)),
        site_windows=tuple(group_windows(scenario.week, shifts, horizon_min, begin)),
        minutes_per_working_day=minutes_per_working_day(scenario.week.in_week(start_week), shifts),
    )


def _charger_counts(layout: Layout) -> dict[str, float]:
    """Chargers of each type, in the order in which the layout names them."""
    counts: dict[str, float] = {}
    for count in layout.chargers:
        counts[count.charger] = counts.get(count.charger, 0.0) + count.number
    return counts


def _bays(scenario: Scenario, name: str, battery_plans: tuple[BatteryPlan, ...], stations: float) -> float:
    """Bays: as stated, or enough for every battery out of a truck and every exchange."""
    bays, batteries = scenario.layouts[name].bays, sum(plan.batteries for plan in battery_plans)
    if bays is not None and bays != UNLIMITED:
        return bays
    trucks = sum(plan.trucks for plan in battery_plans)
    out_of_trucks = batteries
    if bays is None and scenario.rules.discharged_on_charge != "at_arrival":
        out_of_trucks = batteries - trucks
    return out_of_trucks + min(stations, trucks) * scenario.arrangement(name).empty_bays


def _set_down_bays(
    layout: Layout, exchange: ExchangePlans | None, standby: ExchangePlans | None, at_once: float
) -> float:
    """Set-down bays: as stated, or enough for as many exchanges as may be under way at once."""
    if layout.set_down_bays is not None:
        return layout.set_down_bays
    return at_once * max(
        (plans.attendants.set_down_bays for plans in (exchange, standby) if plans is not None), default=0
    )


def _devices(held: Mapping[str, int], stated: Mapping[str, float]) -> dict[str, float]:
    """Devices of each kind: as stated, or as many as one exchange holds."""
    return {name: stated.get(name, float(number)) for name, number in held.items()}


def _at_once(exchange: ExchangePlans | None, devices: dict[str, float]) -> float:
    """Exchanges that the devices allow at once; none where that has no limit."""
    held = exchange.attendants.devices if exchange is not None else {}
    return min((devices[name] // number for name, number in held.items() if devices[name] < UNLIMITED), default=0.0)


def _battery_plans(scenario: Scenario, name: str) -> tuple[tuple[BatteryPlan, ...], list[tuple[int, ...]]]:
    """Work out the batteries of each queue, and for each group the queues of its trucks.

    There is a queue for each battery type, or one for each truck where trucks keep batteries of their own.
    """
    plans: list[BatteryPlan] = []
    queues_of: list[tuple[int, ...]] = [()] * len(scenario.trucks)
    for battery in dict.fromkeys(group.battery for group in scenario.trucks):
        groups = [(number, group) for number, group in enumerate(scenario.trucks) if group.battery == battery]
        first = len(plans)
        shared = battery_plan(scenario, name, first, battery)
        if not groups[0][1].own_batteries:
            plans.append(shared)
            for number, group in groups:
                queues_of[number] = (first,) * group.count
            continue
        at_least, more = divmod(shared.batteries, shared.trucks)
        for number, group in groups:
            queues_of[number] = tuple(range(len(plans), len(plans) + group.count))
            for position in range(group.count):
                kept = at_least + (len(plans) - first < more)
                title = f"{battery}, {group.group} {position + 1}"
                plans.append(replace(shared, number=len(plans), name=title, trucks=1, batteries=kept))
    return tuple(plans), queues_of


def _exchanges(scenario: Scenario, name: str) -> tuple[ExchangePlans | None, ExchangePlans | None]:
    """Boil down the steps of a layout's exchanges, and those of its standby method."""
    layout, arrangement, standby = scenario.layouts[name], scenario.arrangement(name), scenario.standby(name)
    if arrangement.in_truck:
        return None, None
    positions = layout.floor is not None
    exchange = exchange_plans(arrangement, layout.exchange_time_min, positions=positions)
    if standby is None:
        return exchange, None
    return exchange, exchange_plans(standby, None, positions=positions)


def _shifts_by_drivers(scenario: Scenario, layout: Layout) -> list[str]:
    """Shifts in which drivers of some group exchange its batteries."""
    return sorted(
        {
            shift
            for group in scenario.trucks
            for shift in group.shifts
            if layout.exchanged_by_drivers(shift, group.group)
        }
    )


def _connecting(
    scenario: Scenario, shifts: list[str], by_drivers: list[str], horizon_min: float, begin: Begin, connects: str
) -> Timetable | None:
    """When drivers who connect batteries are at work: in all shifts, or in those in which they exchange them."""
    connecting = shifts if connects == "driver" else by_drivers
    if not connecting:
        return None
    return Timetable(group_windows(scenario.week, connecting, horizon_min + ALWAYS_AHEAD, begin))


def _floor(scenario: Scenario, name: str, bays: float, stations: float) -> FloorPlan | None:
    """Work out the ways of a layout that states positions."""
    floor, standby = scenario.layouts[name].floor, scenario.standby(name)
    if floor is None:
        return None
    devices = list(scenario.arrangement(name).devices.values())
    return floor_plan(floor, int(bays), int(stations), devices, list(standby.devices.values()) if standby else [])


def _breakdowns(layout: Layout, things: tuple[str, ...]) -> tuple[BreakdownPlan, ...]:
    """Work out what breaks down; `charger` stands for every type of charger."""
    return tuple(
        BreakdownPlan(things.index(thing), breakdown.every_min, breakdown.repair_min)
        for name, breakdown in layout.breakdowns.items()
        for thing in (_charger_counts(layout) if name == "charger" else [name])
    )


def _outages(layout: Layout, things: tuple[str, ...], first_min: float) -> tuple[OutagePlan, ...]:
    """Work out what is out of use on stated days, from the first measured week on. [min]"""
    return tuple(
        OutagePlan(things.index(out.thing), out.units, first_min + ticked(out.from_min), out.length_min)
        for out in layout.out
    )


def _attendant_shifts(scenario: Scenario, name: str, until_min: float, begin: Begin) -> tuple[AttendantShift, ...]:
    """Windows of each manned shift, and which gaps are breaks."""
    skill = next((step.skill for step in scenario.arrangement(name).steps if step.skill), None)
    by_shift = scenario.layouts[name].attendants
    if not isinstance(by_shift, dict):
        return ()
    shifts = []
    for shift, attendants in by_shift.items():
        if attendants:
            windows = group_windows(scenario.week, [shift], until_min, begin)
            breaks = break_starts(scenario.week, [shift], windows, until_min, begin)
            qualified = attendants.with_skill(skill)
            shifts.append(AttendantShift(shift, int(attendants), qualified, tuple(windows), breaks))
    return tuple(shifts)
