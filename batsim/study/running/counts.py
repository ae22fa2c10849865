"""Counts of a layout: what there is to count, how many there are, and the layout with other counts."""

from functools import lru_cache
from typing import Any, NamedTuple

from batsim.errors import ScenarioError
from batsim.room.plans.area_plan import AreaPlan
from batsim.room.plans.blueprint import blueprint_of
from batsim.scenario.checks.layout_checks import layout_problems
from batsim.scenario.parts.kinds import UNLIMITED
from batsim.scenario.parts.layouts import OnDuty
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.site import SameScenario, Scenario
from batsim.study.levers import Lever, with_levers

STATIONS, DEVICES, ATTENDANTS, CHARGERS, BATTERIES, BAYS, SET_DOWN_BAYS = KINDS = (
    "stations", "devices", "attendants", "chargers", "batteries", "bays", "set_down_bays",
)  # fmt: skip
"""What is counted, as a layout calls it."""


class Counted(NamedTuple):
    """Something of which a layout has a number."""

    kind: str
    """One of `KINDS`."""
    name: str = ""
    """Kind of device, type of battery or charger, shift of attendants; empty where there is one kind."""
    lot: str = ""
    """Lot of a battery type; empty where lots are not told apart."""
    area: str = ""
    """Area that has them; empty where the layout is one area, and of attendants whom areas share."""

    @property
    def anywhere(self) -> "Counted":
        """The same in whatever area."""
        return self._replace(area="")


class Counts(NamedTuple):
    """Other counts of a layout, as a job carries them; what is not among them stays as it is."""

    layout: str
    numbers: tuple[tuple[Counted, float], ...]
    levers: tuple[Lever, ...] = ()
    """What the layout does otherwise too."""


def week_plan(scenario: Scenario, layout: str) -> AreaPlan:
    """A layout of one area worked out for its counts (see `Scenario.areas_of`); the length of a run does not matter."""
    return _week_plan(SameScenario(scenario.in_layout(layout)), layout)


@lru_cache(maxsize=128)
def _week_plan(same: SameScenario, layout: str) -> AreaPlan:
    """The same, worked out once for a scenario that is asked again and again."""
    return blueprint_of(same.scenario, layout, WEEK_MIN, 0.0).areas[0]


def counts_of(scenario: Scenario, layout: str) -> dict[Counted, float]:
    """How many a layout has of everything, area by area, by kind in the order of `KINDS`; without a limit, infinity.

    What is not stated has its default. Attendants are counted where they are stated by shift: an area's own in the
    area, those whom areas share in none.
    """
    numbers: dict[Counted, float] = {}
    stated = scenario.layouts[layout]
    for area, site in scenario.areas_of(layout).items():
        own = stated.by_area[area].attendants
        found = _counts_of_area(site, layout, _by_shift(own))
        numbers |= {counted._replace(area=area): number for counted, number in found.items()}
    return numbers | (_by_shift(stated.attendants) if stated.areas else {})


def area_in_words(area: str) -> str:
    """Name of an area with the word, where the name does not have it."""
    return f"the {area}{'' if 'area' in area.lower() else ' area'}"


def in_all(numbers: dict[Counted, float]) -> dict[Counted, float]:
    """Numbers of all areas together."""
    total: dict[Counted, float] = {}
    for counted, number in numbers.items():
        total[counted.anywhere] = total.get(counted.anywhere, 0.0) + number
    return total


def _by_shift(attendants: dict[str, OnDuty] | str | None) -> dict[Counted, float]:
    """Attendants by shift, where they are stated so."""
    by_shift = attendants if isinstance(attendants, dict) else {}
    return {Counted(ATTENDANTS, shift): float(count) for shift, count in by_shift.items()}


def _counts_of_area(site: Scenario, layout: str, attendants: dict[Counted, float]) -> dict[Counted, float]:
    """What one area has; the scenario is that of it alone."""
    plan = week_plan(site, layout)
    bays = UNLIMITED if site.layouts[layout].bays == UNLIMITED else plan.bays
    return {
        Counted(STATIONS): plan.stations,
        **{Counted(DEVICES, name): count for name, count in plan.devices.items()},
        **attendants,
        **{Counted(CHARGERS, name): count for name, count in plan.charger_counts.items()},
        **_batteries(site, layout),
        Counted(BAYS): bays,
        Counted(SET_DOWN_BAYS): plan.set_down_bays,
    }


def _batteries(scenario: Scenario, layout: str) -> dict[Counted, float]:
    """Batteries by type and lot; a lot to buy from is among them where no more can be had of those that are counted."""
    numbers: dict[Counted, float] = {}
    for name, count in scenario.batteries_of(layout).items():
        stated, lots = scenario.batteries[name].lots, count.lots
        if lots and not any(stated[lot].can_grow for lot in lots):
            lots = lots | dict.fromkeys([lot for lot in stated if stated[lot].can_grow][:1], 0)
        numbers |= {Counted(BATTERIES, name, lot): float(number) for lot, number in (lots or {"": count}).items()}
    return numbers


def can_grow(scenario: Scenario, counted: Counted) -> bool:
    """Whether more of it can be had: not of a charger type that is bought no longer, nor of an old lot of batteries."""
    if counted.lot:
        return scenario.batteries[counted.name].lots[counted.lot].can_grow
    return counted.kind != CHARGERS or not scenario.chargers[counted.name].discontinued


def with_counts(scenario: Scenario, counts: Counts) -> Scenario:
    """Scenario in which a layout has other counts, checked.

    Raises
    ------
    ScenarioError
        When the layout breaks a rule with them.
    """
    layout, by_area = scenario.layouts[counts.layout], _changes_by_area(counts)
    for area, changes in by_area.items():
        layout = layout.with_area(area, (layout.areas[area] if area else layout).with_counts(**changes))
    changed = scenario.with_layout(counts.layout, layout)
    if counts.levers:
        return with_levers(changed, counts.layout, counts.levers)
    if problems := layout_problems(changed, counts.layout):
        raise ScenarioError(scenario.file, problems)
    return changed


def _changes_by_area(counts: Counts) -> dict[str, dict[str, Any]]:
    """By area what `Equipped.with_counts` takes."""
    by_area: dict[str, dict[str, Any]] = {}
    for (kind, name, lot, area), number in counts.numbers:
        changes = by_area.setdefault(area, {})
        count = int(number) if kind in (BATTERIES, ATTENDANTS) else float(number)
        if lot:
            changes.setdefault(kind, {}).setdefault(name, {})[lot] = count
        elif name:
            changes.setdefault(kind, {})[name] = count
        else:
            changes[kind] = count
    return by_area
