"""A layout worked out once, for all its replications: its areas, its truck groups, and what they share."""

from dataclasses import dataclass

from batsim.errors import Problem, ScenarioError
from batsim.room.plans.area_plan import (
    AreaPlan,
    AttendantShift,
    ChargerPlan,
    Place,
    RunLength,
    area_plan,
    attendant_shifts,
)
from batsim.room.plans.battery_plan import BatteryPlan
from batsim.room.plans.group_plan import ALWAYS_AHEAD, GroupPlan, group_plan, weekly_air
from batsim.room.timing.clock import ticked
from batsim.room.timing.timetable import Timetable
from batsim.scenario.parts.calendar import (
    Begin,
    Window,
    group_windows,
    minutes_per_working_day,
)
from batsim.scenario.parts.charging_rules import ChargingRules
from batsim.scenario.parts.layouts import Layout
from batsim.scenario.parts.rules import Rules
from batsim.scenario.site import Scenario
from batsim.scenario.unknowns import NOT_TOGETHER


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
    run = RunLength(horizon_min, warm_up_min, Begin(warm_up_min, start_week))
    hours = scenario.charging_of(name).open_windows(horizon_min + ALWAYS_AHEAD)
    areas: list[AreaPlan] = []
    queues_of: dict[str, tuple[int, ...]] = {}
    layout_of: dict[str, Layout] = {}
    for area, site in scenario.areas_of(name).items():
        areas.append(area_plan(scenario, site, Place(name, area, tuple(areas)), queues_of, run))
        layout_of.update(dict.fromkeys((group.group for group in site.trucks), site.layouts[name]))
    shifts = sorted({shift for group in scenario.trucks for shift in group.shifts})
    return Blueprint(
        layout=name,
        rules=scenario.rules,
        horizon_min=horizon_min,
        warm_up_min=ticked(warm_up_min),
        groups=tuple(
            group_plan(scenario, layout_of[group.group], number, queues_of[group.group], horizon_min, warm_up_min)
            for number, group in enumerate(scenario.trucks)
        ),
        areas=tuple(areas),
        charging=scenario.charging_of(name),
        open_windows=Timetable(hours) if hours else None,
        room_air_degc=weekly_air(scenario, scenario.site.room_air, horizon_min, warm_up_min),
        shared_shifts=attendant_shifts(scenario, layout.attendants, run) if layout.areas else (),
        site_windows=tuple(group_windows(scenario.week, shifts, horizon_min, run.begin)),
        minutes_per_working_day=minutes_per_working_day(scenario.week.in_week(start_week), shifts),
    )
