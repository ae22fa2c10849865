"""First numbers of a scenario or study, before any simulation: run and charge hours, rules of thumb; points, cases."""

import math
from typing import TYPE_CHECKING, NamedTuple

from batsim.catalogue import FIGURES
from batsim.formulas.charging import charge_phases
from batsim.formulas.discharge import discharge_at_power
from batsim.formulas.phases import phases_hours
from batsim.formulas.rules_of_thumb import batteries_per_truck
from batsim.room.blueprint import Blueprint, blueprint_of
from batsim.room.group_plan import GroupPlan
from batsim.scenario.parts.week import WEEK_MIN

if TYPE_CHECKING:
    from batsim.scenario.site import Scenario
    from batsim.study.sweeps.agenda import Agenda

MOST_COUNTED = 20_000
"""Cases up to which those that several points share are counted once."""


class GroupOutline(NamedTuple):
    """One truck group."""

    name: str
    trucks: int
    shifts: tuple[str, ...]
    battery: str
    run_h: float
    """Work on one battery at mean power, or as stated. [h]"""
    power_kw: float
    """Mean power; 0 where run times are stated. [kW]"""
    exchange_at_share: float


class StockOutline(NamedTuple):
    """One battery type in one layout."""

    battery: str
    batteries: int
    trucks: int
    charger: str
    charge_h: float
    """Full charge from the exchange level. [h]"""
    per_truck: float
    """Batteries a truck by rule of thumb, for work round the clock; not a number in the truck. [-]"""


class LayoutOutline(NamedTuple):
    """One layout."""

    name: str
    title: str
    in_truck: bool
    stations: float
    bays: float
    bay: str
    chargers: tuple[tuple[str, float], ...]
    stock: tuple[StockOutline, ...]


class FigureOutline(NamedTuple):
    """One figure that the scenario states anew."""

    name: str
    text: str
    usual: str
    """What the catalogue has."""


class Outline(NamedTuple):
    """A scenario in first numbers."""

    file: str
    site: str
    groups: tuple[GroupOutline, ...]
    layouts: tuple[LayoutOutline, ...]
    unknowns: tuple[tuple[str, str], ...]
    """Inputs that are not known: where, and what they may be."""
    figures: tuple[FigureOutline, ...]


class StudyOutline(NamedTuple):
    """A study in first numbers."""

    file: str
    question: str
    site: str
    layouts: tuple[str, ...]
    design: str
    points: int
    replications: int
    weeks: float
    cases: int
    at_most: bool
    """Whether points share some of the cases, which are too many to be counted once."""
    factors: tuple[tuple[str, str], ...]
    """What varies: where, and what it may be."""


def outline(scenario: "Scenario") -> Outline:
    """Work out the first numbers of a scenario."""
    plans = {name: blueprint_of(scenario, name, WEEK_MIN, 0.0) for name in scenario.layouts}
    groups = next(iter(plans.values())).groups
    return Outline(
        scenario.file,
        scenario.site.name,
        tuple(
            GroupOutline(
                group.truck.group,
                group.truck.count,
                group.truck.shifts,
                group.truck.battery,
                _run_h(group),
                group.power_w / 1000.0,
                group.truck.exchange_at_share,
            )
            for group in groups
        ),
        tuple(
            LayoutOutline(
                name,
                plan.arrangement.title,
                plan.arrangement.in_truck,
                plan.stations,
                plan.bays,
                plan.arrangement.bay,
                tuple(zip(plan.charger_names, plan.charger_counts, strict=True)),
                tuple(_stock(plan, number) for number in range(len(plan.battery_plans))),
            )
            for name, plan in plans.items()
        ),
        tuple((unknown.path, unknown.text) for unknown in scenario.unknowns),
        tuple(
            FigureOutline(figure.name, scenario.figures.stated[figure.name].text, figure.text)
            for figure in FIGURES.values()
            if figure.name in scenario.figures.stated
        ),
    )


def study_outline(agenda: "Agenda") -> StudyOutline:
    """Work out the first numbers of a study."""
    study, schedule, points = agenda.study, agenda.schedule, agenda.points
    most = len(points) * len(schedule.layouts) * schedule.replications
    return StudyOutline(
        study.file,
        study.question,
        study.scenario.site.name,
        schedule.layouts,
        agenda.design_text,
        len(points),
        schedule.replications,
        schedule.length_min / WEEK_MIN,
        most if most > MOST_COUNTED else len(agenda.cases()),
        most > MOST_COUNTED,
        tuple((factor.path, factor.text) for factor in points.factors),
    )


def _run_h(group: GroupPlan) -> float:
    """Working hours on one battery. [h]"""
    if group.truck.run_time_min is not None:
        return group.truck.run_time_min.mean / 60.0
    return discharge_at_power(1.0, group.truck.exchange_at_share, group.power_w, group.cell)[0]


def _stock(plan: Blueprint, number: int) -> StockOutline:
    """Work out one battery type of a layout."""
    line = plan.battery_plans[number]
    group = next(group for group in plan.groups if number in group.queues)
    level, profile = group.truck.exchange_at_share, line.profiles[line.chargers[0]].rated
    if line.battery.charge_time_min is not None:
        hours = line.battery.charge_time_min.mean / 60.0
    else:
        ah = (1.0 - level) * line.cell.capacity_ah
        if group.power_w:
            ah = discharge_at_power(1.0, level, group.power_w, group.cell)[1]
        hours = phases_hours(charge_phases(profile, line.cell.capacity_ah, ah, profile.factor * ah))
    run = _run_h(group)
    per_truck = math.nan
    if not plan.arrangement.in_truck and 0.0 < run < math.inf:
        per_truck = batteries_per_truck(run, 0.0, hours, line.battery.cool_down_min.mean / 60.0)
    return StockOutline(line.name, line.batteries, line.trucks, plan.charger_names[line.chargers[0]], hours, per_truck)
