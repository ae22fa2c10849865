"""Counts of a mixed stock: only what can be had is added, old lots and chargers are kept to their number."""

from functools import cache
from pathlib import Path

import pytest

import batsim
from batsim import ScenarioError
from batsim.decision.counts import Grid, ranges_of
from batsim.scenario.site import Scenario
from batsim.study.bottleneck.variants import variants
from batsim.study.cost import UnitCosts, cost_lines
from batsim.study.running.counts import Counted, Counts, with_counts

NEW_EUR = 2400.0 / 5
"""Of a new battery in a year: 24 kWh at 100 EUR, over 5 years without interest."""


@cache
def site() -> Scenario:
    """Four trucks; today six batteries of 2019 and two new ones, three old chargers and two that can be bought."""
    return batsim.read(Path(__file__).parents[1] / "cases" / "mixed_stock.yaml")


def spans(scenario: Scenario, layout: str) -> dict[str, tuple[int, int]]:
    """Least and most of what may be chosen, by name."""
    return {each.name: (each.values[0], each.values[-1]) for each in ranges_of(scenario, layout, {})}


def test_old_lots_and_chargers_have_no_range() -> None:
    """Six of 2019 are more than the four trucks: no new one is needed, at most 13 are looked at (1.5 times 9)."""
    assert spans(site(), "today") == {
        "batteries new": (0, 7),
        "chargers electronic_iuia": (1, 13),
        "stations": (1, 4),
        "battery_carriage": (1, 4),
        "attendants": (1, 4),
    }


def test_each_lot_that_can_be_had_has_a_range() -> None:
    """Four of 2019 and one second hand leave none to be rented; four of 2019 and five rented none second hand."""
    found = spans(site(), "rented")
    assert (found["batteries rented"], found["batteries second hand"]) == ((0, 10), (0, 6))
    assert found["chargers"] == (1, 15)


def test_new_ones_may_be_added_where_none_are_counted() -> None:
    changed = batsim.changed(site(), {"layouts.today.batteries.lead": ["6 x bought 2019"]})
    assert spans(changed, "today")["batteries new"] == (0, 7)
    more = with_counts(changed, Counts("today", ((Counted("batteries", "lead", "new"), 3),)))
    assert more.batteries_of("today")["lead"].lots == {"bought 2019": 6, "new": 3}


@pytest.mark.parametrize(("owned", "span"), [({}, None), ({"old": 3}, None), ({"old": 5}, (3, 5))])
def test_old_chargers_go_up_to_those_that_are_owned(owned: dict[str, int], span: tuple[int, int] | None) -> None:
    changed = batsim.changed(site(), {"layouts.today.owned": owned})
    assert spans(changed, "today").get("chargers old") == span


def test_more_than_there_are_is_refused() -> None:
    for counted, number in ((Counted("chargers", "old"), 4), (Counted("batteries", "lead", "bought 2019"), 7)):
        with pytest.raises(ScenarioError, match="are there"):
            with_counts(site(), Counts("all new", ((counted, number),)))


def test_what_is_kept_is_free_and_what_is_rented_is_paid() -> None:
    units = UnitCosts(site(), "rented")
    costs = {
        line.unit.lot or line.unit.name: line.per_year
        for line in cost_lines(site(), "rented", units)
        if line.unit.thing in ("battery", "charger")
    }
    assert costs == {
        "bought 2019": 0.0,
        "rented": 5 * 12 * 45.0,
        "second hand": pytest.approx(900.0 / (0.7 * 5)),
        "hired": 4 * 12 * 20.0,
    }


def test_a_combination_costs_what_its_lots_cost() -> None:
    """What is owned of a lot is free; what is rented is paid although it is there."""
    owned = batsim.changed(site(), {"layouts.all new.owned": {"lead": ["7 x new"]}})
    for scenario, layout, name, each, free in (
        (owned, "all new", "batteries new", NEW_EUR, 7),
        (site(), "rented", "batteries rented", 12 * 45.0, 0),
    ):
        grid = Grid(scenario, layout, ranges_of(scenario, layout, {name: (6, 9)}))
        bays = grid.units.by_counted[Counted("bays")].per_year
        every = grid.around((0,), grid.greatest)
        costs = grid.costs_of(every)
        first = costs[0]
        for (number,), cost in zip(every.tolist(), costs, strict=True):
            paid = max(0, number - free) - max(0, 6 - free)
            assert cost - first == pytest.approx(each * paid + bays * (number - 6))


def test_one_more_is_tried_of_what_can_be_had() -> None:
    made, left_out = variants(site(), "today")
    labels = [addition.label for addition in made]
    assert "one more battery of lot new" in labels
    assert "one more charger (electronic_iuia)" in labels
    no_more = [left.label for left in left_out if left.why == "no more of it can be had"]
    assert no_more == ["one more charger (old)", "one more battery of lot bought 2019"]


def test_counts_by_lot_keep_the_others() -> None:
    layout = site().layouts["rented"].with_counts(batteries={"lead": {"rented": 2, "second hand": 0, "new": 1}})
    assert layout.batteries is not None
    assert layout.batteries["lead"].lots == {"bought 2019": 4, "rented": 2, "new": 1}
    assert layout.batteries["lead"] == 7
