"""First numbers of a scenario, before any simulation: run and charge hours, rules of thumb."""

import math
from typing import NamedTuple

from batsim.formulas.charging import charge_phases
from batsim.formulas.discharge import discharge_at_power
from batsim.formulas.phases import phases_hours
from batsim.formulas.rules_of_thumb import batteries_per_truck
from batsim.room.blueprint import Blueprint
from batsim.room.group_plan import GroupPlan, group_plan
from batsim.scenario.parts.calendar import full_day_min
from batsim.scenario.parts.handling import Arrangement
from batsim.scenario.parts.trucks import TruckGroup
from batsim.scenario.parts.week import WEEK_MIN, Week
from batsim.scenario.site import Scenario
from batsim.study.running.counts import week_blueprint


class GroupOutline(NamedTuple):
    """One truck group."""

    truck: TruckGroup
    run_h: float
    """Work on one battery at mean power, or as stated. [h]"""
    power_kw: float
    """Mean power; 0 where run times are stated. [kW]"""


class StockOutline(NamedTuple):
    """One battery type in one layout."""

    battery: str
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
    blueprints = {name: week_blueprint(scenario, name) for name in scenario.layouts}
    layouts = []
    for name, built in blueprints.items():
        chargers = tuple(zip(built.charger_names, built.charger_counts, strict=True))
        stock = tuple(_stock(built, number, scenario.week) for number in range(len(built.battery_plans)))
        changes = scenario.layouts[name].trucks
        changed = tuple(_group(group) for group in built.groups if group.truck.group in changes)
        layouts.append(LayoutOutline(name, built.arrangement, built.stations, built.bays, chargers, stock, changed))
    any_layout = next(iter(scenario.layouts.values()))
    numbers = range(len(scenario.trucks))
    groups = tuple(_group(group_plan(scenario, any_layout, number, (), WEEK_MIN, 0.0)) for number in numbers)
    return Outline(scenario, groups, tuple(layouts))


def _group(group: GroupPlan) -> GroupOutline:
    """Work out one truck group."""
    return GroupOutline(group.truck, _run_h(group), group.power_w / 1000.0)


def _run_h(group: GroupPlan) -> float:
    """Working hours on one battery. [h]"""
    if group.truck.run_time_min is not None:
        return group.truck.run_time_min.mean / 60.0
    return discharge_at_power(1.0, group.truck.exchange_at_share, group.power_w, group.cell)[0]


def _work_h(built: Blueprint, number: int, week: Week) -> float:
    """Work of a truck on a day, of the group of a battery type that works longest. [h]"""
    return max(full_day_min(week, group.truck.shifts) for group in built.groups if number in group.queues) / 60.0


def _stock(built: Blueprint, number: int, week: Week) -> StockOutline:
    """Work out one battery type of a layout."""
    line = built.battery_plans[number]
    battery, charger = line.battery, line.chargers[0]
    group = next(group for group in built.groups if number in group.queues)
    level, profile = group.truck.exchange_at_share, line.profiles[charger].rated
    if battery.charge_time_min is not None:
        hours = battery.charge_time_min.mean / 60.0
    else:
        ah = (1.0 - level) * line.cell.capacity_ah
        if group.power_w:
            ah = discharge_at_power(1.0, level, group.power_w, group.cell)[1]
        hours = phases_hours(charge_phases(profile, line.cell.capacity_ah, ah, profile.factor * ah))
    run_h, per_truck = _run_h(group), math.nan
    work_h = _work_h(built, number, week)
    if not built.arrangement.in_truck and 0.0 < run_h < math.inf:
        per_truck = batteries_per_truck(run_h, 0.0, hours, battery.cool_down_min.mean / 60.0, work_h)
    too_few = built.bound_chargers and sum(built.charger_counts) < built.bays
    held_h = hours + battery.cool_down_min.mean / 60.0 * too_few
    return StockOutline(
        line.name, line.batteries, line.trucks, built.charger_names[charger], hours, held_h, per_truck, work_h
    )
