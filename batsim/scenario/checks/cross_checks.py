"""Rules that need more than one part of a scenario: names that must exist, counts that must fit."""

from collections.abc import Iterator
from itertools import combinations

from batsim.errors import Problem
from batsim.scenario.checks.group_checks import group_problems
from batsim.scenario.checks.layout_checks import layout_problems
from batsim.scenario.checks.price_checks import Offers, price_problems
from batsim.scenario.checks.survey_checks import survey_problems
from batsim.scenario.parts.calendar import Window, common, shift_windows
from batsim.scenario.parts.faults import did_you_mean, shown
from batsim.scenario.parts.layouts import Area, Equipped, Layout
from batsim.scenario.parts.week import DAY_MIN, WEEK_MIN, Shift, moment_text
from batsim.scenario.settings import LONGEST_WEEKS
from batsim.scenario.site import Scenario
from batsim.scenario.text.located_data import LocatedData, Path


def cross_checks(scenario: Scenario, source: LocatedData, offers: Offers) -> list[Problem]:
    """Find every broken rule between the parts of a scenario; `offers` are the names of the catalogue by kind."""
    names = [
        *_unknown_names(scenario, source, offers),
        *_areas(scenario, source),
        *_battery_counts(scenario, source),
    ]
    levels = [*group_problems(scenario, source), *_length(scenario, source)]
    problems = [
        *names,
        *levels,
        *_shifts(scenario, source),
        *_seasons(scenario, source),
        *_together(scenario, source),
        *price_problems(scenario, source, offers),
        *survey_problems(scenario, source, offers["equipment"]),
    ]
    if not names and not levels:
        for name in scenario.layouts:
            problems += layout_problems(scenario, name, source)
    return problems


def _unknown_names(scenario: Scenario, source: LocatedData, offers: Offers) -> Iterator[Problem]:
    """Find names that nothing carries, and groups of the same name."""
    groups = [group.group for group in scenario.trucks]
    known = {
        "truck group": groups,
        "shift": list(scenario.week.shifts),
        "battery type": list(scenario.batteries),
        "charger type": list(scenario.chargers),
        "handling arrangement": list(scenario.handling),
        "layout": list(scenario.layouts),
    }
    for path, name, kind in _references(scenario, source):
        if name not in known[kind]:
            also = offers.get(kind, ()) if path[0] != "chargers" else ()  # a charger adds nothing from the catalogue
            rule, is_key = f"no {kind} of this name{did_you_mean(name, known[kind], also)}", path[-1] == name
            yield source.problem(path, rule, got=None if is_key else shown(name), of_key=is_key)
    for number, name in enumerate(groups):
        if name in groups[:number]:
            yield source.problem(("trucks", number, "group"), "two groups have this name", got=shown(name))
    for name in scenario.targets.groups:
        if name not in groups:
            rule = f"no truck group of this name{did_you_mean(name, groups)}"
            yield source.problem(("targets", "groups", name), rule, of_key=True)


def _references(scenario: Scenario, source: LocatedData) -> Iterator[tuple[Path, str, str]]:
    """Names by which parts refer to others: where they stand, the name, the kind of thing."""
    for number, group in enumerate(scenario.trucks):
        for position, shift in enumerate(group.shifts):
            yield ("trucks", number, "shifts", position), shift, "shift"
        yield ("trucks", number, "battery"), group.battery, "battery type"
    for charger, kind in scenario.chargers.items():
        for position, battery in enumerate(kind.batteries):
            yield ("chargers", charger, "batteries", position), battery, "battery type"
    for name, layout in scenario.layouts.items():
        yield from _references_of(layout, ("layouts", name), source)
    if scenario.present is not None:
        yield ("present",), scenario.present, "layout"


def _references_of(layout: Layout, at: Path, source: LocatedData) -> Iterator[tuple[Path, str, str]]:
    """Names by which a layout refers to other parts."""
    by_shifts = [(("attendants",), layout.attendants), *layout.stated_by_whom]
    for name, area in layout.by_area.items():
        yield from _equipment_references(area, (*at, "areas", name) if name else at, source)
        if isinstance(area, Area):
            by_shifts.append((("areas", name, "attendants"), area.attendants))
            for position, group in enumerate(area.groups):
                yield (*at, "areas", name, "for", position), group, "truck group"
    for keys, by_shift in by_shifts:
        for shift in by_shift if isinstance(by_shift, dict) else ():
            yield (*at, *keys, shift), shift, "shift"
    for group, change in layout.trucks.items():
        yield (*at, "trucks", group), group, "truck group"
        if change.battery is not None:
            yield (*at, "trucks", group, "battery"), change.battery, "battery type"


def _equipment_references(area: Equipped, at: Path, source: LocatedData) -> Iterator[tuple[Path, str, str]]:
    """Names by which an area refers to arrangements and chargers."""
    yield (*at, "handling"), area.handling, "handling arrangement"
    if area.standby is not None:
        yield (*at, "standby", "handling"), area.standby.handling, "handling arrangement"
    in_a_list = source.holds((*at, "chargers", 0))
    for position, count in enumerate(area.chargers):
        yield (*at, "chargers", position) if in_a_list else (*at, "chargers"), count.charger, "charger type"


def _areas(scenario: Scenario, source: LocatedData) -> Iterator[Problem]:
    """Truck groups that no area of a layout serves, or more than one."""
    for name, layout in scenario.layouts.items():
        served: dict[str, str] = {}
        for area_name, area in layout.areas.items():
            for position, group in enumerate(area.groups):
                if group in served:
                    rule = f"'{served[group]}' serves this truck group; one area serves each"
                    path: Path = ("layouts", name, "areas", area_name, "for", position)
                    yield source.problem(path, rule, got=shown(group))
                served.setdefault(group, area_name)
        left = [group.group for group in scenario.trucks if layout.areas and group.group not in served]
        if left:
            rule = f"no area serves {' and '.join(map(repr, left))}; add to 'for' of the area that does"
            yield source.problem(("layouts", name, "areas"), rule)


def _battery_counts(scenario: Scenario, source: LocatedData) -> Iterator[Problem]:
    """Battery types that a layout counts and no truck has."""
    groups = {group.group for group in scenario.trucks}
    for name, layout in scenario.layouts.items():
        for area, site in scenario.areas_of(name).items():
            in_use = list(site.trucks_by_battery)
            served = layout.areas[area].groups if area else ()
            if not (set(in_use) <= set(scenario.batteries) and groups.issuperset(served)):
                in_use = list(scenario.batteries)  # a name is wrong, so which are in use is not known
            here = " in this area" if area else " in this layout" if layout.trucks else ""
            keys = ("areas", area, "batteries") if area else ("batteries",)
            for battery in layout.by_area[area].batteries or ():
                if battery and battery not in in_use:
                    rule = f"no truck has a battery of this type{here}{did_you_mean(battery, in_use)}"
                    yield source.problem(("layouts", name, *keys, battery), rule, of_key=True)


def _shifts(scenario: Scenario, source: LocatedData) -> Iterator[Problem]:
    """Shifts of one group must not overlap, nor leave no working time."""
    for number, group in enumerate(scenario.trucks):
        if any(name not in scenario.week.shifts for name in group.shifts):
            continue
        windows = {name: _second_week(scenario.week.shifts[name]) for name in group.shifts}
        for first, second in combinations(group.shifts, 2):
            both = common(windows[first], windows[second])
            if both:
                got = f"'{first}' and '{second}', both at work on {moment_text(max(start for start, _ in both))}"
                yield source.problem(("trucks", number, "shifts"), "a truck works one shift at a time", got=got)
        if not any(windows.values()):
            yield source.problem(("trucks", number, "shifts"), "leaves no working time; see days, breaks, handover")


def _second_week(shift: Shift) -> list[Window]:
    """Working windows of a shift in the second week, when those over the week's end are whole."""
    return [window for window in shift_windows(shift, 2 * WEEK_MIN + DAY_MIN) if window[0] >= WEEK_MIN]


def _seasons(scenario: Scenario, source: LocatedData) -> Iterator[Problem]:
    """Weeks of a shift must be those of one season or another, so that a season is the same all through."""
    shifts = scenario.week.shifts
    for name, shift in shifts.items():
        for weeks in shift.weeks or ():
            others = [season.text for season in scenario.seasons if season != weeks and season.overlaps(weeks)]
            if others:
                rule = f"must be the weeks of one season, or lie outside of all; state weeks {others[0]} in parts"
                yield source.problem(("week", "shifts", name, "weeks"), rule, got=weeks.text)
    if all(name in shifts and shifts[name].weeks for group in scenario.trucks for name in group.shifts):
        yield source.problem(("week", "shifts"), "no truck works in normal weeks; one of its shifts needs no 'weeks'")


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
            rule = f"lists {len(listed)} durations, and the fleet grows to {group.count}"
            yield source.problem((*path, "first_run"), f"{rule}; write {{first: ..., every: ...}}")


def _length(scenario: Scenario, source: LocatedData) -> Iterator[Problem]:
    """A run must be of sane length."""
    weeks = (scenario.simulation.length_min + scenario.simulation.warm_up_min) / WEEK_MIN
    if weeks > LONGEST_WEEKS:
        rule = f"length and warm-up must not exceed {LONGEST_WEEKS} weeks together"
        yield source.problem(("simulation", "length"), rule, got=f"{weeks:g} weeks")
