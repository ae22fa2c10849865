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
from batsim.scenario.text.located_data import Path

ROUNDING = 1e-9


def charging_problems(checked: CheckedLayout) -> Iterator[Problem]:
    """Find what keeps batteries of a layout from ever being charged."""
    path: Path = ("charging",) if checked.layout.charging is None else ("layouts", checked.name, "charging")
    yield from _power(checked, path)
    yield from _hours(checked, path)


def _pairs(checked: CheckedLayout) -> Iterator[tuple[str, BatteryType, str, ChargerType]]:
    """Battery types in use and the chargers of a layout that fit them."""
    for battery in checked.trucks:
        kind = checked.scenario.batteries[battery]
        for count in checked.layout.chargers:
            charger = checked.scenario.chargers[count.charger]
            if charger.fits(battery, kind, checked.scenario.figures):
                yield battery, kind, count.charger, charger


def _power(checked: CheckedLayout, path: Path) -> Iterator[Problem]:
    """Let each charge alone stay below the limit, and have a curve that can be told."""
    scenario, limit_kw = checked.scenario, checked.scenario.charging_of(checked.name).power_limit_kw
    if limit_kw is None:
        return
    needed: list[tuple[float, str, str]] = []
    for battery, kind, label, charger in _pairs(checked):
        if kind.charge_time_min is not None:
            rule = f"needs the chargers' curves, and '{battery}' states a 'charge_time'; leave one of the two out"
            yield checked.source.problem((*path, "power_limit"), rule)
            return
        needed.append((_peak_kw(kind, charger, scenario.figures), label, battery))
    most_kw, label, battery = max(needed, default=(0.0, "", ""))
    counts = [(count.number, scenario.chargers[count.charger].standby_kw) for count in checked.layout.chargers]
    most_kw += sum(number * kw for number, kw in counts if number != UNLIMITED)
    if limit_kw < most_kw - ROUNDING:
        least = f"{ceil(10.0 * most_kw) / 10.0:g} kW"
        rule = f"must be at least {least}, what one '{label}' draws on '{battery}', the others in standby"
        yield checked.source.problem((*path, "power_limit"), rule, got=f"{limit_kw:g} kW")


def _peak_kw(kind: BatteryType, charger: ChargerType, figures: Figures) -> float:
    """Most that a charger draws on a battery type at the temperature of its rating. [kW]"""
    return peak_wall_kw(*greatest_load(charger, kind, figures), kind.cells, charger.efficiency_share)


def _hours(checked: CheckedLayout, path: Path) -> Iterator[Problem]:
    """Let the hours of charging in a week hold at least one full charge."""
    rules = checked.scenario.charging_of(checked.name)
    if not rules.windows:
        return
    open_h = overlap_min(rules.open_windows(2 * WEEK_MIN), [(WEEK_MIN, 2 * WEEK_MIN)]) / 60.0
    for battery, kind, label, charger in _pairs(checked):
        if kind.charge_time_min is not None:
            hours = kind.charge_time_min.mean / 60.0
        else:
            hours = full_charge_h(charger, kind, checked.scenario.figures)
            hours += 0.0 if kind.equalising is None else kind.equalising.length_min / 60.0
        if hours > open_h:
            rule = f"must be open for at least {ceil(hours)} h a week, what '{label}' takes to fill '{battery}'"
            yield checked.source.problem((*path, "windows"), rule, got=f"{open_h:g} h")
            return
