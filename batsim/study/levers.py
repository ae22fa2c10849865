"""Levers: what a layout may do otherwise with nothing bought; when trucks come, who exchanges, how chargers are led.

`levers_of` lists what saves downtime by itself; `choices_of` all that a plan may choose, the dearer hours of charging
and doing without attendants among it.
"""

import csv
from collections.abc import Iterable, Iterator
from functools import partial
from pathlib import Path
from typing import NamedTuple

from batsim.catalogue import Figure
from batsim.errors import ScenarioError
from batsim.scenario.checks.group_checks import group_problems
from batsim.scenario.checks.layout_checks import layout_problems
from batsim.scenario.parts.group_change import ATTENDANTS, BY_WHOM_KEYS, DRIVERS, GroupChange
from batsim.scenario.parts.handling import BOUND_TO_BAY, LOOSE
from batsim.scenario.parts.layouts import Layout
from batsim.scenario.parts.trucks import ExchangeWhen, Roster, TruckGroup
from batsim.scenario.site import Scenario
from batsim.scenario.text.located_data import LocatedData

SPREAD, AT_LEVEL, NOT_ABOVE, EARLY, IN_BREAKS = "spread", "at_level", "not_above", "early", "in_breaks"
BY_DRIVERS, BY_ATTENDANTS, WITHOUT_ATTENDANTS = "by_drivers", "by_attendants", "without_attendants"
LOOSE_LEADS, DELAY, POWER_LIMIT = "loose_leads", "delay", "power_limit"
EXCHANGE_WHEN, EXCHANGE_BY, CHARGER_LEADS, CHARGING = SUBJECTS = (
    "exchange_when", "exchange_by", "charger_leads", "charging",
)  # fmt: skip
"""What levers are about, as a layout calls it."""


with Path(__file__).with_name("levers.csv").open(newline="", encoding="utf-8") as _lines:
    LABELS = {row["kind"]: row["label"] for row in csv.DictReader(_lines)}
"""Each lever in words; `{of}` stands for what it concerns, `{value}` for its figure."""


class Lever(NamedTuple):
    """One thing done otherwise."""

    kind: str
    of: str
    """Truck group that it concerns; of who exchanges and of charger leads the area, no name where that is all."""
    value: float = 0.0
    """How much, in the unit of its figure (kW of a power limit); the value of that figure when 0."""
    shift: str = ""
    """Shift of the trucks in which another exchanges; all when empty."""

    def label(self, scenario: Scenario) -> str:
        """What it is, in words."""
        of, shift = f" of '{self.of}'" if self.of else "", f" in shift '{self.shift}'" if self.shift else ""
        return LABELS[self.kind].format(of=of, shift=shift, value=self._amount(scenario))

    def _amount(self, scenario: Scenario) -> str:
        """How much, with its unit; empty where a lever has none."""
        if self.kind == POWER_LIMIT:
            return f"{self.value:g} kW"
        if "{value}" not in LABELS[self.kind]:
            return ""
        figure = _figure(scenario, self.kind)
        return figure._replace(value=self.value).text if self.value else figure.text

    def number(self, scenario: Scenario) -> float:
        """How much: its own value, else that of its figure."""
        return self.value or _figure(scenario, self.kind).value


class Choice(NamedTuple):
    """Something that may be done in one of several ways."""

    subject: str
    """One of `SUBJECTS`."""
    options: tuple[tuple[Lever, ...], ...]
    """What is done otherwise in each of the ways; the first is as the layout states it, without a lever."""
    of: str = ""
    """Truck group or area that it concerns; empty where that is all."""


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
    return [lever for lever in found if _allowed(scenario, layout, [lever])]


def choices_of(scenario: Scenario, layout: str, peak_kw: float = 0.0) -> list[Choice]:
    """Find everything in which a layout may choose how it is done, with the ways that no rule of a scenario forbids.

    Parameters
    ----------
    scenario, layout
        The site and the name of one of its layouts.
    peak_kw
        Peak of the load without a power limit, of which a limit is a part; no limit is tried when 0. [kW]
    """
    found: list[Choice] = []
    for area, site in scenario.areas_of(layout).items():
        if site.arrangement(layout).in_truck:
            continue
        found += [choice for group in site.trucks for choice in _whens(site, group)]
        found += _by_shift(site, layout, area)
        if site.arrangement(layout).charger_leads == BOUND_TO_BAY:
            found.append(_choice(CHARGER_LEADS, area, [Lever(LOOSE_LEADS, area)]))
    if not scenario.layouts[layout].drivers_only:
        found.append(_choice(EXCHANGE_BY, "", [Lever(WITHOUT_ATTENDANTS, "")]))
    found += _charging(scenario, layout, peak_kw)
    return [choice for choice in map(partial(_of_what_is_allowed, scenario, layout), found) if len(choice.options) > 1]


def _of_what_is_allowed(scenario: Scenario, layout: str, choice: Choice) -> Choice:
    """A choice between the ways that no rule of a scenario forbids."""
    return choice._replace(options=tuple(way for way in choice.options if _allowed(scenario, layout, way)))


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
        elif lever.kind == WITHOUT_ATTENDANTS:
            made = _without_attendants(stated)
        elif lever.kind in (DELAY, POWER_LIMIT):
            key = "delay_min" if lever.kind == DELAY else "power_limit_kw"
            rules = changed.charging_of(layout).model_copy(update={key: lever.number(changed)})
            made = stated.model_copy(update={"charging": rules})
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
        if when.shift_change == "if_short" and when.not_above_share > _figure(site, NOT_ABOVE).value / 100.0:
            yield NOT_ABOVE
        yield AT_LEVEL
    if group.run_time_min is None and when.early_below_share is None:
        yield EARLY
    breaks = any(site.week.shifts[shift].breaks for shift in group.shifts)
    if breaks and when.in_breaks_below_share is None:
        yield IN_BREAKS


def _whens(site: Scenario, group: TruckGroup) -> Iterator[Choice]:
    """In which ways trucks of a group may come: at the shift change, and beside it; spread over more time too."""
    kinds, name = list(_when(site, group)), group.group
    shift_change = [Lever(kind, name) for kind in kinds if kind in (SPREAD, AT_LEVEL)]
    most = _figure(site, SPREAD).high
    if group.exchange_when.shift_change != "never" and group.exchange_when.spread.over_min < most:
        shift_change.insert(SPREAD in kinds, Lever(SPREAD, name, most))
    yield _choice(EXCHANGE_WHEN, name, shift_change)
    for kind in (NOT_ABOVE, EARLY, IN_BREAKS):
        yield _choice(EXCHANGE_WHEN, name, [Lever(kind, name)] * (kind in kinds))


def _by_shift(site: Scenario, layout: str, area: str) -> Iterator[Choice]:
    """Who may exchange in each shift of the trucks of an area: the others."""
    stated = site.layouts[layout]
    if stated.drivers_only:
        return
    for shift in dict.fromkeys(shift for group in site.trucks for shift in group.shifts):
        groups = [group.group for group in site.trucks if shift in group.shifts]
        by_drivers = {stated.exchanged_by_drivers(shift, group) for group in groups}
        kinds = [BY_DRIVERS] * (by_drivers != {True}) + [BY_ATTENDANTS] * (by_drivers != {False})
        yield _choice(EXCHANGE_BY, area, [Lever(kind, area, shift=shift) for kind in kinds])


def _charging(scenario: Scenario, layout: str, peak_kw: float) -> Iterator[Choice]:
    """When charges may begin, and how much all chargers may draw."""
    rules = scenario.charging_of(layout)
    if not rules.delay_min:
        yield _choice(CHARGING, "", [Lever(DELAY, "")])
    if rules.power_limit_kw is None and peak_kw > 0.0:
        limit_kw = round(peak_kw * _figure(scenario, POWER_LIMIT).value / 100.0)
        yield _choice(CHARGING, "", [Lever(POWER_LIMIT, "", float(max(1, limit_kw)))])


def _choice(subject: str, of: str, levers: list[Lever]) -> Choice:
    """As it is, or with one of some levers."""
    return Choice(subject, ((), *((lever,) for lever in levers)), of)


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
        who = DRIVERS if lever.kind == BY_DRIVERS else ATTENDANTS
        site = scenario.areas_of(layout)[lever.of]
        for group in site.trucks:
            if not lever.shift:
                yield group.group, {"exchange_by": who}
            elif lever.shift in group.shifts:
                yield group.group, {"exchange_by": _in_shift(site.layouts[layout], group, lever.shift, who)}
    else:
        group = next(each for each in scenario.in_layout(layout).trucks if each.group == lever.of)
        yield lever.of, {"exchange_when": _come(scenario, group.exchange_when, lever)}


def _in_shift(layout: Layout, group: TruckGroup, shift: str, who: str) -> str | dict[str, str]:
    """Who exchanges the batteries of a group, with others in one shift; one word where it is the same in all."""
    by_shift = {
        each: DRIVERS if layout.exchanged_by_drivers(each, group.group) else ATTENDANTS for each in group.shifts
    } | {shift: who}
    return who if set(by_shift.values()) == {who} else by_shift


def _without_attendants(layout: Layout) -> Layout:
    """Layout in which drivers do everything."""
    nobody: dict[str, object] = dict.fromkeys(("attendants", *BY_WHOM_KEYS))
    groups = {name: change.model_copy(update=dict.fromkeys(BY_WHOM_KEYS)) for name, change in layout.trucks.items()}
    areas = {name: area.model_copy(update=nobody) for name, area in layout.areas.items()}
    return layout.model_copy(update={**nobody, "trucks": groups, "areas": areas})


def _come(scenario: Scenario, when: ExchangeWhen, lever: Lever) -> ExchangeWhen:
    """When trucks come with a lever."""
    kind = lever.kind
    value = lever.number(scenario) if "{value}" in LABELS[kind] else 0.0
    changes: dict[str, dict[str, object]] = {
        SPREAD: {"spread": Roster(value, anew=False)},
        AT_LEVEL: {"shift_change": "never"},
        NOT_ABOVE: {"not_above_share": value / 100.0},
        EARLY: {"early_below_share": value / 100.0},
        IN_BREAKS: {"in_breaks_below_share": value / 100.0},
    }
    return when.model_copy(update=changes[kind])


def _figure(scenario: Scenario, kind: str) -> Figure:
    """Figure that a lever takes."""
    return scenario.figures[f"lever.{kind}"]


def _allowed(scenario: Scenario, layout: str, levers: Iterable[Lever]) -> bool:
    """Whether no rule of a scenario forbids levers."""
    try:
        with_levers(scenario, layout, levers)
    except ScenarioError:
        return False
    return True
