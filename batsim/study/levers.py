"""Levers: what a layout may do otherwise with nothing bought; when trucks come, who exchanges, how chargers are led."""

import csv
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import NamedTuple

from batsim.catalogue import Figure
from batsim.errors import ScenarioError
from batsim.scenario.checks.group_checks import group_problems
from batsim.scenario.checks.layout_checks import layout_problems
from batsim.scenario.parts.group_change import ATTENDANTS, DRIVERS, GroupChange
from batsim.scenario.parts.handling import BOUND_TO_BAY, LOOSE
from batsim.scenario.parts.trucks import ExchangeWhen, Roster, TruckGroup
from batsim.scenario.site import Scenario
from batsim.scenario.text.located_data import LocatedData

SPREAD, AT_LEVEL, EARLY, IN_BREAKS = "spread", "at_level", "early", "in_breaks"
BY_DRIVERS, BY_ATTENDANTS, LOOSE_LEADS = "by_drivers", "by_attendants", "loose_leads"


with Path(__file__).with_name("levers.csv").open(newline="", encoding="utf-8") as _lines:
    LABELS = {row["kind"]: row["label"] for row in csv.DictReader(_lines)}
"""Each lever in words; `{of}` stands for what it concerns, `{value}` for its figure."""


class Lever(NamedTuple):
    """One thing done otherwise."""

    kind: str
    of: str
    """Truck group that it concerns; of who exchanges and of charger leads the area, no name where that is all."""

    def label(self, scenario: Scenario) -> str:
        """What it is, in words."""
        label, of = LABELS[self.kind], f" of '{self.of}'" if self.of else ""
        return label.format(of=of, value=_figure(scenario, self.kind).text if "{value}" in label else "")


def levers_of(scenario: Scenario, layout: str) -> list[Lever]:
    """Find what a layout may do otherwise: what it does not do already, and no rule of a scenario forbids.

    Parameters
    ----------
    scenario, layout
        The site and the name of one of its layouts.
    """
    found: list[Lever] = []
    for area, site in scenario.areas_of(layout).items():
        if not site.arrangement(layout).in_truck:
            for group in site.trucks:
                found += [Lever(kind, group.group) for kind in _when(site, group)]
            found += [Lever(kind, area) for kind in _how(site, layout)]
    return [lever for lever in found if _allowed(scenario, layout, lever)]


def with_levers(scenario: Scenario, layout: str, levers: Iterable[Lever]) -> Scenario:
    """Return a copy in which a layout does some things otherwise.

    Raises
    ------
    ScenarioError
        When the layout breaks a rule with them.
    """
    changed = scenario
    for lever in levers:
        stated = changed.layouts[layout]
        if lever.kind == LOOSE_LEADS:
            area = stated.by_area[lever.of].model_copy(update={"charger_leads": LOOSE})
            made = stated.with_area(lever.of, area)
        else:
            trucks = {name: stated.trucks.get(name, GroupChange()).model_copy(update=change)
                      for name, change in _changes(changed, layout, lever)}  # fmt: skip
            made = stated.model_copy(update={"trucks": {**stated.trucks, **trucks}})
        changed = changed.with_layout(layout, made)
    nowhere = LocatedData(scenario.file, None)
    problems = [*group_problems(changed.with_layouts([layout]), nowhere), *layout_problems(changed, layout)]
    if problems:
        raise ScenarioError(scenario.file, problems)
    return changed


def _when(site: Scenario, group: TruckGroup) -> Iterator[str]:
    """Other times at which trucks of a group may come."""
    when = group.exchange_when
    if when.shift_change != "never":
        if when.spread.over_min < _figure(site, SPREAD).value:
            yield SPREAD
        yield AT_LEVEL
    if group.run_time_min is None and when.early_below_share is None:
        yield EARLY
    breaks = any(site.week.shifts[shift].breaks for shift in group.shifts)
    if breaks and when.in_breaks_below_share is None:
        yield IN_BREAKS


def _how(site: Scenario, layout: str) -> Iterator[str]:
    """Other people who may exchange in an area, and other charger leads."""
    stated = site.layouts[layout]
    by_drivers = {stated.exchanged_by_drivers(shift, group.group) for group in site.trucks for shift in group.shifts}
    if by_drivers != {True}:
        yield BY_DRIVERS
    if by_drivers != {False} and not stated.drivers_only:
        yield BY_ATTENDANTS
    if site.arrangement(layout).charger_leads == BOUND_TO_BAY:
        yield LOOSE_LEADS


def _changes(scenario: Scenario, layout: str, lever: Lever) -> Iterator[tuple[str, dict[str, object]]]:
    """What a lever changes of each truck group that it concerns."""
    if lever.kind in (BY_DRIVERS, BY_ATTENDANTS):
        for group in scenario.areas_of(layout)[lever.of].trucks:
            yield group.group, {"exchange_by": DRIVERS if lever.kind == BY_DRIVERS else ATTENDANTS}
    else:
        group = next(each for each in scenario.in_layout(layout).trucks if each.group == lever.of)
        yield lever.of, {"exchange_when": _come(scenario, group.exchange_when, lever.kind)}


def _come(scenario: Scenario, when: ExchangeWhen, kind: str) -> ExchangeWhen:
    """When trucks come with a lever."""
    value = _figure(scenario, kind).value if "{value}" in LABELS[kind] else 0.0
    changes: dict[str, dict[str, object]] = {
        SPREAD: {"spread": Roster(value, anew=False)},
        AT_LEVEL: {"shift_change": "never"},
        EARLY: {"early_below_share": value / 100.0},
        IN_BREAKS: {"in_breaks_below_share": value / 100.0},
    }
    return when.model_copy(update=changes[kind])


def _figure(scenario: Scenario, kind: str) -> Figure:
    """Figure that a lever takes."""
    return scenario.figures[f"lever.{kind}"]


def _allowed(scenario: Scenario, layout: str, lever: Lever) -> bool:
    """Whether no rule of a scenario forbids a lever."""
    try:
        with_levers(scenario, layout, [lever])
    except ScenarioError:
        return False
    return True
