"""Rules for how chargers are held back: enough power, enough hours."""

from collections.abc import Iterator
from math import ceil

from batsim.catalogue import Figures
from batsim.errors import Problem
from batsim.formulas.phases import peak_wall_kw
from batsim.scenario.checks.checked_layout import CheckedLayout
from batsim.scenario.chemistry import full_charge_h, greatest_load
from batsim.scenario.parts.batteries import BatteryType, ChargerType
from batsim.scenario.parts.calendar import overlap_min
from batsim.scenario.parts.kinds import UNLIMITED
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.site import Scenario
from batsim.scenario.text.located_data import LocatedData, Path

ROUNDING = 1e-9


Pair = tuple[str, BatteryType, str, ChargerType]
"""A battery type and a charger type that fits it, with their names."""


def _pairs(scenario: Scenario, layout: str) -> Iterator[Pair]:
    """Battery types in use in an area and its chargers that fit them."""
    for battery in scenario.trucks_by_battery:
        kind = scenario.batteries[battery]
        for label in scenario.layouts[layout].chargers_by_type:
            charger = scenario.chargers[label]
            if charger.fits(battery, kind, scenario.figures):
                yield battery, kind, label, charger


def _path(scenario: Scenario, layout: str) -> Path:
    """Where the rules for charging in a layout are stated."""
    return ("charging",) if scenario.layouts[layout].charging is None else ("layouts", layout, "charging")


def power_problems(scenario: Scenario, name: str, source: LocatedData) -> Iterator[Problem]:
    """Let each charge alone stay below the limit of the site, and have a curve that can be told."""
    limit_kw, path = scenario.charging_of(name).power_limit_kw, (*_path(scenario, name), "power_limit")
    if limit_kw is None:
        return
    pairs = [pair for site in scenario.areas_of(name).values() for pair in _pairs(site, name)]
    timed = next((battery for battery, kind, _, _ in pairs if kind.charge_time_min is not None), None)
    if timed is not None:
        rule = f"needs the chargers' curves, and '{timed}' states a 'charge_time'; leave one of the two out"
        yield source.problem(path, rule)
        return
    needed = [(_peak_kw(kind, charger, scenario.figures), label, battery) for battery, kind, label, charger in pairs]
    most_kw, label, battery = max(needed, default=(0.0, "", ""))
    most_kw += _standby_kw(scenario, name)
    if limit_kw < most_kw - ROUNDING:
        least = f"{ceil(10.0 * most_kw) / 10.0:g} kW"
        rule = f"must be at least {least}, what one '{label}' draws on '{battery}', the others in standby"
        yield source.problem(path, rule, got=f"{limit_kw:g} kW")


def _standby_kw(scenario: Scenario, layout: str) -> float:
    """What the chargers of all areas draw in standby. [kW]"""
    counts = scenario.layouts[layout].chargers_by_type.items()
    return sum(number * scenario.chargers[name].standby_kw for name, number in counts if number != UNLIMITED)


def _peak_kw(kind: BatteryType, charger: ChargerType, figures: Figures) -> float:
    """Most that a charger draws on a battery type at the temperature of its rating. [kW]"""
    return peak_wall_kw(*greatest_load(charger, kind, figures), kind.cells, charger.efficiency_share)


def hours_problems(checked: CheckedLayout) -> Iterator[Problem]:
    """Let the hours of charging in a week hold at least one full charge."""
    rules = checked.scenario.charging_of(checked.name)
    if not rules.windows:
        return
    open_h = overlap_min(rules.open_windows(2 * WEEK_MIN), [(WEEK_MIN, 2 * WEEK_MIN)]) / 60.0
    for battery, kind, label, charger in _pairs(checked.scenario, checked.name):
        if kind.charge_time_min is not None:
            hours = kind.charge_time_min.mean / 60.0
        else:
            hours = full_charge_h(charger, kind, checked.scenario.figures)
            hours += 0.0 if kind.equalising is None else kind.equalising.length_min / 60.0
        if hours > open_h:
            rule = f"must be open for at least {ceil(hours)} h a week, what '{label}' takes to fill '{battery}'"
            yield checked.source.problem((*_path(checked.scenario, checked.name), "windows"), rule, got=f"{open_h:g} h")
            return
