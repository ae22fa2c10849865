"""Levers: what a layout may do otherwise with nothing bought; each found again in the outcome."""

import pytest

import batsim
from batsim.record.words import ATTENDANT, EARLY, EXCHANGING, IN_BREAK, SHIFT_CHANGE
from batsim.study.levers import (
    AT_LEVEL,
    BY_ATTENDANTS,
    BY_DRIVERS,
    IN_BREAKS,
    LOOSE_LEADS,
    SPREAD,
    Lever,
    levers_of,
    with_levers,
)
from batsim.study.levers import (
    EARLY as COME_EARLY,
)

KESTREL = batsim.read("scenarios/kestrel-lane.yaml")
SALTMARSH = batsim.read("scenarios/saltmarsh-road.yaml")


def record(scenario: batsim.Scenario, layout: str, *levers: Lever) -> batsim.Record:
    """One week of a layout with some things done otherwise."""
    return batsim.simulate(with_levers(scenario, layout, levers), layout, settings=batsim.Settings(weeks=1))


def reasons(found: batsim.Record, group: int) -> set[int]:
    """Why trucks of a group came."""
    rows = found.columns("exchanges")
    return set(rows["reason"][rows["group"] == group].astype(int).tolist())


def test_what_a_layout_may_do_otherwise() -> None:
    """What it does not do already; trucks that come at their level alone have no shift change to come at."""
    assert levers_of(KESTREL, "side rollers") == [
        Lever(SPREAD, "docks"), Lever(AT_LEVEL, "docks"), Lever(COME_EARLY, "docks"), Lever(IN_BREAKS, "docks"),
        Lever(COME_EARLY, "aisles"), Lever(IN_BREAKS, "aisles"), Lever(BY_DRIVERS, ""), Lever(LOOSE_LEADS, ""),
    ]  # fmt: skip
    assert levers_of(KESTREL, "in the truck") == []
    kinds = [(lever.kind, lever.of) for lever in levers_of(SALTMARSH, "each its own way")]
    assert (LOOSE_LEADS, "reach") in kinds
    assert (BY_DRIVERS, "reach") in kinds  # at night an attendant does it
    assert (BY_DRIVERS, "yard") not in kinds
    assert all(of != "pickers" for _, of in kinds)


def test_the_words_of_a_lever() -> None:
    """They name whom it concerns, and what is asked of them."""
    said = {lever.kind: lever.label(KESTREL) for lever in levers_of(KESTREL, "side rollers")}
    assert said[SPREAD] == "let the trucks of 'docks' come over 30 min before a shift ends"
    assert said[BY_DRIVERS] == "let drivers exchange"
    reach = Lever(BY_DRIVERS, "reach")
    assert reach.label(SALTMARSH) == "let drivers of 'reach' exchange"


def test_when_trucks_come() -> None:
    """At the shift change as stated; with a lever over some time, at their level, early, or in breaks too."""
    assert reasons(record(KESTREL, "hoist"), 0) == {0, SHIFT_CHANGE}
    assert SHIFT_CHANGE not in reasons(record(KESTREL, "hoist", Lever(AT_LEVEL, "docks")), 0)
    assert EARLY in reasons(record(KESTREL, "hoist", Lever(COME_EARLY, "aisles")), 1)
    assert IN_BREAK in reasons(record(KESTREL, "hoist", Lever(IN_BREAKS, "aisles")), 1)
    spread = with_levers(KESTREL, "hoist", [Lever(SPREAD, "docks")]).in_layout("hoist").trucks[0].exchange_when
    assert (spread.spread.over_min, spread.before_shift_end_min, spread.shift_change) == (30.0, 10.0, "if_short")


def exchanged_at(found: batsim.Record) -> list[float]:
    """Minutes of the day at which exchanges of the reach trucks began."""
    rows = found.columns("exchanges")
    return (rows["start_min"][(rows["group"] == 0) & (rows["station"] >= 0)] % 1440.0).tolist()


def by_attendants_min(found: batsim.Record) -> float:
    """Minutes that attendants work on exchanges in the reach trucks' area."""
    work = found.columns("work")
    mine = (work["task"] == EXCHANGING) & (work["area"] == 0) & (work["person"] == ATTENDANT)
    return float(work["hands_on_min"][mine].sum())


def test_who_exchanges() -> None:
    """As stated drivers do by day and an attendant at night; by a lever drivers always, or the attendant, at night."""
    layout = "each its own way"
    stated = record(SALTMARSH, layout)
    drivers = record(SALTMARSH, layout, Lever(BY_DRIVERS, "reach"))
    attendants = record(SALTMARSH, layout, Lever(BY_ATTENDANTS, "reach"))

    assert by_attendants_min(stated) > 0.0
    assert by_attendants_min(drivers) == 0.0
    assert any(7 * 60.0 < minutes < 21 * 60.0 for minutes in exchanged_at(stated))
    assert exchanged_at(attendants)
    assert not any(7 * 60.0 < minutes < 21 * 60.0 for minutes in exchanged_at(attendants))


def test_levers_go_together_and_change_nothing_else() -> None:
    """Two of one group hold both; the other layouts stay as they are."""
    both = with_levers(KESTREL, "hoist", [Lever(SPREAD, "docks"), Lever(IN_BREAKS, "docks")])
    when = both.in_layout("hoist").trucks[0].exchange_when
    assert (when.spread.over_min, when.in_breaks_below_share) == (30.0, 0.5)
    assert both.layouts["side rollers"] == KESTREL.layouts["side rollers"]
    assert both.trucks == KESTREL.trucks


def test_a_lever_that_breaks_a_rule_is_not_offered_and_refused() -> None:
    """A level for early calls below the exchange level; attendants where there are none."""
    low = batsim.changed(KESTREL, {"figures": {"lever.early": "20 %"}})
    assert Lever(COME_EARLY, "aisles") not in levers_of(low, "hoist")
    with pytest.raises(batsim.ScenarioError, match="must lie above 'exchange_at'"):
        with_levers(low, "hoist", [Lever(COME_EARLY, "aisles")])
    joinery = batsim.read("scenarios/alder-street-joinery.yaml")
    assert BY_ATTENDANTS not in {lever.kind for lever in levers_of(joinery, "portable stands")}
