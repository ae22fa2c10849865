"""Counts of a mixed stock: only what can be had is added, old lots and chargers are kept to their number."""

from functools import cache
from pathlib import Path

import pytest

import batsim
from batsim import ScenarioError
from batsim.decision.counts import MOST, ranges_of
from batsim.decision.space import Space
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


def spans(scenario: Scenario, layout: str) -> dict[str, tuple[int, int, int]]:
    """Fewest, most and enough of what may be chosen, by name."""
    return {each.name: (each.low, each.high, each.generous) for each in ranges_of(scenario, layout, {})}


def test_old_lots_and_chargers_have_no_range() -> None:
    """Six of 2019 are more than the four trucks: no new one is needed, and seven are enough (1.5 times 9 in all)."""
    assert spans(site(), "today") == {
        "batteries new": (0, MOST, 7),
        "chargers electronic_iuia": (1, MOST, 3),
        "stations": (1, 4, 4),
        "battery_carriage": (1, 4, 4),
        "attendants day": (0, MOST, 4),
    }


def test_each_lot_that_can_be_had_has_a_range() -> None:
    """Four of 2019 and one second hand leave none to be rented; four of 2019 and five rented none second hand."""
    found = spans(site(), "rented")
    assert (found["batteries rented"], found["batteries second hand"]) == ((0, MOST, 10), (0, MOST, 6))
    assert found["chargers"] == (1, MOST, 6)


def test_where_the_others_are_fewer_than_trucks_a_lot_makes_up_for_them() -> None:
    """One of 2019 and one second hand: three must be rented for a battery more than trucks, or four second hand."""
    few = batsim.changed(site(), {"layouts.rented.batteries": ["1 x bought 2019", "5 x rented", "1 x second hand"]})
    found = spans(few, "rented")
    assert (found["batteries rented"][0], found["batteries second hand"][0]) == (3, 0)
    fewer = batsim.changed(few, {"layouts.rented.batteries": ["1 x bought 2019", "2 x rented", "2 x second hand"]})
    found = spans(fewer, "rented")
    assert (found["batteries rented"][0], found["batteries second hand"][0]) == (2, 2)


def test_new_ones_may_be_added_where_none_are_counted() -> None:
    changed = batsim.changed(site(), {"layouts.today.batteries.lead": ["6 x bought 2019"]})
    space = Space(changed, "today", ranges_of(changed, "today", {"batteries new": (0, 7)}))
    assert space.stated == (0,)
    more = space.made((3,))
    assert more.batteries_of("today")["lead"].lots == {"bought 2019": 6, "new": 3}


@pytest.mark.parametrize(("owned", "span"), [({}, None), ({"old": 3}, None), ({"old": 5}, (3, 5, 4))])
def test_old_chargers_go_up_to_those_that_are_owned(owned: dict[str, int], span: tuple[int, int, int] | None) -> None:
    changed = batsim.changed(site(), {"layouts.today.owned": owned})
    assert spans(changed, "today").get("chargers old") == span


def test_old_chargers_go_up_to_those_of_another_layout() -> None:
    """Today has three of them, which are there for a layout that uses two."""
    assert spans(site(), "all new")["chargers old"] == (2, 3, 3)


def test_more_than_there_are_breaks_a_rule() -> None:
    for counted, number in ((Counted("chargers", "old"), 4), (Counted("batteries", "lead", "bought 2019"), 7)):
        with pytest.raises(ScenarioError, match="are there"):
            with_counts(site(), Counts("all new", ((counted, number),)))
    space = Space(site(), "all new", ranges_of(site(), "all new", {"chargers old": (2, 5)}))
    assert not space.attempt((3,))[1]
    assert "are there" in space.attempt((4,))[1]


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


@pytest.mark.parametrize(
    ("layout", "owned", "name", "each", "free"),
    [
        ("all new", {"lead": ["7 x new"]}, "batteries new", NEW_EUR, 7),
        ("rented", {}, "batteries rented", 12 * 45.0, 0),
    ],
)
def test_a_plan_costs_what_its_lots_cost(
    layout: str, owned: dict[str, list[str]], name: str, each: float, free: int
) -> None:
    """What is owned of a lot is free; what is rented is paid although it is there."""
    scenario = batsim.changed(site(), {f"layouts.{layout}.owned": owned})
    space = Space(scenario, layout, ranges_of(scenario, layout, {name: (6, 9)}))
    bays = space.units.by_counted[Counted("bays")].per_year
    cost = {number: sum(line.per_year for line in space.cost_lines(space.made((number,)))) for number in range(6, 10)}
    for number in range(6, 10):
        paid = max(0, number - free) - max(0, 6 - free)
        assert cost[number] - cost[6] == pytest.approx(each * paid + bays * (number - 6))


def test_lots_and_charger_types_are_traded_one_for_one() -> None:
    """One rented fewer for one second hand more, and the other way round."""
    space = Space(site(), "rented", ranges_of(site(), "rented", {}))
    names = [each.name for each in space.ranges]
    trade = {names.index("batteries rented"): -1, names.index("batteries second hand"): 1}
    assert trade in space.counting
    for steps, lots in ((1, (4, 2)), (-1, (6, 0))):
        made = space.made(space.moved(space.stated, trade, steps))
        found = made.batteries_of("rented")["lead"].lots
        assert (found["rented"], found.get("second hand", 0)) == lots
        assert found["bought 2019"] == 4


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
