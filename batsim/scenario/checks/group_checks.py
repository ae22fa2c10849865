"""Rules between truck groups and their batteries, as the site states them and as layouts change them."""

from collections.abc import Iterator
from itertools import chain

from batsim.errors import Problem
from batsim.scenario.checks.strength import SHORTEST_RUN_MIN, full_run_min
from batsim.scenario.parts.calendar import mean_kw
from batsim.scenario.parts.trucks import TruckGroup
from batsim.scenario.site import Scenario
from batsim.scenario.text.located_data import LocatedData, Path


def group_problems(scenario: Scenario, source: LocatedData) -> Iterator[Problem]:
    """Find levels out of order and batteries that last minutes, of the groups of the site and of each layout."""
    for number, group in enumerate(scenario.trucks):
        if group.battery in scenario.batteries:
            yield from _stated(scenario, number, source)
    for name, layout in scenario.layouts.items():
        resolved = scenario.in_layout(name)
        for number, group in enumerate(resolved.trucks):
            if group.group in layout.trucks and group.battery in scenario.batteries:
                at = ("layouts", name, "trucks", group.group)
                yield from _run_time(scenario.trucks[number], group, source, at)
                yield from _changed(resolved, number, source, at)


def _stated(scenario: Scenario, number: int, source: LocatedData) -> Iterator[Problem]:
    """Check a group as the site states it."""
    group = scenario.trucks[number]
    if rule := _level_rule(scenario, group):
        yield source.problem(("trucks", number, "exchange_at"), rule, got=_percent(group.exchange_at_share))
        return
    key, kw, got = _power(scenario, group)
    if (minutes := full_run_min(scenario, number, kw)) < SHORTEST_RUN_MIN:
        rule = f"would empty '{group.battery}' in {minutes:.0f} min; state what one truck draws over its shift"
        yield source.problem(("trucks", number, "duty", key), rule, got=got)


def _changed(resolved: Scenario, number: int, source: LocatedData, at: Path) -> Iterator[Problem]:
    """Check a group as a layout changes it; a level that is left to the group is stated there as the cure."""
    group = resolved.trucks[number]
    for fault in chain(group.run_time_faults(), group.exchange_when_faults()):
        yield source.problem((*at, *fault.path), fault.rule, got=fault.got)
    for other in resolved.trucks:
        if other.battery == group.battery and other.own_batteries != group.own_batteries:
            rule = f"'{other.group}' has this type too; groups of one type keep batteries of their own all or none"
            yield source.problem((*at, "battery"), rule, got=f"'{group.battery}'")
    if rule := _level_rule(resolved, group):
        yield source.problem((*at, "exchange_at"), rule, got=_percent(group.exchange_at_share))
        return
    _, kw, got = _power(resolved, group)
    if (minutes := full_run_min(resolved, number, kw)) < SHORTEST_RUN_MIN:
        down = f"would be down to {_percent(group.exchange_at_share)} in {minutes:.0f} min"
        rule = f"'{group.battery}' {down}; state a stronger battery type, or a lower exchange level"
        yield source.problem(at, rule, got=got)


def _run_time(before: TruckGroup, group: TruckGroup, source: LocatedData, at: Path) -> Iterator[Problem]:
    """Want a run time for another battery or level, where the group's own is all that is known of its work."""
    same = (before.battery, before.exchange_at_share) == (group.battery, group.exchange_at_share)
    if before.run_time_min is not None and group.run_time_min is before.run_time_min and not same:
        down = f"'{before.battery}' down to {_percent(before.exchange_at_share)}"
        yield source.problem((*at, "run_time"), f"missing: the group's 'run_time' is for {down}; state that for here")


def _level_rule(scenario: Scenario, group: TruckGroup) -> str:
    """Rule that the exchange level of a group breaks; empty where it breaks none."""
    cut_out_share = scenario.batteries[group.battery].discharge_to_share
    if cut_out_share <= group.exchange_at_share < 1.0:
        return ""
    return f"must lie between the battery's cut-out ('discharge_to', {_percent(cut_out_share)}) and 100 %"


def _power(scenario: Scenario, group: TruckGroup) -> tuple[str, float, str]:
    """Key of the power or energy that a group states, its mean power, and how it is stated; no power for run times."""
    duty = group.duty
    if duty is None or any(name not in scenario.week.shifts for name in group.shifts):
        return "", 0.0, ""
    kw = mean_kw(scenario.week, group.shifts, duty)
    if duty.energy_per_shift_kwh is None:
        return "mean_power", kw, f"{kw:g} kW"
    return "energy_per_shift", kw, f"{duty.energy_per_shift_kwh:g} kWh"


def _percent(share: float) -> str:
    return f"{100 * share:g} %"
