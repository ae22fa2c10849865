"""Counts of a layout: what there is to count, how many there are, and the layout with other counts."""

from typing import Any, NamedTuple

from batsim.errors import ScenarioError
from batsim.room.area_plan import AreaPlan
from batsim.room.blueprint import blueprint_of
from batsim.scenario.checks.layout_checks import layout_problems
from batsim.scenario.parts.kinds import UNLIMITED
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.site import Scenario

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


class Counts(NamedTuple):
    """Other counts of a layout, as a job carries them; what is not among them stays as it is."""

    layout: str
    numbers: tuple[tuple[Counted, float], ...]
    charger_leads: str | None = None
    """Other charger leads too."""


def week_plan(scenario: Scenario, layout: str) -> AreaPlan:
    """A layout of one area worked out for its counts (see `Scenario.areas_of`); the length of a run does not matter."""
    return blueprint_of(scenario, layout, WEEK_MIN, 0.0).areas[0]


def counts_of(scenario: Scenario, layout: str) -> dict[Counted, float]:
    """How many a layout has of everything, by kind in the order of `KINDS`; without a limit, infinity.

    What is not stated has its default. Attendants are counted where they are stated by shift.
    """
    as_stated, built = scenario.layouts[layout], week_plan(scenario, layout)
    attendants = as_stated.attendants if isinstance(as_stated.attendants, dict) else {}
    bays = UNLIMITED if as_stated.bays == UNLIMITED else built.bays
    return {
        Counted(STATIONS): built.stations,
        **{Counted(DEVICES, name): count for name, count in built.devices.items()},
        **{Counted(ATTENDANTS, shift): float(count) for shift, count in attendants.items()},
        **{Counted(CHARGERS, name): count for name, count in built.charger_counts.items()},
        **_batteries(scenario, layout),
        Counted(BAYS): bays,
        Counted(SET_DOWN_BAYS): built.set_down_bays,
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
    changes: dict[str, Any] = {}
    for (kind, name, lot), number in counts.numbers:
        count = int(number) if kind in (BATTERIES, ATTENDANTS) else float(number)
        if lot:
            changes.setdefault(kind, {}).setdefault(name, {})[lot] = count
        elif name:
            changes.setdefault(kind, {})[name] = count
        else:
            changes[kind] = count
    layout = scenario.layouts[counts.layout].with_counts(**changes)
    if counts.charger_leads is not None:
        layout = layout.model_copy(update={"charger_leads": counts.charger_leads})
    changed = scenario.with_layout(counts.layout, layout)
    if problems := layout_problems(changed, counts.layout):
        raise ScenarioError(scenario.file, problems)
    return changed
