"""Whoever states a figure of the catalogue anew gets other results: every figure that a command asks for moves them.

Three small sites ask for what a simulation and a plan rest on: one where everything is measured, one where batteries
come in cold to a room with bays to scale, one where they grow warm and make gas. A figure has to move the result of one
site that asks for it.
"""

import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

import batsim
import batsim.plan.plan as planning
import batsim.plan.supply as supplying
from batsim import Settings
from batsim.catalogue import FIGURES
from batsim.decision.recommendation import recommend
from batsim.scenario.site import Scenario
from batsim.scenario.text.located_data import path_text
from batsim.study.first_estimate import outline
from batsim.study.levers import choices_of, with_levers
from batsim.study.limits import limits_of
from batsim.study.sweeps.points import figures_asked
from batsim.views.text.decision_text import decision_text

CASES = Path(__file__).parent / "cases"
SURVEYED = Path(__file__).parents[1] / "unit" / "cases" / "surveyed.yaml"
SMALL = Path(__file__).parents[1] / "unit" / "cases" / "size_small.yaml"
KESTREL = Path(__file__).parents[2] / "scenarios" / "kestrel-lane.yaml"
SITES = {CASES / "figures_hot.yaml": 2.0, SURVEYED: 0.3, CASES / "figures_cold.yaml": 1.0}
"""Sites and the weeks that they are simulated for."""
FOR_THE_PLAN = ("price.", "fit.")
"""Beginnings of figures that are read with the scenario and that only a plan rests on."""
WITHOUT_SURVEY = "price.floor"
"""Asked for by the cost of a year; without a survey no floor is paid for."""
PEAK_KW = 100.0
"""Peak of which a power limit is a part. [kW]"""
LEVER = "lever."
"""Beginning of figures that say how far something is done otherwise."""
RUN = ("simulation.",)
"""Beginnings of figures that say how long and how often is simulated."""


@cache
def site(file: Path) -> Scenario:
    """A site as it is written."""
    return batsim.read(file)


@cache
def read_for(file: Path) -> frozenset[str]:
    """Figures that a site asks for when it is read and its layouts are worked out."""
    scenario = site(file)
    return frozenset(figures_asked(scenario, tuple(scenario.layouts)))


def anew(scenario: Scenario, name: str) -> Iterator[Scenario]:
    """The scenario with a figure at the ends of its range, then higher and lower, as far as it may be so."""
    figure = FIGURES[name]
    for value in dict.fromkeys(
        (figure.high, figure.low, 1.3 * figure.value + 1e-3, 0.7 * figure.value, 0.5 * figure.value)
    ):
        if value != figure.value:
            text = f"{value:.10g}" if figure.unit == "1" else f"{value:.10g} {figure.unit}"
            try:
                yield batsim.changed(scenario, {path_text(("figures", name)): text})
            except batsim.ScenarioError:
                continue


def unmoved(scenario: Scenario, names: set[str], result: Callable[[Scenario, str], str]) -> set[str]:
    """Figures that change the result of no layout; those with the name of an arrangement are tried on its layout."""
    layouts = list(scenario.layouts)
    usual = {layout: result(scenario, layout) for layout in layouts}

    def moves(name: str) -> bool:
        mine = [layout for layout in layouts if scenario.layouts[layout].handling in name] or layouts
        return any(result(changed, layout) != usual[layout] for changed in anew(scenario, name) for layout in mine)

    return {name for name in names if not moves(name)}


def test_figures_of_a_simulation() -> None:
    """All that is asked for when a scenario is read, in one short replication of every layout."""
    left: set[str] = set().union(*map(read_for, SITES))
    left -= {name for name in left if name.startswith((*FOR_THE_PLAN, *RUN))}
    for file, weeks in SITES.items():

        def simulated(scenario: Scenario, layout: str, weeks: float = weeks) -> str:
            settings = Settings(layouts=layout, replications=1, weeks=weeks, warm_up_weeks=0.0, workers=1)
            return json.dumps(batsim.compare(scenario, settings).as_json())

        mine = left & read_for(file)
        left = (left - mine) | unmoved(site(file), mine, simulated)

    assert left == set()


def test_figures_of_a_run() -> None:
    """How long, how often, how sure."""
    asked = {name for name in read_for(CASES / "figures_hot.yaml") if name.startswith(RUN)}

    assert asked == {"simulation.confidence", "simulation.length", "simulation.replications", "simulation.warm_up"}
    assert not unmoved(
        site(CASES / "figures_hot.yaml"), asked, lambda scenario, _: str(Settings().schedule(scenario).as_json())
    )


@pytest.fixture
def planned(monkeypatch: pytest.MonkeyPatch) -> Callable[[Path], tuple[set[str], Callable[[Scenario, str], str]]]:
    """What a plan of a site rests on beside its simulation, and the plan as text; simulated once only."""

    def of(file: Path) -> tuple[set[str], Callable[[Scenario, str], str]]:
        settings = Settings(replications=1, weeks=0.3, warm_up_weeks=0.0, workers=1)
        first = batsim.plan_layouts(site(file), settings)
        evidence = {name: layout.evidence for name, layout in first.layouts.items()}
        monkeypatch.setattr(planning, "evidence", lambda *_: evidence)
        monkeypatch.setattr(supplying, "evidence_of_each", lambda trials, _: [evidence for _ in trials])

        def text(scenario: Scenario, layout: str) -> str:
            plan = batsim.plan_layouts(scenario, replace(settings, layouts=layout))
            return json.dumps(plan.as_json() | {"recommendation": recommend(plan)})

        asked = {name for name in first.figures if name.startswith(FOR_THE_PLAN) or name not in read_for(file)}
        return asked, text

    return of


def test_figures_of_a_plan(planned: Any) -> None:
    """All that a plan asks for beside its simulation, where everything is measured and where nothing is."""
    left: set[str] = set()
    moved: set[str] = set()
    for file in (SURVEYED, CASES / "figures_unmeasured.yaml"):
        asked, text = planned(file)
        still = unmoved(site(file), asked - moved, text)
        moved |= asked - still
        left = (left | still) - moved

    assert len(moved) > 60
    assert left == set()


def test_figures_of_a_decision() -> None:
    """What is near enough, what costs about the same, and prices.

    What is read before and what the equipment list of a plan asks for is tried above, levers below.
    """
    asked: set[str] = set()
    targets = {"downtime_per_truck_shift": "at most 600 min", "waits": "1 % under 60 min", "trucks_below_cut_out": 99}
    scenario = batsim.changed(site(SMALL), {"targets": targets, "simulation.length": "0.1 weeks"})
    settings = Settings(workers=1, replications=2)
    ranges = {"batteries": (6, 7), "chargers": (3, 3), "stations": (1, 1)}

    def decided(scenario: Scenario, _: str = "") -> str:
        decision = batsim.decide(scenario, settings, ranges=ranges)
        return decision_text(decision) + json.dumps(decision.as_json()) + str(limits_of(scenario))

    decided(scenario.with_figures(scenario.figures.noting(asked)))
    planned = batsim.plan_layouts(scenario, replace(settings, weeks=0.1, warm_up_weeks=0.0)).figures
    mine = {name for name in asked if name not in planned or name.startswith("price.")} - {WITHOUT_SURVEY}
    mine -= {name for name in mine if name.startswith(LEVER)} | read_for(SMALL)

    assert len([name for name in mine if name.startswith("decide.")]) == 4
    assert unmoved(scenario, mine, decided) == set()


def test_figures_of_levers() -> None:
    """Each moves what a layout may do otherwise: what is stated for its trucks and chargers then."""
    scenario, levers = site(KESTREL).with_layouts(["hoist"]), {name for name in FIGURES if name.startswith(LEVER)}

    def stated(scenario: Scenario, layout: str) -> str:
        ways = [way for choice in choices_of(scenario, layout, PEAK_KW) for way in choice.options]
        changed = [with_levers(scenario, layout, way) for way in ways]
        return str([(each.in_layout(layout).trucks, each.charging_of(layout)) for each in changed])

    assert len(levers) == 6
    assert unmoved(scenario, levers, stated) == set()


@pytest.mark.parametrize("command", ["check", "bottleneck", "day without"])
def test_others_rest_on_what_is_simulated(command: str) -> None:
    """They ask for no figure that the simulation, whose figures are tried above, does not ask for; but for levers."""
    file = CASES / "figures_unmeasured.yaml"
    asked: set[str] = set()
    scenario = site(file).with_figures(site(file).figures.noting(asked))
    settings = Settings(layouts="rollers", replications=2, weeks=1.0, warm_up_weeks=0.0, workers=1)
    if command == "check":
        outline(scenario)
    elif command == "bottleneck":
        batsim.bottleneck(scenario, settings)
    else:
        batsim.day_without(scenario, replace(settings, weeks=None), device="battery_carriage")

    assert asked
    assert {name for name in asked if not name.startswith("lever.")} <= read_for(file)
