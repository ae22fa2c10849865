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
from batsim.scenario.parts.layouts import Layout, OnDuty
from batsim.scenario.parts.rules import Rules
from batsim.scenario.site import Scenario
from batsim.scenario.unknowns import NOT_TOGETHER


class AttendantShift(NamedTuple):
    """Attendants of one shift."""

    on_duty: OnDuty
    """How many, and how many of them are qualified for what."""
    windows: tuple[Window, ...]
    breaks: frozenset[float]
    """Ends of those windows that a break follows, not the end of the shift. [min]"""


@dataclass(frozen=True)
class ChargerPlan:
    """Chargers of one type in one area."""

    name: str
    count: float
    efficiency_share: float
    power_factor: float
    standby_kw: float


class OutagePlan(NamedTuple):
    """Something that is out of use on stated days."""

    thing: int
    """Number among the things of its area."""
    units: int
    from_min: float
    length_min: float


class BreakdownPlan(NamedTuple):
    """How one kind of thing breaks down."""

    thing: int
    """Number among the things of its area."""
    every: DurationLaw
    repair: DurationLaw


@dataclass(frozen=True)
class AreaPlan:
    """One area of a layout, ready to run."""

    number: int
    name: str
    """Empty where the layout is one area."""
    arrangement: Arrangement
    group_numbers: tuple[int, ...]
    """Numbers of the truck groups that it serves."""
    battery_plans: tuple[BatteryPlan, ...]
    """Batteries of each of its queues, in the order of their numbers, which run over all areas."""
    exchange: ExchangePlans | None
    standby: ExchangePlans | None
    """How exchanges are made while the area's own devices are out."""
    stations: float
    bays: float
    set_down_bays: float
    devices: dict[str, float]
    standby_devices: dict[str, float]
    first_device: int
    """Number of its first kind of device among those of all areas."""
    floor: FloorPlan | None
    breakdowns: tuple[BreakdownPlan, ...]
    outages: tuple[OutagePlan, ...]
    reserve: int
    """Ready batteries of each type kept for the shift change."""
    picking: str
    first_charger: int
    """Number of its first charger type among those of all areas."""
    chargers: tuple[ChargerPlan, ...]
    bound_chargers: bool
    attendants_limited: bool
    drivers_only: bool
    drivers_exchange: bool
    """Whether drivers exchange batteries in some shift."""
    own_shifts: tuple[AttendantShift, ...]
    """Manned shifts of its own attendants."""
    shares_attendants: bool
    """Whether the attendants of the layout work here too."""
    skill: str | None
    """What its exchanges ask one of the attendants to be qualified for."""
    drivers_connect: Timetable | None
    """When drivers who connect batteries are at work; None when they never do."""
    drivers_at_work: Timetable
    """When drivers of any of its groups are at work."""

    @property
    def charger_counts(self) -> dict[str, float]:
        """Chargers of each type, by name."""
        return {charger.name: charger.count for charger in self.chargers}

    @property
    def things(self) -> tuple[str, ...]:
        """Kinds of thing that may be out of use: stations, devices, chargers."""
        return ("station", *self.devices, *self.standby_devices, *(charger.name for charger in self.chargers))

    def of_area(self, entity: str) -> str:
        """Name of an entity of this area, for its random streams."""
        return f"{entity} in {self.name}" if self.name else entity


@dataclass(frozen=True)
class Blueprint:
    """One layout of a scenario, ready to run: its areas, and what they share."""

    layout: str
    rules: Rules
    horizon_min: float
    warm_up_min: float
    groups: tuple[GroupPlan, ...]
    areas: tuple[AreaPlan, ...]
    charging: ChargingRules
    open_windows: Timetable | None
    """Hours in which current may flow; None when always."""
    room_air_degc: tuple[float, ...]
    """Air of the room in each week. [degC]"""
    shared_shifts: tuple[AttendantShift, ...]
    """Manned shifts of the attendants whom areas share."""
    site_windows: tuple[Window, ...]
    """When trucks of any group work. [min]"""
    minutes_per_working_day: float
    """Site working minutes of a week over its working days. [min]"""

    @property
    def battery_plans(self) -> tuple[BatteryPlan, ...]:
        """Batteries of each queue, by its number."""
        return tuple(plan for area in self.areas for plan in area.battery_plans)

    @property
    def chargers(self) -> tuple[ChargerPlan, ...]:
        """Charger types of all areas, by their numbers."""
        return tuple(charger for area in self.areas for charger in area.chargers)


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
    layout = scenario.layouts[name]
    horizon_min = ticked(length_min + warm_up_min)
    start_week = scenario.simulation.start_week
    run = _Run(horizon_min, warm_up_min, Begin(warm_up_min, start_week))
    hours = scenario.charging_of(name).open_windows(horizon_min + ALWAYS_AHEAD)
    areas: list[AreaPlan] = []
    queues_of: dict[str, tuple[int, ...]] = {}
    for area, site in scenario.areas_of(name).items():
        areas.append(_area_plan(scenario, site, _Place(name, area, tuple(areas)), queues_of, run))
    shifts = sorted({shift for group in scenario.trucks for shift in group.shifts})
    return Blueprint(
        layout=name,
        rules=scenario.rules,
        horizon_min=horizon_min,
        warm_up_min=ticked(warm_up_min),
        groups=tuple(
            group_plan(scenario, layout, number, queues_of[group.group], horizon_min, warm_up_min)
            for number, group in enumerate(scenario.trucks)
        ),
        areas=tuple(areas),
        charging=scenario.charging_of(name),
        open_windows=Timetable(hours) if hours else None,
        room_air_degc=weekly_air(scenario, scenario.site.room_air, horizon_min, warm_up_min),
        shared_shifts=_attendant_shifts(scenario, layout.attendants, run) if layout.areas else (),
        site_windows=tuple(group_windows(scenario.week, shifts, horizon_min, run.begin)),
        minutes_per_working_day=minutes_per_working_day(scenario.week.in_week(start_week), shifts),
    )


class _Run(NamedTuple):
    """Length of a run: its end, its warm-up and the week in which it begins."""

    horizon_min: float
    warm_up_min: float
    begin: Begin


class _Place(NamedTuple):
    """Which area of which layout is worked out, after which others: numbers go on from theirs."""

    layout: str
    area: str
    before: tuple[AreaPlan, ...]

    @property
    def first_queue(self) -> int:
        """Number of the first queue."""
        return sum(len(area.battery_plans) for area in self.before)

    @property
    def first_charger(self) -> int:
        """Number of the first charger type."""
        return sum(len(area.chargers) for area in self.before)

    @property
    def first_device(self) -> int:
        """Number of the first kind of device."""
        return sum(len(area.devices) + len(area.standby_devices) for area in self.before)


def _area_plan(
    whole: Scenario, scenario: Scenario, place: _Place, queues_of: dict[str, tuple[int, ...]], run: _Run
) -> AreaPlan:
    """Work out one area: `scenario` is that of it alone. Notes the queues of the trucks of each of its groups."""
    name = place.layout
    layout, arrangement = scenario.layouts[name], scenario.arrangement(name)
    battery_plans, queues = _battery_plans(whole, scenario, place)
    queues_of.update(queues)
    exchange, standby = _exchanges(scenario, name)
    chargers = tuple(_charger_plan(scenario, charger, count) for charger, count in layout.chargers_by_type.items())
    stations = layout.stations
    if stations is None:
        stations = sum(charger.count for charger in chargers) if arrangement.in_truck else 1
    bays = _bays(scenario, name, battery_plans, stations)
    devices = _devices(exchange.attendants.devices if exchange else arrangement.watering_devices, layout.devices)
    standby_devices = _devices(
        standby.attendants.devices if standby else {}, layout.standby.devices if layout.standby else {}
    )
    things = ("station", *devices, *standby_devices, *layout.chargers_by_type)
    shifts = sorted({shift for group in scenario.trucks for shift in group.shifts})
    by_drivers = _shifts_by_drivers(scenario, layout)
    stated = whole.layouts[name]
    own = stated.by_area[place.area].attendants
    return AreaPlan(
        number=len(place.before),
        name=place.area,
        arrangement=arrangement,
        group_numbers=tuple(number for number, group in enumerate(whole.trucks) if group.group in queues),
        battery_plans=battery_plans,
        exchange=exchange,
        standby=standby,
        stations=stations,
        bays=bays,
        set_down_bays=_set_down_bays(layout, exchange, standby, max(stations, _at_once(exchange, devices))),
        devices=devices,
        standby_devices=standby_devices,
        first_device=place.first_device,
        floor=_floor(scenario, name, bays, stations),
        breakdowns=_breakdowns(layout, things),
        outages=_outages(layout, things, first_week_min(run.warm_up_min)),
        reserve=layout.reserve_for_shift_change,
        picking=layout.picking,
        first_charger=place.first_charger,
        chargers=chargers,
        bound_chargers=arrangement.charger_leads == BOUND_TO_BAY
        and all(charger.count < UNLIMITED for charger in chargers),
        attendants_limited=isinstance(layout.attendants, dict),
        drivers_only=layout.drivers_only,
        drivers_exchange=bool(by_drivers),
        own_shifts=_attendant_shifts(scenario, own, run),
        shares_attendants=bool(stated.areas) and isinstance(layout.attendants, dict) and stated.attendants is not None,
        skill=next((step.skill for step in arrangement.steps if step.skill), None),
        drivers_connect=_connecting(scenario, shifts, by_drivers, run, arrangement.connects),
        drivers_at_work=Timetable(group_windows(scenario.week, shifts, run.horizon_min + ALWAYS_AHEAD, run.begin)),
    )


def _charger_plan(scenario: Scenario, name: str, count: float) -> ChargerPlan:
    """Work out one charger type of an area."""
    kind = scenario.chargers[name]
    return ChargerPlan(name, count, kind.efficiency_share, kind.power_factor, kind.standby_kw)


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


def _battery_plans(
    whole: Scenario, scenario: Scenario, place: _Place
) -> tuple[tuple[BatteryPlan, ...], dict[str, tuple[int, ...]]]:
    """Work out the batteries of each queue of an area, and for each of its groups the queues of its trucks.

    There is a queue for each battery type, or one for each truck where trucks keep batteries of their own. Numbers of
    queues and of charger types go on from those of other areas.
    """
    plans: list[BatteryPlan] = []
    queues_of: dict[str, tuple[int, ...]] = {}
    for battery in dict.fromkeys(group.battery for group in scenario.trucks):
        groups = [group for group in scenario.trucks if group.battery == battery]
        number = place.first_queue + len(plans)
        shared = battery_plan(
            scenario, place.layout, number, battery, area=place.area, first_charger=place.first_charger
        )
        if shared.trucks < whole.trucks_by_battery[battery]:
            shared = replace(shared, name=f"{battery}, {place.area}")
        if not groups[0].own_batteries:
            plans.append(shared)
            queues_of.update({group.group: (number,) * group.count for group in groups})
            continue
        at_least, more = divmod(shared.batteries, shared.trucks)
        owners = [(group.group, position) for group in groups for position in range(group.count)]
        for order, (group_name, position) in enumerate(owners):
            title = f"{battery}, {group_name} {position + 1}"
            kept = replace(shared, number=number + order, batteries=at_least + (order < more), trucks=1)
            plans.append(replace(kept, name=title, entity=f"battery of type {title}"))
            queues_of[group_name] = (*queues_of.get(group_name, ()), number + order)
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
    scenario: Scenario, shifts: list[str], by_drivers: list[str], run: _Run, connects: str
) -> Timetable | None:
    """When drivers who connect batteries are at work: in all shifts, or in those in which they exchange them."""
    connecting = shifts if connects == "driver" else by_drivers
    if not connecting:
        return None
    return Timetable(group_windows(scenario.week, connecting, run.horizon_min + ALWAYS_AHEAD, run.begin))


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
        for thing in (layout.chargers_by_type if name == "charger" else [name])
    )


def _outages(layout: Layout, things: tuple[str, ...], first_min: float) -> tuple[OutagePlan, ...]:
    """Work out what is out of use on stated days, from the first measured week on. [min]"""
    return tuple(
        OutagePlan(things.index(out.thing), out.units, first_min + ticked(out.from_min), out.length_min)
        for out in layout.out
    )


def _attendant_shifts(
    scenario: Scenario, by_shift: dict[str, OnDuty] | str | None, run: _Run
) -> tuple[AttendantShift, ...]:
    """Windows of each manned shift, and which gaps are breaks."""
    if not isinstance(by_shift, dict):
        return ()
    shifts, until_min = [], run.horizon_min + ALWAYS_AHEAD
    for shift, on_duty in by_shift.items():
        if on_duty:
            windows = group_windows(scenario.week, [shift], until_min, run.begin)
            breaks = break_starts(scenario.week, [shift], windows, until_min, run.begin)
            shifts.append(AttendantShift(on_duty, tuple(windows), breaks))
    return tuple(shifts)
