"""First numbers of a scenario, before any simulation: run and charge hours, rules of thumb."""

import math
from typing import NamedTuple

from batsim.formulas.charging import charge_phases
from batsim.formulas.discharge import discharge_at_power
from batsim.formulas.phases import phases_hours
from batsim.formulas.rules_of_thumb import batteries_per_truck
from batsim.room.plans.area_plan import AreaPlan
from batsim.room.plans.battery_plan import BatteryPlan
from batsim.room.plans.blueprint import blueprint_of
from batsim.room.plans.group_plan import GroupPlan, group_plan
from batsim.scenario.parts.calendar import full_day_min
from batsim.scenario.parts.handling import Arrangement
from batsim.scenario.parts.trucks import TruckGroup
from batsim.scenario.parts.week import WEEK_MIN, Week
from batsim.scenario.site import Scenario


class GroupOutline(NamedTuple):
    """One truck group."""

    truck: TruckGroup
    run_h: float
    """Work on one battery at mean power, or as stated. [h]"""
    power_kw: float
    """Mean power; 0 where run times are stated. [kW]"""


class LotOutline(NamedTuple):
    """One lot of a battery type in one layout."""

    name: str
    batteries: int
    life_used: tuple[float, float]
    """Share of its life that the least and the most used one has behind it. [-]"""
    capacity_left_share: float | None
    """Capacity as measured, over the rated one; None where it follows from the life used. [-]"""
    age_years: float


class StockOutline(NamedTuple):
    """One battery type in one layout, or what one truck keeps of it."""

    battery: str
    battery_type: str
    batteries: int
    trucks: int
    charger: str
    charge_h: float
    """Full charge from the exchange level. [h]"""
    held_h: float
    """Least time for which a charger is taken: on one bound to its bay the cool-down too, where bays share them. [h]"""
    per_truck: float
    """Batteries a truck by rule of thumb, for the work of its trucks; not a number in the truck. [-]"""
    work_h: float
    """Work of a truck on a day, of the group that works longest. [h]"""
    lots: tuple[LotOutline, ...]
    """Its lots; none where lots are not told apart."""


class LayoutOutline(NamedTuple):
    """One layout."""

    name: str
    arrangement: Arrangement
    stations: float
    bays: float
    chargers: tuple[tuple[str, float], ...]
    stock: tuple[StockOutline, ...]
    changed: tuple[GroupOutline, ...]
    """Truck groups that it changes, as they are there."""


class Outline(NamedTuple):
    """A scenario in first numbers."""

    scenario: Scenario
    groups: tuple[GroupOutline, ...]
    """Truck groups as the site states them."""
    layouts: tuple[LayoutOutline, ...]


def outline(scenario: Scenario) -> Outline:
    """Work out the first numbers of a scenario."""
    layouts = []
    for name, layout in scenario.layouts.items():
        built = blueprint_of(scenario, name, WEEK_MIN, 0.0)
        for area in built.areas:
            groups = [built.groups[number] for number in area.group_numbers]
            stock = tuple(_stock(area, line, groups, scenario.week) for line in area.battery_plans)
            changed = tuple(_group(group) for group in groups if group.truck.group in layout.trucks)
            chargers = tuple(area.charger_counts.items())
            title = f"{name}, {area.name}" if area.name else name
            layouts.append(LayoutOutline(title, area.arrangement, area.stations, area.bays, chargers, stock, changed))
    any_layout = next(iter(scenario.layouts.values()))
    numbers = range(len(scenario.trucks))
    stated = tuple(_group(group_plan(scenario, any_layout, number, (), WEEK_MIN, 0.0)) for number in numbers)
    return Outline(scenario, stated, tuple(layouts))


def _group(group: GroupPlan) -> GroupOutline:
    """Work out one truck group."""
    return GroupOutline(group.truck, _run_h(group), group.power_w / 1000.0)


def _run_h(group: GroupPlan) -> float:
    """Working hours on one battery. [h]"""
    if group.truck.run_time_min is not None:
        return group.truck.run_time_min.mean / 60.0
    return discharge_at_power(1.0, group.truck.exchange_at_share, group.power_w, group.cell)[0]


def _stock(area: AreaPlan, line: BatteryPlan, groups: list[GroupPlan], week: Week) -> StockOutline:
    """Work out one battery type of an area, which serves these truck groups."""
    battery, charger = line.battery, line.chargers[0]
    using = [group for group in groups if line.number in group.queues]
    group = using[0]
    level, profile = group.truck.exchange_at_share, line.profiles[charger].rated
    if battery.charge_time_min is not None:
        hours = battery.charge_time_min.mean / 60.0
    else:
        ah = (1.0 - level) * line.cell.capacity_ah
        if group.power_w:
            ah = discharge_at_power(1.0, level, group.power_w, group.cell)[1]
        hours = phases_hours(charge_phases(profile, line.cell.capacity_ah, ah, profile.factor * ah))
    run_h, per_truck = _run_h(group), math.nan
    work_h = max(full_day_min(week, each.truck.shifts) for each in using) / 60.0  # of the group that works longest
    if not area.arrangement.in_truck and 0.0 < run_h < math.inf:
        per_truck = batteries_per_truck(run_h, 0.0, hours, battery.cool_down_min.mean / 60.0, work_h)
    too_few = area.bound_chargers and sum(area.charger_counts.values()) < area.bays
    held_h = hours + battery.cool_down_min.mean / 60.0 * too_few
    served_by = area.chargers[charger - area.first_charger].name
    lots = tuple(
        LotOutline(lot.name, lot.batteries, lot.life_used, lot.capacity_left_share, lot.age_years)
        for lot in line.lots
        if lot.name
    )
    return StockOutline(
        line.name, line.battery_type, line.batteries, line.trucks, served_by, hours, held_h, per_truck, work_h, lots
    )
