"""Counts of a layout: what there is to count, how many there are, and the layout with other counts."""

from typing import Any, NamedTuple

from batsim.errors import ScenarioError
from batsim.room.blueprint import Blueprint, blueprint_of
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


class Counts(NamedTuple):
    """Other counts of a layout, as a job carries them; what is not among them stays as it is."""

    layout: str
    numbers: tuple[tuple[Counted, float], ...]
    charger_leads: str | None = None
    """Other charger leads too."""


def week_blueprint(scenario: Scenario, layout: str) -> Blueprint:
    """Blueprint of a layout for its counts; the length of a run does not matter."""
    return blueprint_of(scenario, layout, WEEK_MIN, 0.0)


def counts_of(scenario: Scenario, layout: str) -> dict[Counted, float]:
    """How many a layout has of everything, by kind in the order of `KINDS`; without a limit, infinity.

    What is not stated has its default. Attendants are counted where they are stated by shift.
    """
    as_stated, built = scenario.layouts[layout], week_blueprint(scenario, layout)
    attendants = as_stated.attendants if isinstance(as_stated.attendants, dict) else {}
    bays = UNLIMITED if as_stated.bays == UNLIMITED else built.bays
    return {
        Counted(STATIONS): built.stations,
        **{Counted(DEVICES, name): count for name, count in built.devices.items()},
        **{Counted(ATTENDANTS, shift): float(count) for shift, count in attendants.items()},
        **{
            Counted(CHARGERS, name): count
            for name, count in zip(built.charger_names, built.charger_counts, strict=True)
        },
        **{Counted(BATTERIES, name): float(count) for name, count in scenario.batteries_of(layout).items()},
        Counted(BAYS): bays,
        Counted(SET_DOWN_BAYS): built.set_down_bays,
    }


def with_counts(scenario: Scenario, counts: Counts) -> Scenario:
    """Scenario in which a layout has other counts, checked.

    Raises
    ------
    ScenarioError
        When the layout breaks a rule with them.
    """
    changes: dict[str, Any] = {}
    for (kind, name), number in counts.numbers:
        count = int(number) if kind in (BATTERIES, ATTENDANTS) else float(number)
        if name:
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
