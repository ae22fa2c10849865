"""Orders and money of a mixed stock: what is kept is not ordered, rents are paid, what is used lasts less."""

from functools import cache
from pathlib import Path

import pytest

import batsim
from batsim.plan.equipment import NO_MORE, equipment_list
from batsim.plan.equipment_line import EquipmentLine
from batsim.scenario.site import Scenario
from batsim.study.first_estimate import outline
from batsim.views.page.report import report_html
from batsim.views.text.plan_text import plan_text
from batsim.views.text.summary import summary_text

NEW_EUR = 2400.0
"""24 cells of 2 V and 500 Ah at 100 EUR/kWh."""


@cache
def site() -> Scenario:
    """Four trucks; today six batteries of 2019 and two new ones."""
    return batsim.read(Path(__file__).parents[1] / "cases" / "mixed_stock.yaml")


def lines_of(scenario: Scenario, layout: str) -> dict[str, EquipmentLine]:
    """Lines of batteries and chargers, by item."""
    return {line.item: line for line in equipment_list(scenario, layout, ()) if line.section == "energy"}


def bought(scenario: Scenario, layout: str) -> dict[str, tuple[float, float, float]]:
    """Number, number to order and its price, by item."""
    lines = lines_of(scenario, layout).items()
    return {item: (line.number, line.to_order, line.cost.value) for item, line in lines}


def test_each_lot_is_a_line_and_what_is_there_of_it_is_not_ordered() -> None:
    assert bought(site(), "all new") == {
        "battery (lead, new)": (10, 8, 8 * NEW_EUR),  # two of them are there, the six of 2019 are others
        "charger (old)": (2, 0, 0),
        "charger (electronic IUIa)": (3, 1, 1000),
    }


def test_what_is_rented_and_what_is_second_hand_have_terms_of_their_own() -> None:
    assert bought(site(), "rented") == {
        "battery (lead, bought 2019)": (4, 0, 0),
        "battery (lead, rented)": (5, 5, 0),
        "battery (lead, second hand)": (1, 1, 900),
        "charger (hired)": (4, 4, 0),
    }
    lines = lines_of(site(), "rented")
    assert (lines["battery (lead, rented)"].rent.value, lines["charger (hired)"].rent.value) == (12 * 45, 12 * 20)
    assert lines["battery (lead, rented)"].reason == (
        "of 10 in all, 4 in trucks and 6 beside them; rented at 540 EUR a year each"
    )


@pytest.mark.parametrize("present", ["today", None])
def test_no_more_is_ordered_of_what_can_no_longer_be_had(present: str | None) -> None:
    """Where nothing says how many there are, what is counted is there."""
    lines = lines_of(batsim.changed(site(), {"present": present}), "today")
    kept = {item: (line.number, line.to_order) for item, line in lines.items() if line.kept}
    assert kept == {"battery (lead, bought 2019)": (6, 0), "charger (old)": (3, 0)}
    assert all(lines[item].reason.endswith(f"; {NO_MORE}") for item in kept)
    assert lines["battery (lead, new)"].to_order == (0 if present else 2)


def test_what_is_owned_is_stated_by_lot() -> None:
    owned = {"lead": ["7 x new", "4 x bought 2019"]}
    changed = batsim.changed(site(), {"layouts.all new.owned": owned | {"old": 2}})
    assert bought(changed, "all new")["battery (lead, new)"] == (10, 3, 3 * NEW_EUR)


def test_the_list_says_so_in_words() -> None:
    plan = batsim.plan_layouts(site(), batsim.Settings(layouts="today", weeks=1, replications=1, workers=1))
    assert f"3 x charger (old); {NO_MORE}" in plan_text(plan, width=200, full=True)


def test_a_plan_says_what_becomes_of_each_lot() -> None:
    """By hand from one run: discharges of a battery in a week, years until it is worn out."""
    settings = batsim.Settings(layouts="today", weeks=4, replications=1, workers=1)
    plans = batsim.plan_layouts(site(), settings)
    (old, new) = plans.layouts["today"].lots
    measures = batsim.run(site(), settings).as_json()["layouts"]["today"]["battery_types"]["lead"]["lots"]
    by_hand = {name: {key: each["mean"] for key, each in lot["measures"].items()} for name, lot in measures.items()}
    for lot, name, number, due in ((old, "bought 2019", 6, 6), (new, "new", 2, 0)):
        assert (lot.battery_type, lot.lot, lot.batteries, lot.due) == ("lead", name, number, due)
        assert lot.discharges_per_week == pytest.approx(by_hand[name]["discharges_ended"] / 4 / number)
        assert lot.left_years == pytest.approx(by_hand[name]["life_left_years"])
    said = (
        f"lead, bought 2019: 6 batteries, each discharged {old.discharges_per_week:.1f} times a week; lasts "
        f"{old.left_years:.1f} years more, 6 due to be replaced within a year"
    )
    assert said in plan_text(plans, width=300, full=True)
    assert said in report_html(plans).replace("\N{NO-BREAK SPACE}", " ")
    assert plans.as_json()["layouts"]["today"]["lots"][0]["lot"] == "bought 2019"


def test_money_has_rents_and_pays_what_is_used_over_what_is_left() -> None:
    """Interest is 0, batteries last 5 years and are worn no sooner at so little work."""
    little = batsim.changed(site(), {"trucks[0].duty.mean_power": "0.5 kW"})
    plan = batsim.plan_layouts(little, batsim.Settings(layouts="rented", weeks=1, replications=1, workers=1))
    money = plan.layouts["rented"].money
    costs = {line.what: line.per_year.value for line in money.lines}
    bases = {line.what: line.basis for line in money.lines if line.what.startswith("rent")}
    assert (costs["rent of batteries"], costs["rent of chargers"]) == (5 * 540, 4 * 240)
    assert bases == {"rent of batteries": "5 at 540 a year", "rent of chargers": "4 at 240 a year"}
    per_year = {line.basis: line.per_year.value for line in money.lines if line.what == "batteries"}
    assert per_year == {
        "9,600 over 5 years at 0 %": pytest.approx(4 * NEW_EUR / 5),  # those of 2019 are replaced by new ones
        "900 over 3.5 years at 0 %, 70 % of its life left": pytest.approx(900 / 3.5),
    }
    assert "chargers" not in costs  # all are hired


def test_check_says_what_each_lot_has_behind_it() -> None:
    lots = ["1 x new", "5 x second hand", "1 x measured", "1 x six years old"]
    changed = batsim.changed(site(), {"present": None, "layouts.all new.batteries": lots})
    assert (
        "    lead: 8 batteries for 4 trucks; a full charge takes about 11.3 h on old\n"
        "      1 x new: 0 % of their life used\n"
        "      5 x second hand: 20 to 40 % of their life used\n"
        "      1 x measured: 50 % of their life used, 90 % of the rated capacity\n"
        "      1 x six years old: 60 % of their life used, 6 years old\n"
    ) in summary_text(outline(changed))
