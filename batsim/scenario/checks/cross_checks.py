"""Rules that need more than one part of a scenario: names that must exist, counts that must fit."""

from collections.abc import Iterator
from itertools import combinations
from types import MappingProxyType

from batsim.errors import Problem
from batsim.formulas.discharge import discharge_at_power
from batsim.scenario.checks.layout_checks import layout_problems
from batsim.scenario.checks.price_checks import Offers, price_problems
from batsim.scenario.checks.survey_checks import survey_problems
from batsim.scenario.chemistry import cell_of
from batsim.scenario.parts.calendar import Window, common, mean_shift_min, shift_windows
from batsim.scenario.parts.faults import did_you_mean, shown
from batsim.scenario.parts.trucks import Duty
from batsim.scenario.parts.week import DAY_MIN, WEEK_MIN, moment_text
from batsim.scenario.settings import LONGEST_WEEKS
from batsim.scenario.site import Scenario
from batsim.scenario.text.located_data import LocatedData, Path

SHORTEST_RUN_MIN = 20.0
"""Work on one battery below which the stated power must be a slip. [min]"""


def cross_checks(scenario: Scenario, source: LocatedData, offers: Offers) -> list[Problem]:
    """Find every broken rule between the parts of a scenario; `offers` are the names of the catalogue by kind."""
    names = [*_group_names(scenario, source, offers)]
    for name in scenario.layouts:
        names += _layout_names(scenario, name, source, offers)
    levels = list(_levels(scenario, source))
    problems = [
        *names,
        *levels,
        *_shifts(scenario, source),
        *_together(scenario, source),
        *price_problems(scenario, source, offers),
        *survey_problems(scenario, source, offers["equipment"]),
    ]
    if not names and not levels:
        for name in scenario.layouts:
            problems += layout_problems(scenario, name, source)
    return problems


def _group_names(scenario: Scenario, source: LocatedData, offers: Offers) -> Iterator[Problem]:
    """Names that truck groups have, once each, and that they refer to."""
    seen: list[str] = []
    for number, group in enumerate(scenario.trucks):
        here: Path = ("trucks", number)
        if group.group in seen:
            yield source.problem((*here, "group"), "two groups have this name", got=shown(group.group))
        seen.append(group.group)
        for position, shift in enumerate(group.shifts):
            yield from _known(source, (*here, "shifts", position), shift, list(scenario.week.shifts), "shift")
        battery, known = group.battery, list(scenario.batteries)
        yield from _known(source, (*here, "battery"), battery, known, "battery type", offers)
    for name, charger in scenario.chargers.items():
        for position, battery in enumerate(charger.batteries):
            path: Path = ("chargers", name, "batteries", position)
            yield from _known(source, path, battery, list(scenario.batteries), "battery type")


def _layout_names(scenario: Scenario, name: str, source: LocatedData, offers: Offers) -> Iterator[Problem]:
    """Names that a layout refers to: arrangements, chargers, shifts, battery types in use."""
    layout = scenario.layouts[name]
    at: Path = ("layouts", name)
    arrangements, chargers = list(scenario.handling), list(scenario.chargers)
    yield from _known(source, (*at, "handling"), layout.handling, arrangements, "handling arrangement", offers)
    if layout.standby is not None:
        path = (*at, "standby", "handling")
        yield from _known(source, path, layout.standby.handling, arrangements, "handling arrangement", offers)
    in_a_list = source.holds((*at, "chargers", 0))
    for position, count in enumerate(layout.chargers):
        path = (*at, "chargers", position) if in_a_list else (*at, "chargers")
        yield from _known(source, path, count.charger, chargers, "charger type", offers)
    for shift in layout.attendants if isinstance(layout.attendants, dict) else ():
        yield from _known(source, (*at, "attendants", shift), shift, list(scenario.week.shifts), "shift")
    yield from _battery_names(scenario, name, source)


def _battery_names(scenario: Scenario, name: str, source: LocatedData) -> Iterator[Problem]:
    """Battery types that a layout counts and no truck has."""
    in_use = list(dict.fromkeys(group.battery for group in scenario.trucks))
    if not set(in_use) <= set(scenario.batteries):
        in_use = list(scenario.batteries)  # a name is wrong, so which are in use is not known
    for battery in scenario.layouts[name].batteries or ():
        if battery and battery not in in_use:
            rule = f"no truck has a battery of this type{did_you_mean(battery, in_use)}"
            yield source.problem(("layouts", name, "batteries", battery), rule, of_key=True)


def _known(
    source: LocatedData, path: Path, name: str, known: list[str], what: str, offers: Offers = MappingProxyType({})
) -> Iterator[Problem]:
    """Report a name that nothing carries."""
    if name not in known:
        rule = f"no {what} of this name{did_you_mean(name, known, offers.get(what, ()))}"
        is_key = path[-1] == name
        yield source.problem(path, rule, got=None if is_key else shown(name), of_key=is_key)


def _shifts(scenario: Scenario, source: LocatedData) -> Iterator[Problem]:
    """Shifts of one group must not overlap, nor leave no working time."""
    for number, group in enumerate(scenario.trucks):
        if any(name not in scenario.week.shifts for name in group.shifts):
            continue
        windows = {name: _one_week(scenario, name) for name in group.shifts}
        for first, second in combinations(group.shifts, 2):
            both = common(windows[first], windows[second])
            if both:
                got = f"'{first}' and '{second}', both at work on {moment_text(max(start for start, _ in both))}"
                yield source.problem(("trucks", number, "shifts"), "a truck works one shift at a time", got=got)
        if not any(windows.values()):
            yield source.problem(("trucks", number, "shifts"), "leaves no working time; see days, breaks, handover")


def _together(scenario: Scenario, source: LocatedData) -> Iterator[Problem]:
    """Groups of one battery type keep their own batteries all or none; a growing fleet has no list of first runs."""
    own: dict[str, bool] = {}
    for number, group in enumerate(scenario.trucks):
        path: Path = ("trucks", number)
        if own.setdefault(group.battery, group.own_batteries) != group.own_batteries:
            rule = f"must be the same for all groups with battery type '{group.battery}'"
            yield source.problem((*path, "own_batteries"), rule)
        listed = group.first_run_min
        if listed is not None and not isinstance(listed[0], tuple) and len(listed) != group.count:
            rule = (
                f"lists {len(listed)} durations, and the fleet grows to {group.count}; write {{first: ..., every: ...}}"
            )
            yield source.problem((*path, "first_run"), rule)


def _one_week(scenario: Scenario, name: str) -> list[Window]:
    """Working windows of a shift in the second week, when those over the week's end are whole."""
    return [
        window for window in shift_windows(scenario.week.shifts[name], 2 * WEEK_MIN + DAY_MIN) if window[0] >= WEEK_MIN
    ]


def _levels(scenario: Scenario, source: LocatedData) -> Iterator[Problem]:
    """Charge levels must be in order, a battery must last a while, and a run must be of sane length."""
    for number, group in enumerate(scenario.trucks):
        battery = scenario.batteries.get(group.battery)
        if battery is None:
            continue
        if not battery.discharge_to_share <= group.exchange_at_share < 1.0:
            rule = (
                f"must lie between the battery's cut-out ('discharge_to', {100 * battery.discharge_to_share:g} %) "
                f"and 100 %"
            )
            got = f"{100 * group.exchange_at_share:g} %"
            yield source.problem(("trucks", number, "exchange_at"), rule, got=got)
        elif group.duty is not None and all(name in scenario.week.shifts for name in group.shifts):
            yield from _strength(scenario, number, group.duty, source)
    weeks = (scenario.simulation.length_min + scenario.simulation.warm_up_min) / WEEK_MIN
    if weeks > LONGEST_WEEKS:
        rule = f"length and warm-up must not exceed {LONGEST_WEEKS} weeks together"
        yield source.problem(("simulation", "length"), rule, got=f"{weeks:g} weeks")


def _strength(scenario: Scenario, number: int, duty: Duty, source: LocatedData) -> Iterator[Problem]:
    """Find a power or energy that empties its battery in minutes, which is a slip in a unit."""
    group = scenario.trucks[number]
    if duty.mean_kw is not None:
        key, kw, got = "mean_power", duty.mean_kw, f"{duty.mean_kw:g} kW"
    else:
        energy = duty.energy_per_shift_kwh or 0.0
        hours = mean_shift_min(scenario.week, group.shifts) / 60.0
        key, kw, got = "energy_per_shift", energy / hours if hours else 0.0, f"{energy:g} kWh"
    temperature = group.temperature_degc
    figures = scenario.figures
    coldest_week = figures["site.coldest_week"].value
    air = (group.air or scenario.site.room_air).in_week(scenario.simulation.start_week, coldest_week)
    at = air if temperature is None else temperature
    cell = cell_of(scenario.batteries[group.battery], figures, at)
    minutes = 60.0 * discharge_at_power(1.0, group.exchange_at_share, kw * 1000.0, cell)[0]
    if minutes < SHORTEST_RUN_MIN:
        rule = f"would empty '{group.battery}' in {minutes:.0f} min; state what one truck draws over its shift"
        yield source.problem(("trucks", number, "duty", key), rule, got=got)
