"""One area of a layout worked out once: its equipment, its batteries, who works there."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

from batsim.room.plans.battery_plan import BatteryPlan, battery_plan
from batsim.room.plans.drivers_plan import DriversPlan, drivers_plan
from batsim.room.plans.exchange_plan import ExchangePlans, exchange_plans
from batsim.room.plans.floor_plan import FloorPlan, floor_plan
from batsim.room.plans.group_plan import ALWAYS_AHEAD
from batsim.room.timing.clock import ticked
from batsim.scenario.parts.calendar import Begin, Window, break_starts, first_week_min, group_windows
from batsim.scenario.parts.handling import BOUND_TO_BAY, Arrangement
from batsim.scenario.parts.kinds import UNLIMITED
from batsim.scenario.parts.laws import DurationLaw
from batsim.scenario.parts.layouts import Layout, OnDuty
from batsim.scenario.site import Scenario


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
    drivers: DriversPlan
    """What drivers do here, and when they are at work."""
    own_shifts: tuple[AttendantShift, ...]
    """Manned shifts of its own attendants."""
    shares_attendants: bool
    """Whether the attendants of the layout work here too."""
    windows: tuple[Window, ...]
    """When trucks of any of its groups work. [min]"""

    @property
    def skills(self) -> frozenset[str]:
        """What exchanges ask one of the attendants to be qualified for, by the own method and by what stands by."""
        methods = [plans.attendants for plans in (self.exchange, self.standby) if plans is not None]
        return frozenset(plan.skill for plan in methods if plan.skill is not None)

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


class RunLength(NamedTuple):
    """Length of a run: its end, its warm-up and the week in which it begins."""

    horizon_min: float
    warm_up_min: float
    begin: Begin


class Place(NamedTuple):
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


def area_plan(
    whole: Scenario, scenario: Scenario, place: Place, queues_of: dict[str, tuple[int, ...]], run: RunLength
) -> AreaPlan:
    """Work out one area: `scenario` is that of it alone. Notes the queues of the trucks of each of its groups."""
    name = place.layout
    layout, arrangement = scenario.layouts[name], scenario.arrangement(name)
    battery_plans, queues = _battery_plans(whole, scenario, place)
    queues_of.update(queues)
    exchange, standby = _exchanges(scenario, name)
    stations = _stations(layout, arrangement)
    bays = _bays(scenario, name, battery_plans, stations)
    devices, standby_devices = _all_devices(layout, arrangement, exchange, standby)
    things = ("station", *devices, *standby_devices, *layout.chargers_by_type)
    shifts = sorted({shift for group in scenario.trucks for shift in group.shifts})
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
        chargers=tuple(_charger_plan(scenario, each, count) for each, count in layout.chargers_by_type.items()),
        bound_chargers=arrangement.charger_leads == BOUND_TO_BAY and UNLIMITED not in layout.chargers_by_type.values(),
        attendants_limited=isinstance(layout.attendants, dict),
        drivers_only=layout.drivers_only,
        drivers=drivers_plan(scenario, name, queues, run.horizon_min, run.begin),
        own_shifts=attendant_shifts(scenario, own, run),
        shares_attendants=_shares(stated, layout),
        windows=tuple(group_windows(scenario.week, shifts, run.horizon_min, run.begin)),
    )


def _shares(stated: Layout, area: Layout) -> bool:
    """Whether attendants work in an area whom it shares with others, counted as its own are."""
    return bool(stated.areas) and isinstance(area.attendants, dict) and stated.attendants is not None


def _charger_plan(scenario: Scenario, name: str, count: float) -> ChargerPlan:
    """Work out one charger type of an area."""
    kind = scenario.chargers[name]
    return ChargerPlan(name, count, kind.efficiency_share, kind.power_factor, kind.standby_kw)


def _stations(layout: Layout, arrangement: Arrangement) -> float:
    """Exchange stations, or charging spots: as stated, or one for each charger in the truck."""
    if layout.stations is not None:
        return layout.stations
    return sum(layout.chargers_by_type.values()) if arrangement.in_truck else 1


def _all_devices(
    layout: Layout, arrangement: Arrangement, exchange: ExchangePlans | None, standby: ExchangePlans | None
) -> tuple[dict[str, float], dict[str, float]]:
    """Devices of each kind, and those of the standby method."""
    held = exchange.attendants.devices if exchange else arrangement.watering_devices
    held_by_standby = standby.attendants.devices if standby else {}
    return _devices(held, layout.devices), _devices(held_by_standby, layout.standby.devices if layout.standby else {})


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
    whole: Scenario, scenario: Scenario, place: Place
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
        owners = sorted((group.group, position) for group in groups for position in range(group.count))
        for plan, (group_name, _) in zip(_kept(shared, owners), owners, strict=True):
            plans.append(plan)
            queues_of[group_name] = (*queues_of.get(group_name, ()), plan.number)
    return tuple(plans), queues_of


def _kept(shared: BatteryPlan, owners: list[tuple[str, int]]) -> Iterator[BatteryPlan]:
    """Share the batteries of a type out over trucks that keep their own: by group and position."""
    at_least, more = divmod(shared.batteries, shared.trucks)
    given = 0
    for order, (group_name, position) in enumerate(owners):
        kept = at_least + (order < more)
        yield shared.kept_by(shared.number + order, f"{shared.battery_type}, {group_name} {position + 1}", given, kept)
        given += kept


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


def attendant_shifts(
    scenario: Scenario, by_shift: dict[str, OnDuty] | str | None, run: RunLength
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
