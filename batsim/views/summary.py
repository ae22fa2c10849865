"""What a scenario states, in a few lines, with the first numbers that follow without simulation."""

import math
from typing import TYPE_CHECKING

from batsim.formulas.charging import charge_phases, phases_hours
from batsim.formulas.discharge import discharge
from batsim.formulas.rules_of_thumb import batteries_per_truck
from batsim.room.blueprint import Blueprint, GroupPlan, blueprint
from batsim.scenario.week import WEEK_MIN

if TYPE_CHECKING:
    from batsim.scenario.site import Scenario


def summary_text(scenario: "Scenario") -> str:
    """Say that a scenario reads well, and what it amounts to."""
    lines = [f"{scenario.file}: reads well", f"  {scenario.site.name}"]
    plans = {name: blueprint(scenario, name, WEEK_MIN, 0.0) for name in scenario.layouts}
    first = next(iter(plans.values()))
    for group in first.groups:
        truck = group.truck
        lines.append(
            f"  {truck.count} x {truck.group}: {', '.join(truck.shifts)}; battery {truck.battery}; "
            f"{_run_text(group)}"
        )
    for name, plan in plans.items():
        lines.append(f"  layout {name}: {plan.arrangement.title}")
        lines += [f"    {text}" for text in _layout_lines(plan)]
    lines.append("Rules of thumb know no queue and no spread; run 'batsim compare' for the answer.")
    return "\n".join(lines)


def _run_hours(group: GroupPlan) -> float:
    """Working hours on one battery at mean power, or as stated. [h]"""
    if group.truck.run_time_min is not None:
        return group.truck.run_time_min.mean / 60.0
    return discharge(1.0, group.truck.exchange_at_share, group.power_w, group.cell)[0]


def _run_text(group: GroupPlan) -> str:
    """Say how long a battery lasts."""
    hours = _run_hours(group)
    power = f" at {group.power_w / 1000.0:g} kW" if group.power_w else ""
    return f"about {hours:.1f} h of work on one battery{power}, until {100 * group.truck.exchange_at_share:g} % is left"


def _layout_lines(plan: Blueprint) -> list[str]:
    """Counts of a layout, and the rule of thumb beside them."""
    lines = []
    for line in plan.lines:
        charger = line.chargers[0]
        hours = _charge_hours(plan, line.number)
        text = f"{line.name}: {line.batteries} batteries for {line.trucks} trucks"
        text += f", a full charge takes about {hours:.1f} h on {plan.charger_names[charger]}"
        lines.append(text)
        group = next(each for each in plan.groups if each.line == line.number)
        if not plan.arrangement.in_truck and math.isfinite(_run_hours(group)) and _run_hours(group) > 0.0:
            cool = line.battery.cool_down_min.mean / 60.0
            rule = batteries_per_truck(_run_hours(group), 0.0, hours, cool)
            lines.append(
                f"  rule of thumb for work round the clock: {rule:.2f} a truck, {math.ceil(rule * line.trucks)} in all"
            )
    chargers = ", ".join(
        f"{count:g} x {name}" for name, count in zip(plan.charger_names, plan.charger_counts, strict=True)
    )
    spots = "charging spots" if plan.arrangement.in_truck else "stations"
    places = "" if plan.arrangement.in_truck else f", {plan.places:g} places ({plan.arrangement.place})"
    lines.append(f"{plan.stations:g} {spots}{places}, chargers {chargers}")
    return lines


def _charge_hours(plan: Blueprint, number: int) -> float:
    """Hours of a full charge from the exchange level of the line's first group. [h]"""
    line = plan.lines[number]
    if line.battery.charge_time_min is not None:
        return line.battery.charge_time_min.mean / 60.0
    group = next(each for each in plan.groups if each.line == number)
    ah = (1.0 - group.truck.exchange_at_share) * line.cell.capacity_ah
    if group.power_w:
        ah = discharge(1.0, group.truck.exchange_at_share, group.power_w, group.cell)[1]
    profile = line.profiles[line.chargers[0]]
    return phases_hours(charge_phases(profile, line.cell.capacity_ah, ah, profile.factor * ah))
