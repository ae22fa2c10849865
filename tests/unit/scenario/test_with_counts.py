"""Layouts and scenarios changed in memory: typed counts, checked as if they were read."""

import pytest

import batsim
from batsim import ScenarioError, read
from batsim.catalogue import FIGURES
from batsim.scenario.checks.layout_checks import layout_problems
from batsim.scenario.parts.layouts import OnDuty
from batsim.scenario.site import Scenario

SCENARIO = read("scenarios/kestrel-lane.yaml")
LAYOUT = "side rollers"


def _with(**counts: object) -> Scenario:
    return SCENARIO.with_layout(LAYOUT, SCENARIO.layouts[LAYOUT].with_counts(**counts))  # type: ignore[arg-type]


def test_counts_that_are_not_given_stay() -> None:
    """A copy without changes is the same layout."""
    layout = SCENARIO.layouts[LAYOUT]
    assert layout.with_counts() == layout
    assert layout.with_counts(stations=9).chargers == layout.chargers


def test_counts_are_those_that_a_file_would_state() -> None:
    """Batteries, chargers, stations, devices, bays and attendants by type, kind and shift."""
    battery = next(iter(SCENARIO.batteries_of(LAYOUT)))
    layout = SCENARIO.layouts[LAYOUT]
    charger = layout.chargers[0].charger
    device = next(iter(layout.devices))
    assert isinstance(layout.attendants, dict)
    shift = next(iter(layout.attendants))
    changed = _with(
        batteries={battery: 90},
        chargers={charger: 60},
        stations=5,
        bays=70,
        devices={device: 6},
        attendants={shift: 3},
    )
    stated = SCENARIO
    for key, value in {
        "batteries": {battery: 90},
        "chargers": f"60 x {charger}",
        "stations": 5,
        "bays": 70,
        f"devices.{device}": 6,
        f"attendants.{shift}": 3,
    }.items():
        stated = batsim.changed(stated, {f"layouts.'{LAYOUT}'.{key}": value})
    assert changed.layouts == stated.layouts


def test_the_qualified_go_with_their_number() -> None:
    """One more attendant is qualified as somebody there is; nobody is qualified who is not there."""
    on_duty = OnDuty(2, {"hoist": 1})
    assert on_duty.of(3).qualified == {"hoist": 2}
    assert on_duty.of(1).qualified == {"hoist": 0}
    assert OnDuty(2).of(3).qualified is None


def test_a_layout_made_in_memory_is_checked_as_one_that_was_read() -> None:
    """The same rules; it stands in no line."""
    trucks = sum(group.count for group in SCENARIO.trucks)
    battery = next(iter(SCENARIO.batteries_of(LAYOUT)))
    assert layout_problems(_with(stations=5), LAYOUT) == []
    (problem,) = layout_problems(_with(batteries={battery: trucks - 1}), LAYOUT)
    assert (problem.file, problem.line, problem.column) == (SCENARIO.file, 0, 0)
    assert problem.rule == f"must be at least {trucks}, one for each truck of battery type '{battery}'"
    assert problem.got == str(trucks - 1)


def test_paths_cannot_be_changed_after_a_layout_was() -> None:
    """What is in memory stands in no file."""
    with pytest.raises(ScenarioError) as error:
        batsim.changed(_with(stations=5), {"simulation.seed": 2})
    (problem,) = error.value.problems
    assert problem.rule == "its layouts were changed in memory; change paths first, then layouts"


def test_only_some_layouts() -> None:
    """The others are gone, also for changes by path; so is a present one that is not among them."""
    other = next(name for name in SCENARIO.layouts if name != SCENARIO.present)
    few = SCENARIO.with_layouts([other])
    assert list(few.layouts) == [other]
    assert few.present is None
    assert list(batsim.changed(few, {"simulation.seed": 2}).layouts) == [other]
    assert SCENARIO.with_layouts(list(SCENARIO.layouts)) is SCENARIO


def test_figures_that_note_what_is_asked() -> None:
    """The scenario stays the same; its figures note what is looked up."""
    asked: set[str] = set()
    noting = SCENARIO.with_figures(SCENARIO.figures.noting(asked))
    name = next(iter(FIGURES))
    assert noting.figures[name] == SCENARIO.figures[name]
    assert asked == {name}
    assert noting == SCENARIO
