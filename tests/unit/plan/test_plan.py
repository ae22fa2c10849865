"""Plans: frames, plain data, the recommendation, open questions, advice and cautions."""

import json
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import MappingProxyType, SimpleNamespace
from typing import Any

import numpy as np
import pytest

import batsim
from batsim.catalogue import FIGURES
from batsim.decision.recommendation import Recommendation, recommend
from batsim.plan.advice import UsualChoice, usual_choice
from batsim.plan.cautions import DECIDES, cautions
from batsim.plan.checks import FAILS, NOT_KNOWN, OK, VERDICTS, Check
from batsim.plan.conversion import conversion
from batsim.plan.money import YearlyCost, YearlyCostLine
from batsim.plan.plan import LayoutPlan, Plan
from batsim.scenario.reading import completed_data
from batsim.scenario.settings import Settings
from batsim.scenario.site import Scenario
from batsim.statistics.intervals import Interval, student_interval
from batsim.study.limits import TargetResult
from batsim.study.prices import Price, summed
from batsim.study.waits import waits_over

FILE = Path(__file__).parents[1] / "cases" / "surveyed.yaml"
SAME = FIGURES["plan.same_cost"].value
"""Costs that differ by less are about the same. [%]"""
SHORT: dict[str, Any] = {"replications": 2, "weeks": 0.3, "warm_up_weeks": 0.1, "workers": 1}
BARE = """\
site: {name: Bare (invented)}
week: {shifts: {day: {days: Mon-Fri, from: "06:00", to: "14:00"}}}
trucks: [{group: trucks, count: 2, shifts: [day], battery: lead, duty: {mean_power: 2 kW}}]
batteries: {lead: {from: vented_lead_acid, cells: 24, capacity: 500 Ah at 5 h}}
layouts:
  stands: {handling: portable_stands, batteries: 4, chargers: 2 x electronic_iuia}
  hoist: {handling: overhead_hoist, batteries: 4, chargers: 2 x electronic_iuia}
"""


@cache
def surveyed() -> Scenario:
    """The site where everything is known and fits."""
    return batsim.read(FILE)


@pytest.fixture(scope="module")
def plan() -> Plan:
    """Plans of its four layouts; stands are there today."""
    return batsim.plan_layouts(batsim.changed(surveyed(), {"present": "stands"}), batsim.Settings(**SHORT))


@pytest.fixture(scope="module")
def bare() -> Plan:
    """Plans of a site that nobody has measured."""
    return batsim.plan_layouts(batsim.read_scenario_text(BARE, "bare.yaml"), batsim.Settings(**SHORT))


# --- the whole ---


def test_a_plan_has_all_parts_for_every_layout(plan: Plan) -> None:
    """In the order of the file."""
    assert list(plan.layouts) == ["rollers", "stands", "hoist", "in truck"]
    for name, each in plan.layouts.items():
        assert (each.layout, each.in_truck) == (name, name == "in truck")
        assert sum(each.verdicts.values()) == len(each.checks)
        order = [VERDICTS.index(check.verdict) for check in each.checks]
        assert order == sorted(order)
        assert len(set(each.checks)) == len(each.checks)
        assert each.failing == each.verdicts[FAILS]
        assert each.cautions[-1] == DECIDES
        assert (each.payback is None) == (name == "stands")


def test_a_conversion_against_the_layout_of_today_and_between_any_two(plan: Plan) -> None:
    """Nothing changes for itself; in the plain data too, part by part."""
    assert plan.layouts["stands"].conversion == ()
    for name, each in plan.layouts.items():
        changes = conversion(plan.layouts["stands"].equipment, each.equipment)
        assert each.conversion == plan.conversion("stands", name) == changes
        data = plan.as_json()["layouts"][name]["conversion"]
        assert [(part["item"], part["before"], part["after"]) for part in data] == [part[:3] for part in changes]
    assert {part.item for part in plan.conversion("rollers", "hoist")} >= {
        "battery carriage",
        "hoist",
        "pull-out frame",
    }


def test_only_the_layouts_that_are_asked_for(plan: Plan) -> None:
    """The layout of today is simulated for the payback, and not planned; numbers are the same as among all."""
    scenario = batsim.changed(surveyed(), {"present": "stands"})
    alone = batsim.plan_layouts(scenario, batsim.Settings(layouts="hoist", **SHORT))

    assert list(alone.layouts) == ["hoist"]
    assert alone.layouts["hoist"].money == plan.layouts["hoist"].money
    assert alone.layouts["hoist"].payback == plan.layouts["hoist"].payback
    with pytest.raises(batsim.ScenarioError) as caught:
        batsim.plan_layouts(scenario, batsim.Settings(layouts="hoists", **SHORT))
    assert str(caught.value.problems[0]).endswith("layouts.hoists: no layout of this name; did you mean 'hoist'?")


def test_frames(plan: Plan) -> None:
    """Columns, and a row for each check and line."""
    checks, equipment, money = plan.checks_frame, plan.equipment_frame, plan.money_frame

    assert list(checks.columns) == ["layout", *Check._fields]
    assert len(checks) == sum(len(each.checks) for each in plan.layouts.values())
    assert list(equipment.columns) == [
        "layout", "area", "section", "batteries", "item", "size", "number", "owned", "to_order", "reason",
        "price", "price_low", "price_high", "cost", "cost_low", "cost_high", "placeholder",
    ]  # fmt: skip
    assert list(money.columns) == ["layout", "what", "per_year", "low", "high", "placeholder", "basis"]
    for name, each in plan.layouts.items():
        lines, costs = (table[table["layout"] == name] for table in (equipment, money))
        assert (len(lines), len(costs)) == (len(each.equipment) + 1, len(each.money.lines) + 1)
        known = each.money.purchase.as_quoted
        assert tuple(lines.iloc[-1][["item", "cost", "cost_low", "cost_high", "placeholder"]]) == ("in all", *known)
        assert tuple(costs.iloc[-1][["what", "per_year", "low", "high"]]) == (
            "in all",
            *each.money.per_year.rounded[:3],
        )
        chargers = next(line for line in each.equipment if line.life == "charger")
        row = lines[lines["item"] == chargers.item].iloc[0]
        assert (row["batteries"], row["cost"]) == ("lead", chargers.cost.as_quoted.value)
        assert row["cost"] == float(f"{row['cost']:.3g}")  # a guess is no amount to the cent


@pytest.mark.parametrize("which", ["plan", "bare"])
def test_plain_data(which: str, request: pytest.FixtureRequest) -> None:
    """JSON without a value that is no number, and back again as it was."""
    found: Plan = request.getfixturevalue(which)
    data = json.loads(json.dumps(found.as_json(), allow_nan=False))

    assert list(data["layouts"]) == list(found.layouts)
    for name, each in data["layouts"].items():
        mine = found.layouts[name]
        assert [check["name"] for check in each["checks"]] == [check.name for check in mine.checks]
        assert [line["number"] for line in each["equipment"]] == [line.number for line in mine.equipment]
        assert each["money"]["per_year"]["value"] == mine.money.per_year.value
        assert each["ventilation"]["flow_m3_per_h"] == mine.ventilation.flow_m3_per_h
        assert each["supply"]["all_at_once_kw"] == mine.supply.all_at_once_kw
        assert set(each["supply"]["peak_kw"]) == {"mean", "low", "high"}
        assert (each["payback"] is None) == (mine.payback is None)
    assert len(data["questions"]) == len(found.questions)
    assert (data["seed"], data["replications"], data["currency"]) == (found.schedule.seed, 2, "EUR")


def test_one_replication_of_next_to_nothing() -> None:
    """No interval, no charge and no exchange: still plain data."""
    found = batsim.plan_layouts(surveyed(), batsim.Settings(replications=1, weeks=0.01, warm_up_weeks=0.0, workers=1))

    data = json.loads(json.dumps(found.as_json(), allow_nan=False))
    assert data["layouts"]["hoist"]["money"]["per_exchange"]["value"] is None
    assert data["layouts"]["hoist"]["supply"]["peak_kw"]["high"] is None


def test_a_summary_for_notebooks(plan: Plan) -> None:
    """The recommendation and a row for each layout; names cannot break out of it."""
    html = plan._repr_html_()
    check = Check("<script>", "aisle", FAILS, "", "", "", "")
    hostile = replace(plan, layouts={"hoist": replace(plan.layouts["hoist"], checks=(check,), equipment=())})

    assert html.startswith("<p>")
    for name in plan.layouts:
        assert f">{name}</th>" in html
    assert hostile._repr_html_().startswith("<p>Choose layout &#x27;hoist&#x27;. Trucks lose ")
    assert "To be cured first: &lt;script&gt;, aisle.</p><p>Nothing is to be ordered.</p>" in hostile._repr_html_()


# --- questions ---


def test_each_question_once(bare: Plan) -> None:
    """With the layouts that ask it, where the answer goes, and all that it would change."""
    asks = [question.ask for question in bare.questions]
    every = {check.ask for each in bare.layouts.values() for check in each.checks if check.ask}

    assert len(set(asks)) == len(asks)
    assert set(asks) == every | {"say which layout is there today", "ask for quotations, wages and tariff"}
    by_ask = {question.ask: question for question in bare.questions}
    mass = by_ask["read the mass on the plate of battery 'lead'"]
    assert (mass.path, mass.layouts) == ("batteries.lead.mass", ("stands", "hoist"))
    # The plate of the truck is not known either, so its window is asked for before the battery's mass.
    assert mass.changes == "whether the device may carry the battery; whether people can move it by hand"
    floor = by_ask["measure how high the battery's floor in trucks is, battery in"]
    assert floor.layouts == ("stands", "hoist")
    for question in bare.questions:
        assert question.path
        assert question.changes


def test_no_question_is_left_where_all_is_known(plan: Plan) -> None:
    """But for prices, which are the catalogue's, and records of today."""
    assert [(question.ask, question.path) for question in plan.questions] == [
        ("ask for records of exchanges and charges of some weeks", "calibration"),
        ("ask for quotations, wages and tariff", "prices"),
    ]


# --- recommendation ---


def option(
    name: str,
    cost: float,
    *,
    miss: float = 0.0,
    failing: tuple[str, ...] = (),
    forbidden: str = "",
    bought: tuple[tuple[str, float, float], ...] = (),
    asked: tuple[str, ...] = (),
    in_truck: bool = False,
    says: str = "",
    against: tuple[str, ...] = (),
    downtime: float = 10.0,
    lost: float = 0.0,
) -> LayoutPlan:
    """What a recommendation looks at."""
    checks = (
        *(Check("it", each, FAILS, "", "", "", f"{each} is wrong.", "cure it") for each in failing),
        *([Check("it", forbidden, FAILS, "", "", "", f"{forbidden} forbids.", forbids=True)] if forbidden else []),
        *(Check("it", each, NOT_KNOWN, "-", "", "", f"Not known: {each}.", "", each) for each in asked),
        Check("it", "good", OK, "", "", "", "Good."),
    )
    targets = (TargetResult("downtime", "target 0", "missed", miss),) if miss else ()
    lines = tuple(
        SimpleNamespace(item=item, to_order=number, cost=SimpleNamespace(value=price), reason="")
        for item, number, price in bought
    )
    spent = Price(cost, cost, cost, placeholder=False)
    to_order = summed(Price(each, each, each, placeholder=False) for _, number, each in bought if number)
    made: Any = SimpleNamespace(
        layout=name, in_truck=in_truck, checks=checks, failing=len(failing), targets_missed=len(targets),
        targets=targets, impossible=tuple(check for check in checks if check.impossible),
        verdicts={FAILS: len(failing), NOT_KNOWN: len(asked), OK: 1}, equipment=lines,
        advice=UsualChoice(says, (), against),
        money=YearlyCost("EUR", (YearlyCostLine("all", spent, ""),), to_order, 1.0, 100.0, lost, to_order),
        evidence=SimpleNamespace(
            mean=lambda _: downtime, interval=lambda _: Interval(downtime, downtime - 1.0, downtime + 1.0)
        ),
    )  # fmt: skip
    made.counts = LayoutPlan.counts.fget(made)
    return made


def recommended(*options: LayoutPlan) -> Recommendation:
    """Recommendation of some layouts."""
    scenario = SimpleNamespace(figures=FIGURES, site=SimpleNamespace(currency="EUR"), present=None)
    plan: Any = SimpleNamespace(layouts={each.layout: each for each in options}, scenario=scenario)
    return recommend(plan)


@pytest.mark.parametrize(
    ("options", "layout", "says"),
    [
        ((option("a", 100.0), option("b", 90.0)), "b", "Choose layout 'b'."),
        ((option("a", 100.0),), "a", "Choose layout 'a'."),
        # What can be cured costs no place.
        ((option("a", 100.0), option("b", 90.0, failing=("aisle",))), "b",
         "Choose layout 'b'. To be cured first: it, aisle."),
        ((option("a", 100.0), option("b", 90.0, miss=0.1)), "a", "Choose layout 'a'."),
        ((option("a", 100.0, failing=("aisle",)), option("b", 90.0, miss=0.1)), "a",
         "Choose layout 'a'. To be cured first: it, aisle."),
        # The greatest miss decides, whatever it costs; what is the same to a percent of the limit is a tie.
        ((option("a", 338.0, miss=1.91), option("b", 233.0, miss=0.33)), "b",
         "No layout meets the targets; layout 'b' comes nearest."),
        ((option("a", 233.0, miss=1.91), option("b", 338.0, miss=0.33)), "b",
         "No layout meets the targets; layout 'b' comes nearest."),
        ((option("a", 100.0, miss=0.331), option("b", 90.0, miss=0.334)), "b",
         "No layout meets the targets; layout 'b' comes nearest."),
        # What is impossible comes after all else, and nothing is cured about it.
        ((option("a", 100.0, miss=3.0), option("b", 10.0, forbidden="removal")), "a",
         "No layout meets the targets; layout 'a' comes nearest."),
        ((option("a", 100.0), option("b", 10.0, in_truck=True, forbidden="mass")), "a", "Choose layout 'a'."),
        ((option("a", 100.0), option("b", 100.0, forbidden="mass")), "a", "Choose layout 'a'."),
        ((option("a", 100.0, forbidden="removal"), option("b", 10.0, forbidden="mass")), "b",
         "No layout is possible: layout 'b': it, mass: mass forbids.; layout 'a': it, removal: removal forbids."),
        ((option("a", 100.0, failing=("x", "y")), option("b", 110.0, failing=("x",))), "a",
         "Choose layout 'a'. To be cured first: it, x; it, y."),
        ((option("a", 100.0), option("truck", 50.0, in_truck=True)), "truck",
         "Do not buy exchange equipment: charge in the truck (layout 'truck')."),
        ((option("truck", 50.0, in_truck=True),), "truck", "Choose layout 'truck'."),
        ((option("one", 50.0, in_truck=True), option("two", 90.0, in_truck=True)), "one", "Choose layout 'one'."),
        ((option("a", 100.0), option("b", 100.0 + SAME - 0.01)), "a",
         "No clear winner: layouts 'a' and 'b' cost about the same, 'a' the least."),
        ((option("a", 100.0), option("b", 90.0), option("c", 90.0 * (1.0 + 1e-15))), "b",
         "No difference seen in cost: layouts 'b' and 'c' cost the same."),
        ((option("a", 100.0), option("b", 100.0 + SAME + 0.01)), "a", "Choose layout 'a'."),
        ((option("a", 100.0), option("b", 100.0 + SAME - 0.01, failing=("x",))), "a", "Choose layout 'a'."),
    ],
)  # fmt: skip
def test_what_is_recommended(options: tuple[LayoutPlan, ...], layout: str, says: str) -> None:
    """What is possible, then targets, then the cost of a year; what fails is told after that."""
    found = recommended(*options)
    lead, _, cure = says.partition(" To be cured")

    assert (found.layout, found.says) == (layout, lead)
    assert found.opens == (f"To be cured{cure}" if cure else "")
    assert found.order == ("" if says.startswith("No layout is possible") else "Nothing is to be ordered.")
    assert found.ranking[0] == layout
    assert recommended(*reversed(options)).layout == layout


def test_nothing_is_chosen_while_it_could_be_forbidden() -> None:
    """A check that forbids and is not known makes it a recommendation on condition; any other does not."""
    asked = Check("it", "approval", NOT_KNOWN, "-", "", "", "Not known.", "", "ask the maker", forbids=True)
    sound = option("a", 100.0, asked=("connector",))
    found = recommended(with_check(sound, asked))

    assert recommended(sound).says == "Choose layout 'a'."
    assert found.says == "Layout 'a', if this holds: approval (it)."
    assert found.opens == "Before anything is ordered, since it could forbid it: ask the maker."
    truck = with_check(option("truck", 50.0, in_truck=True), asked)
    assert recommended(option("a", 100.0), truck).says == (
        "Do not buy exchange equipment: charge in the truck (layout 'truck'), if this holds: approval (it)."
    )


def test_what_could_forbid_it_is_named_once_for_all_of_whom_it_is_asked() -> None:
    """With the area before it, unless that has the same name; a check of another name stands apart."""
    asked = Check("it", "approval", NOT_KNOWN, "-", "", "", "Not known.", "", "ask the maker", forbids=True)
    found = option("a", 100.0)
    for check in (
        asked._replace(subject="reach", area="reach"),
        asked._replace(subject="pickers", area="yard"),
        asked._replace(name="mass"),
    ):
        found = with_check(found, check)

    assert recommended(found).says == "Layout 'a', if this holds: approval (reach; area 'yard': pickers); mass (it)."


def with_check(plan: LayoutPlan, check: Check) -> LayoutPlan:
    """The plan with a check more."""
    made: Any = SimpleNamespace(**vars(plan))
    made.checks = (*plan.checks, check)
    return made


def test_what_it_brings_is_told_against_today() -> None:
    """Minutes of both, and the difference of their yearly costs with the way it goes."""
    before, after = option("a", 100.0, downtime=20.0), option("b", 70.0, downtime=5.0)
    found = beside_today(before, after)

    assert found.headline == (
        "Choose layout 'b'. Trucks lose 5.0 min per truck-shift instead of 20.0 min today ('a'). "
        "A year costs 70 EUR in all that the choice changes: what is bought, over its life; people; "
        "trucks that stand still; energy; "
        "30 EUR less than today's 100."
    )
    dearer = beside_today(option("a", 60.0, miss=0.5, downtime=20.0), after)
    assert dearer.costs.endswith("energy; 10 EUR more than today's 60.")
    stays = beside_today(option("a", 60.0), after)
    assert (stays.brings, stays.costs) == (
        "Trucks lose 10.0 min per truck-shift; it is the layout of today.",
        "A year costs 60 EUR in all that the choice changes: what is bought, over its life; people; "
        "trucks that stand still; energy.",
    )


def test_groups_that_lose_more_than_today_are_named() -> None:
    """Where that is sure over all groups together; none where there is one group alone, nor the name of 'today'."""
    before, after = option("today", 100.0, downtime=20.0), option("b", 70.0, downtime=5.0)

    def brings(**minutes: tuple[float, float]) -> str:
        noise = np.array([-0.1, 0.0, 0.1, 0.05])
        return beside_today(before, after, groups={
            name: {"today": then + noise, "b": now + 2.0 * noise} for name, (then, now) in minutes.items()
        }).brings  # fmt: skip

    less = "Trucks lose 5.0 min per truck-shift instead of 20.0 min today."
    assert brings(reach=(24.0, 5.0), yard=(22.0, 25.0), pickers=(3.0, 3.1)) == (
        f"{less} More than today is lost by yard (25.0 instead of 22.0 min)."
    )
    assert brings(reach=(1.0, 2.0), yard=(2.0, 3.0)).endswith(
        "by reach (2.0 instead of 1.0 min), yard (3.0 instead of 2.0 min)."
    )
    assert brings(reach=(24.0, 5.0), yard=(25.0, 22.0)) == less
    assert brings(yard=(22.0, 25.0)) == less


def beside_today(
    today: LayoutPlan, *others: LayoutPlan, groups: Mapping[str, dict[str, np.ndarray[Any, Any]]] = MappingProxyType({})
) -> Recommendation:
    """Recommendation where the first of some layouts is there today; with the downtime of groups by layout."""
    scenario = SimpleNamespace(figures=FIGURES, site=SimpleNamespace(currency="EUR"), present=today.layout)
    layouts = {each.layout: each for each in (today, *others)}
    parts = {
        name: SimpleNamespace(
            pooled=lambda layout, _, lost=lost: lost[layout],
            interval=lambda layout, _, lost=lost: student_interval(lost[layout], 0.95),
        )
        for name, lost in groups.items()
    }
    lost: Any = SimpleNamespace(
        interval=lambda name, _: layouts[name].evidence.interval(""),
        runs=SimpleNamespace(groups=parts, confidence=0.95),
    )
    plan: Any = SimpleNamespace(layouts=layouts, scenario=scenario, comparison=lost)
    return recommend(plan)


def test_the_sentence_names_what_to_order() -> None:
    """The dearest kinds of things by name and number, the others as a count; not what is there already."""
    things = (("charger", 12.0, 30.0), ("battery", 30.0, 90.0), ("owned hoist", 0.0, 0.0), ("sign", 1.0, 1.0))
    many = tuple((f"thing {number}", 1.0, 100.0 - number) for number in range(7))

    assert recommended(option("a", 1.0, bought=things)).order == (
        "Order 30 x battery, 12 x charger, 1 x sign: 121 EUR in all."
    )
    assert recommended(option("a", 1.0, bought=many)).order == (
        "Order 1 x thing 0, 1 x thing 1, 1 x thing 2, 1 x thing 3, 1 x thing 4, 1 x thing 5 and 1 more line of "
        "the order list: 679 EUR in all."
    )


def test_a_usual_choice_that_does_not_suit_the_site_says_so() -> None:
    """A rule of thumb for other shifts is no reason."""
    found = recommended(option("a", 1.0, says="Two or three shifts.", against=("1 shift, where 2 or more are usual",)))

    assert found.reasons[-1] == "Usual choice: Two or three shifts. Not so here: 1 shift, where 2 or more are usual."


def test_reasons_to_the_letter() -> None:
    """Targets, checks, what the others cost and lose, and the usual choice."""
    found = recommended(
        option("a", 1000.0, says="Usual where it is usual."),
        option("b", 900.0, miss=0.5, downtime=20.0),
        option("c", 3500.0, failing=("x",), downtime=5.0),
        option("d", 3.0, forbidden="removal"),
    )

    assert found.reasons == (
        "The scenario states no targets.",
        "Checks: 1 x OK.",
        "Layout 'c' costs 2,500 EUR a year more, loses 5.0 min per truck-shift (against 10.0), and 1 of its "
        "checks fails; "
        "layout 'b' costs 100 EUR a year less, loses 20.0 min per truck-shift (against 10.0), and misses a target; "
        "layout 'd' is impossible (it, removal: removal forbids).",
        "Usual choice: Usual where it is usual.",
    )
    nearest = recommended(option("a", 1.0, miss=0.1), option("b", 2.0, miss=0.1))
    assert nearest.reasons[0] == "Targets: target 0: missed."


def test_layouts_are_compared_at_equal_work() -> None:
    """Ten percent cheaper with a fifth of the work lost is dearer for each hour worked."""
    found = recommended(option("a", 100.0), option("b", 90.0, lost=20.0))

    assert found.ranking == ("a", "b")
    assert "Layout 'b' costs 12.5 EUR a year more" in found.reasons[2]


def test_three_main_risks_the_gravest_first() -> None:
    """What fails, then what is not known."""
    found = recommended(option("a", 1.0, failing=("x", "y"), asked=("p", "q")))

    assert found.risks == ("it, x: x is wrong.", "it, y: y is wrong.", "it, p: Not known: p.")
    assert recommended(option("a", 1.0)).risks == ()


def test_in_the_truck_wins_where_it_is_cheaper(plan: Plan) -> None:
    """One shift, and the night to charge: no exchange equipment."""
    cheapest = min(plan.layouts.values(), key=lambda each: each.money.per_year.value)

    assert cheapest.layout == recommend(plan).layout == "in truck"
    assert recommend(plan).says == "Do not buy exchange equipment: charge in the truck (layout 'in truck')."
    assert recommend(plan).order.startswith("Order 3 x charging spot, ")
    assert recommend(plan).reasons[0] == "The scenario states no targets."


def test_a_target_that_nobody_meets() -> None:
    """The recommendation says so, and where to go on."""
    scenario = batsim.changed(surveyed(), {"targets": {"downtime_per_truck_shift": "at most 0.001 min"}})
    found = batsim.plan_layouts(
        scenario, batsim.Settings(layouts=["hoist", "stands"], replications=5, weeks=0.5, warm_up_weeks=0.1, workers=1)
    )

    assert {each.targets_missed for each in found.layouts.values()} == {1}
    assert recommend(found).says.startswith("No layout meets the targets; ")


# --- advice and cautions ---


@pytest.mark.parametrize(
    ("layout", "changes", "speaks_for", "against"),
    [
        ("rollers", {}, (), ("3 trucks, where 10 or more are usual", "1 shift, where 2 or more are usual",
                             "battery carriage would have to be bought")),
        ("rollers", {"trucks[0].count": 10, "layouts": {"rollers": {
            "handling": "side_rollers", "batteries": 12, "chargers": "3 x electronic_iuia",
            "owned": {"battery_carriage": 1}}}},
         ("10 trucks, where 10 or more are usual", "battery carriage is there already"),
         ("1 shift, where 2 or more are usual",)),
        ("stands", {}, ("3 trucks, where 1 to 6 are usual", "1 shift, where at most 2 are usual",
                        "the room can be moved with it"), ()),
        ("hoist", {}, (), ("hoist would have to be bought",)),
        ("hoist", {"present": "hoist"}, ("hoist is there already",), ()),
        ("hoist", {"layouts.hoist.owned": {"hoist": 1}}, ("hoist is there already",), ()),
        ("in truck", {}, ("1 shift, where at most 1 is usual",), ()),
    ],
)  # fmt: skip
def test_when_an_arrangement_is_usual(
    layout: str, changes: dict[str, Any], speaks_for: tuple[str, ...], against: tuple[str, ...]
) -> None:
    """Held against the trucks, the shifts and what is owned."""
    found = usual_choice(batsim.changed(surveyed(), changes) if changes else surveyed(), layout)

    assert (found.speaks_for, found.speaks_against) == (speaks_for, against)
    assert found.says


def test_cautions_by_what_is_there(plan: Plan) -> None:
    """Gas and acid with vented batteries, fire with lithium, the building in the truck; each once, who decides last."""
    lead, hall = plan.layouts["hoist"].cautions, plan.layouts["in truck"].cautions
    lithium_only = batsim.changed(
        surveyed(),
        {
            "batteries.lead": {"from": "lithium_ion", "cells": 15, "capacity": "400 Ah at 5 h"},
            "layouts": {"hoist": {"handling": "overhead_hoist", "batteries": 4, "chargers": "2 x lithium_cc_cv"}},
        },
    )
    lithium = cautions(lithium_only, "hoist")

    assert all(len(set(each)) == len(each) for each in (lead, hall, lithium))
    assert [any(text.startswith(word) for text in lead) for word in ("Hydrogen", "Acid", "Lithium")] == [
        True,
        True,
        False,
    ]
    assert [any(text.startswith(word) for text in lithium) for word in ("Hydrogen", "Acid", "Lithium")] == [
        False, False, True,
    ]  # fmt: skip
    assert any(text.startswith("Gas spreads over the building") for text in hall)
    assert not any(text.startswith("Gas spreads over the building") for text in lead)
    assert lithium[-1] == DECIDES


def test_cautions_of_a_mixed_fleet() -> None:
    """Lead and lithium chargers must not be mixed up."""
    data = completed_data(surveyed())
    assert isinstance(data["trucks"], list)
    mixed = batsim.changed(surveyed(), {
            "batteries.li": {"from": "lithium_ion", "cells": 15, "capacity": "400 Ah at 5 h"},
            "trucks": [*data["trucks"], {"group": "new", "count": 1, "shifts": ["day"], "battery": "li",
                                         "duty": {"mean_power": "1 kW"}}],
            "layouts": {"hoist": {"handling": "overhead_hoist", "batteries": {"lead": 4, "li": 2},
                                  "chargers": ["2 x electronic_iuia", "1 x lithium_cc_cv"]}},
        })  # fmt: skip

    assert (
        "Never put a lithium-ion battery on a lead-acid charger or the other way round: mark and key both."
        in cautions(mixed, "hoist")
    )


def test_numbers_come_from_the_same_runs(plan: Plan) -> None:
    """What the money calls downtime is what the comparison found."""
    for name, each in plan.layouts.items():
        minutes = plan.comparison.runs.values[name]["downtime_min_per_truck_shift"]
        assert each.evidence.mean("downtime_min_per_truck_shift") == pytest.approx(np.mean(minutes))


def test_waits_are_those_of_the_same_runs(plan: Plan) -> None:
    """The plan keeps the waits of its own replications; simulated alone they come out the same."""
    mine, layouts = plan.waits, tuple(plan.layouts)
    alone = waits_over(plan.scenario, Settings(layouts, **SHORT))

    assert mine.layouts == alone.layouts == tuple(plan.layouts)
    for name in mine.layouts:
        for one, other in zip(mine.waits[name], alone.waits[name], strict=True):
            np.testing.assert_array_equal(one, other)
