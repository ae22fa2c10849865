"""A scenario to start from whose layouts do not lose hours: counts are raised until little is waited for.

Rules of thumb give the counts to begin with; a few simulated weeks say what is waited for, and that is raised. Spare
batteries that nobody ever took are left out again. None of this looks for the cheapest counts: that is a decision.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import replace

from batsim.errors import ScenarioError
from batsim.measures import WITHIN_TARGET
from batsim.scenario.parts.calendar import mean_shift_min
from batsim.scenario.parts.kinds import UNLIMITED
from batsim.scenario.reading import read_scenario_text
from batsim.scenario.settings import Settings
from batsim.scenario.site import Scenario
from batsim.scenario.starter import IN_TRUCK, NAMES, PlannedArea, PlannedLayout, Starter, survey_problems, ways_in_truck
from batsim.scenario.survey import COMMAND, Survey
from batsim.study.running.counts import (
    ATTENDANTS,
    BATTERIES,
    BAYS,
    CHARGERS,
    DEVICES,
    STATIONS,
    Counted,
    Counts,
    counts_of,
    with_counts,
)
from batsim.study.running.replications import run
from batsim.study.running.runs import Runs

QUICK = Settings(replications=1, weeks=1.0, warm_up_weeks=1.0, workers=1)
TRIAL = Settings(replications=2, weeks=3.0, warm_up_weeks=1.0, workers=1)
"""How long the first attempts are simulated, and the last ones."""
MOST_ATTEMPTS, IN_VAIN = 15, 3
"""Attempts in all, and in a row without a gain: then more of everything does not help."""
GAIN = 0.9
"""Part of the waiting so far to which it must fall for a gain."""
WAITING_SHARE = 0.1
"""Part of the downtime that is the target which may be waiting."""
BATTERY, ATTENDANT = "battery", "attendant"
CAUSES = {STATIONS: "station", BAYS: "bay", ATTENDANTS: ATTENDANT, DEVICES: "device"}
"""What there is more of when trucks wait for it, besides batteries, and what such a wait is called."""
WITHIN = WITHIN_TARGET.name
SPARE = 1
"""Ready batteries of a type that are left even if none was ever taken."""

Tell = Callable[[str], None]


def starter_scenario(survey: Survey, tell: Tell | None = None) -> str:
    """Write a scenario to start from.

    Parameters
    ----------
    survey
        What is known.
    tell
        Called with what is being tried.

    Returns
    -------
    str
        YAML text that `read` takes.

    Raises
    ------
    ScenarioError
        When what is stated of today's layout breaks a rule.
    """
    if problems := survey_problems(survey):
        raise ScenarioError(COMMAND, problems)
    tell = tell or (lambda _: None)
    starter = Starter(survey, _in_truck(survey, tell))
    plans = _sized(starter, starter.layouts(), tell)
    for number, plan in enumerate(plans):
        if len(plan.areas) > 1:
            tell(f"attendants of {plan.name}")
            plans[number] = _manned(starter, plan)
    text = starter.text(plans)
    read_scenario_text(text)
    return text


def _sized(starter: Starter, plans: list[PlannedLayout], tell: Tell) -> list[PlannedLayout]:
    """Layouts with counts for each of their areas; the same area is worked out once."""
    draft = read_scenario_text(starter.text(plans))
    sized: dict[tuple[str, tuple[str, ...]], PlannedArea] = {}
    for plan in plans:
        for area, site in zip(plan.areas, draft.areas_of(plan.name).values(), strict=True):
            if area.handling != IN_TRUCK and area.key not in sized:
                tell(f"counts of {NAMES[area.handling]} for {', '.join(area.groups)}")
                sized[area.key] = _counted(area, _enough(site, plan.name), plan.name)
    return [plan._replace(areas=tuple(sized.get(area.key, area) for area in plan.areas)) for plan in plans]


def _manned(starter: Starter, plan: PlannedLayout) -> PlannedLayout:
    """Raise the attendants that the areas of a layout share until little is waited for them, or no more helps."""
    kept, least = plan, math.inf
    for _ in range(MOST_ATTEMPTS):
        site = read_scenario_text(starter.text([plan])).with_layouts([plan.name])
        runs = _tried(site, plan.name)
        waited = max(_waits(runs.groups[group.group], plan.name)[ATTENDANT] for group in site.trucks)
        if waited > GAIN * least:
            break
        kept, least = plan, waited
        if waited <= _most_waiting(site):
            break
        more = [{shift: number + 1 for shift, number in area.attendants.items()} for area in plan.areas]
        areas = [area._replace(attendants=each) for area, each in zip(plan.areas, more, strict=True)]
        plan = plan._replace(areas=tuple(areas))
    return kept


def _in_truck(survey: Survey, tell: Tell) -> dict[str, int]:
    """By group, the first way to be charged in the truck in which it loses no more than the target; else the last."""
    last = {group.group: len(ways_in_truck(group)) - 1 for group in survey.groups}
    chosen = dict.fromkeys(last, 0)
    while True:
        tell(f"{NAMES[IN_TRUCK]}: {', '.join(chosen)}")
        behind = [name for name in _behind_in_truck(Starter(survey, chosen)) if chosen[name] < last[name]]
        if not behind:
            return chosen
        chosen |= {name: chosen[name] + 1 for name in behind}


def _behind_in_truck(starter: Starter) -> list[str]:
    """Groups that lose more than the target where all are charged in the truck; all where batteries are too weak."""
    plan = starter.layouts()[-1]
    try:
        site = read_scenario_text(starter.text([plan])).with_layouts([plan.name])
    except ScenarioError:
        return list(starter.groups)
    groups = _tried(site, plan.name, QUICK).groups
    lost = {name: float(groups[name].values[plan.name]["downtime_min_per_truck_shift"].mean()) for name in groups}
    most = site.targets.downtime_min_per_truck_shift or 0.0
    return [name for name, minutes in lost.items() if minutes > most]


def _enough(site: Scenario, layout: str) -> Scenario:
    """Raise the counts of a layout of one area until little is waited for, then leave out what nobody ever took."""
    for trial in (QUICK, TRIAL):
        site, runs = _raised(site, layout, trial)
    fewer = _with(site, layout, _unused(site, layout, runs))
    return fewer if fewer is site or not _more(fewer, layout, _tried(fewer, layout))[1] else site


def _tried(site: Scenario, layout: str, trial: Settings | None = None) -> Runs:
    """Simulate a layout for a few weeks."""
    return run(site, replace(trial or TRIAL, layouts=layout))


def _raised(site: Scenario, layout: str, trial: Settings) -> tuple[Scenario, Runs]:
    """Raise the counts of a layout of one area until little is waited for, or no more helps; with its last trial."""
    runs = _tried(site, layout, trial)
    kept, least, in_vain = (site, runs), math.inf, 0
    for _ in range(MOST_ATTEMPTS):
        waited, more = _more(site, layout, runs)
        in_vain = in_vain + 1 if waited > GAIN * least else 0
        if not in_vain or not more:
            kept, least = (site, runs), waited
        if not more or in_vain == IN_VAIN:
            break
        site = _with(site, layout, more)
        runs = _tried(site, layout, trial)
    return kept


def _with(site: Scenario, layout: str, more: Mapping[Counted, float]) -> Scenario:
    """Return a scenario whose layout has more, or less, of some things."""
    if not more:
        return site
    numbers = counts_of(site, layout)
    return with_counts(site, Counts(layout, tuple((thing, numbers[thing] + add) for thing, add in more.items())))


def _more(site: Scenario, layout: str, runs: Runs) -> tuple[float, dict[Counted, float]]:
    """How long the group waits that waits longest, and what there must be more of: nothing where that is little."""
    waits = {group.group: _waits(runs.groups[group.group], layout) for group in site.trucks}
    worst = max(waits.values(), key=lambda minutes: sum(minutes.values()))
    waited = sum(worst.values())
    if waited <= _most_waiting(site) and not _too_many_wait(site, runs, layout):
        return waited, {}
    long_min = max(worst.values()) / 2.0
    more: dict[Counted, float] = {
        thing: 1
        for thing, number in counts_of(site, layout).items()
        if thing.kind in CAUSES and 0 < number < UNLIMITED and worst[CAUSES[thing.kind]] >= long_min > 0.0
    }
    for group in site.trucks:
        minutes = waits[group.group][BATTERY]
        if minutes >= long_min > 0.0:  # as many more as trucks wait for one on average
            waiting = group.count * minutes / mean_shift_min(site.week, group.shifts)
            _add_batteries(site, layout, group.battery, math.ceil(waiting), more)
    return waited, more


def _add_batteries(site: Scenario, layout: str, battery: str, number: int, more: dict[Counted, float]) -> None:
    """Add batteries of a type, or take them away, and as many chargers for them."""
    charger = next(name for name in site.layouts[layout].chargers_by_type if battery in site.served_by(name))
    for thing in (Counted(BATTERIES, battery), Counted(CHARGERS, charger)):
        more[thing] = more.get(thing, 0) + number


def _most_waiting(site: Scenario) -> float:
    """Waiting that does no harm. [min per truck-shift]"""
    return WAITING_SHARE * (site.targets.downtime_min_per_truck_shift or 0.0)


def _too_many_wait(site: Scenario, runs: Runs, layout: str) -> bool:
    """Whether waits miss their target."""
    wanted = site.targets.waits
    return wanted is not None and bool(runs.pooled(layout, WITHIN).mean() < wanted.share)


def _waits(runs: Runs, layout: str) -> dict[str, float]:
    """Mean wait by what is waited for. [min per truck-shift]"""
    values = runs.values[layout]
    return {cause: float(values[f"wait_{cause}_min_per_truck_shift"].mean()) for cause in (BATTERY, *CAUSES.values())}


def _unused(site: Scenario, layout: str, runs: Runs) -> dict[Counted, float]:
    """Batteries of each type that nobody ever took, as less than nothing, and their chargers."""
    less: dict[Counted, float] = {}
    for battery, trucks in site.trucks_by_battery.items():
        unused = int(runs.battery_types[battery].values[layout]["ready_batteries_min"].min()) - SPARE
        fewer = min(unused, int(site.batteries_of(layout)[battery]) - trucks - 1)
        if fewer > 0:
            _add_batteries(site, layout, battery, -fewer, less)
    return less


def _counted(area: PlannedArea, site: Scenario, layout: str) -> PlannedArea:
    """Return the plan of an area with the counts of its layout."""
    found: dict[str, dict[str, float]] = {}
    for thing, number in counts_of(site, layout).items():
        found.setdefault(thing.kind, {})[thing.name] = number
    return area._replace(
        stations=found[STATIONS][""],
        devices=found[DEVICES],
        chargers=found[CHARGERS],
        batteries={name: int(number) for name, number in found[BATTERIES].items()},
        attendants={shift: int(number) for shift, number in found.get(ATTENDANTS, {}).items()},
    )
