"""Doubt: chances and turning points by hand and by closed forms, in words, and plans simulated at draws."""

import json
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

import batsim
from batsim.catalogue import FIGURES
from batsim.decision.doubt import UNITS, Doubt, doubt_of
from batsim.decision.draws import Draws, costs_at_draws
from batsim.plan.draft import draft_of
from batsim.plan.evidence import Evidence, evidence
from batsim.plan.money import YearlyCost, YearlyCostLine, money
from batsim.scenario.settings import Settings
from batsim.scenario.site import Scenario
from batsim.scenario.study_file import LATIN_HYPERCUBE, Design
from batsim.statistics.intervals import Floats
from batsim.study.prices import NOTHING, Price, price_of
from batsim.study.running.counts import BATTERIES, Counted, Counts, with_counts
from batsim.study.running.replications import runs_of
from batsim.study.sweeps.points import Points
from tests.sites import LARKFIELD, SURVEYED

SITE = batsim.read(Path(__file__).parents[1] / "cases" / "not_known.yaml")
"""States no price; two inputs are not known."""
DRIVER = FIGURES["price.driver"]
SPREAD = Price(100.0, 60.0, 180.0, placeholder=True)
QUIET = np.zeros(5)
"""Replications that all cost the same."""
DRAWS = 20_000
"""Draws where a chance is held against a closed form: four standard errors are `NEAR` at most."""
NEAR = 0.0142
QUICK = Settings(weeks=1.0, warm_up_weeks=0.0, workers=1)


def stated(amount: float) -> YearlyCostLine:
    """What the site states a price for."""
    return YearlyCostLine("stated", Price(amount, amount, amount, placeholder=False), "", input="demand")


def driven(hours: float, what: str = "their drivers") -> YearlyCostLine:
    """So many hours of drivers at the price of the catalogue."""
    return YearlyCostLine(what, price_of(SITE, "driver", None).times(hours), "", input="driver")


def bought(price: Price, of: str = "battery lead") -> YearlyCostLine:
    """The yearly part of a purchase."""
    return YearlyCostLine("bought", price, "", input=of)


def cost(*lines: YearlyCostLine, lost_share: float = 0.0) -> YearlyCost:
    """A yearly cost of these lines, with a share of the hours lost."""
    return YearlyCost("EUR", lines, NOTHING, 1.0, 100.0, 100.0 * lost_share, NOTHING)


def doubted(
    costs: Mapping[str, YearlyCost],
    in_question: str | None = None,
    replications: Mapping[str, Floats] | None = None,
    draws: int = 200,
) -> Doubt:
    """Doubt about plans that are called by a letter; all are in question, no replication differs, unless stated."""
    names = "".join(costs) if in_question is None else in_question
    return doubt_of(SITE, costs, replications or dict.fromkeys(costs, QUIET), names, draws=draws)


# --- what would turn it ---


def test_an_hour_above_which_the_other_is_cheaper() -> None:
    """Ten hours of drivers against 100 more: at 10 more an hour, which is 10 of the 17.9 to the end of its range."""
    found = doubted({"a": cost(stated(1000.0), driven(10.0)), "b": cost(stated(1100.0 + 10.0 * DRIVER.value))})

    (turn,) = found.turns
    assert (turn.input, turn.rival, turn.inside) == ("driver", "b", True)
    assert turn.price == pytest.approx(DRIVER.value + 10.0)
    assert turn.factor == pytest.approx((DRIVER.value + 10.0) / DRIVER.value)
    assert turn.reach_share == pytest.approx(10.0 / (DRIVER.high - DRIVER.value))
    assert found.sentence.endswith(
        " draws of the prices that are not known 'a' is the cheapest. "
        "It would turn if an hour of a driver costs more than 47.3 EUR: then 'b' is cheaper."
    )


def test_an_hour_below_which_the_other_is_cheaper() -> None:
    """The best has no drivers: 200 less than ten hours of them, so that they are worth it at 20 less an hour."""
    found = doubted({"a": cost(stated(800.0 + 10.0 * DRIVER.value)), "b": cost(stated(1000.0), driven(10.0))})

    (turn,) = found.turns
    assert (turn.rival, turn.inside) == ("b", True)
    assert turn.price == pytest.approx(DRIVER.value - 20.0)
    assert turn.reach_share == pytest.approx(20.0 / (DRIVER.value - DRIVER.low))
    assert turn.words("EUR") == "an hour of a driver costs less than 17.3 EUR"


def test_no_price_is_below_nothing() -> None:
    """Ten hours for nothing are still dearer than a lead of more than they cost."""
    found = doubted({"a": cost(stated(599.0)), "b": cost(stated(600.0), driven(10.0))})

    assert found.turns == ()
    assert found.sentence.endswith("No single price inside its range turns it.")


def test_lines_of_one_price_move_together() -> None:
    """Six hours lost and four beside it turn where ten do, and as likely."""
    rival = cost(stated(1100.0 + 10.0 * DRIVER.value))
    one = doubted({"a": cost(stated(1000.0), driven(10.0)), "b": rival})
    two = doubted({"a": cost(stated(1000.0), driven(6.0), driven(4.0, "drivers outside downtime")), "b": rival})

    assert two.turns[0].price == pytest.approx(one.turns[0].price)
    assert two.chance_best == one.chance_best


def test_plans_are_held_against_each_other_at_equal_work() -> None:
    """Half of the work lost doubles ten hours of drivers: a lead of 400 is gone at 20 more, outside the range."""
    of_a, of_b = cost(stated(1000.0), driven(10.0), lost_share=0.5), cost(stated(2400.0 + 20.0 * DRIVER.value))
    found = doubted({"a": of_a, "b": of_b})

    (turn,) = found.turns
    assert turn.price == pytest.approx(DRIVER.value + 20.0)
    assert turn.inside is False
    assert found.sentence == (
        "In 100 of 100 draws of the prices that are not known 'a' is the cheapest. "
        "No single price inside its range turns it."
    )


def test_what_both_pay_turns_nothing() -> None:
    """The same batteries in both, whatever they cost."""
    found = doubted({"a": cost(stated(10.0), bought(SPREAD)), "b": cost(stated(11.0), bought(SPREAD))})

    assert found.turns == ()
    assert found.chance_best == {"a": 1.0, "b": 0.0}


def test_the_rival_is_the_first_to_become_cheaper() -> None:
    """Not the one that is next: 'b' saves eight of ten hours and is 160 behind, 'c' saves two and is 60 behind."""
    of_b, of_c = (
        cost(stated(1160.0 + 8.0 * DRIVER.value), driven(2.0)),
        cost(stated(1060.0 + 2.0 * DRIVER.value), driven(8.0)),
    )
    (turn,) = doubted({"c": of_c, "b": of_b, "a": cost(stated(1000.0), driven(10.0))}).turns

    assert turn.rival == "b"
    assert turn.price == pytest.approx(DRIVER.value + 20.0)


def test_the_nearest_stands_first_and_three_are_told() -> None:
    """A lead of 30 over 80 more of the range, for one to four of the same price."""
    lines = [
        bought(SPREAD.times(times), name) for times, name in enumerate(("charger", "device", "room", "watering"), 1)
    ]
    found = doubted({"a": cost(stated(1000.0), *lines), "b": cost(stated(2030.0))})

    assert [turn.input for turn in found.turns] == ["watering", "room", "device", "charger"]
    assert [turn.reach_share for turn in found.turns] == pytest.approx([3.0 / 8.0 / times for times in (4, 3, 2, 1)])
    assert found.sentence.endswith(
        ". It would turn if watering systems are more than 7.5 % dearer in a year: then 'b' is cheaper; "
        "or if bays, stations, room are more than 10 % dearer in a year: then 'b' is cheaper; "
        "or if devices and parts are more than 15 % dearer in a year: then 'b' is cheaper."
    )


amounts = st.floats(0.0, 1000.0)
plan_costs = st.tuples(amounts, amounts, amounts, st.floats(0.0, 0.5))


@given(plans=st.lists(plan_costs, min_size=2, max_size=4))
def test_at_a_turn_the_rival_costs_as_much_and_none_costs_less(plans: list[tuple[float, float, float, float]]) -> None:
    """Whatever plans cost: with the price of the turn in all of them; and their chances add up to one."""

    def costs_at(**factors: float) -> dict[str, YearlyCost]:
        return {
            f"p{number}": cost(
                stated(fixed),
                driven(hours * factors.get("driver", 1.0)),
                bought(SPREAD.times(pieces * factors.get("charger", 1.0)), "charger"),
                lost_share=lost_share,
            )
            for number, (fixed, hours, pieces, lost_share) in enumerate(plans)
        }

    costs = costs_at()
    found = doubt_of(SITE, costs, dict.fromkeys(costs, QUIET), list(costs), draws=20)

    assert sum(found.chance_best.values()) == pytest.approx(1.0)
    for turn in found.turns:
        then = {name: each.at_equal_work.value for name, each in costs_at(**{turn.input: turn.factor}).items()}
        size = max(each.per_year.value for each in costs.values()) * max(1.0, turn.factor)
        assert then[turn.rival] == pytest.approx(then[found.best], abs=1e-6 * size)
        assert then[found.best] <= min(then.values()) + 1e-6 * size


# --- how sure it is ---


@pytest.mark.parametrize("fixed", [70.0, 100.0, 130.0, 170.0])
def test_the_chance_of_one_price_is_the_part_of_its_law(fixed: float) -> None:
    """A triangular price against one that is stated."""
    found = doubted({"a": cost(stated(fixed)), "b": cost(bought(SPREAD))}, draws=DRAWS)

    law = stats.triang(c=40.0 / 120.0, loc=60.0, scale=120.0)
    assert found.chance_best["b"] == pytest.approx(law.cdf(fixed), abs=NEAR)
    assert found.chance_best["a"] == pytest.approx(law.sf(fixed), abs=NEAR)


def test_lines_with_other_ranges_reach_their_ends_together() -> None:
    """Batteries that are worn out early cost 90 to 110 where others cost 60 to 180, of one price: by hand.

    Above the value the others gain 70 of the whole way; a lead of 35 is gone halfway, and the law of their sum (150,
    200, 290) has (90 / 2)² / (140 x 90) beyond that.
    """
    worn = Price(100.0, 90.0, 110.0, placeholder=True)
    found = doubted({"a": cost(bought(SPREAD)), "b": cost(stated(35.0), bought(worn))}, draws=DRAWS)

    assert found.chance_best["b"] == pytest.approx(45.0**2 / (140.0 * 90.0), abs=NEAR)
    assert found.turns[0].reach_share == pytest.approx(0.5)


def test_the_chance_grows_with_the_lead() -> None:
    """The same draws for whatever the other costs more."""
    chances = [
        doubted({"a": cost(bought(SPREAD), driven(1.0)), "b": cost(stated(130.0 + more))}).chance_best["a"]
        for more in range(0, 120, 10)
    ]

    assert chances == sorted(chances)
    assert chances[0] < chances[5] < chances[-1]


def test_chance_between_replications() -> None:
    """Every price is stated, and the lead is half a standard error of the mean of the paired differences."""
    differences = stats.norm.ppf((np.arange(40) + 0.5) / 40)
    lead = 0.5 * float(np.std(differences, ddof=1)) / np.sqrt(40.0)
    replications = {"a": 500.0 + QUIET.repeat(8), "b": 500.0 + lead + differences}
    found = doubted({"a": cost(stated(500.0)), "b": cost(stated(500.0 + lead))}, None, replications, DRAWS)

    assert found.chance_best["a"] == pytest.approx(stats.norm.cdf(0.5), abs=2.0 * NEAR)
    assert found.sentence == "In 69 of 100 draws of the replications 'a' is the cheapest."


def test_two_replications_tell_as_much_as_their_standard_error() -> None:
    """Resampled alone they would spread by no more than half their distance; a quarter of the draws take both low."""
    replications = {"a": np.array([100.0, 100.0]), "b": np.array([100.2, 102.2])}
    found = doubted({"a": cost(stated(100.0)), "b": cost(stated(101.2))}, None, replications, DRAWS)

    assert found.chance_best["a"] == pytest.approx(0.75, abs=NEAR)


def test_what_all_plans_see_alike_is_no_doubt() -> None:
    """Replications are paired: a hard one is hard for both."""
    hard = np.array([0.0, 500.0, -500.0, 900.0])
    found = doubted({"a": cost(stated(100.0)), "b": cost(stated(101.0))}, None, {"a": hard, "b": hard + 1.0})

    assert found.chance_best == {"a": 1.0, "b": 0.0}


def test_one_replication_tells_nothing_of_chance() -> None:
    """Then prices alone are in doubt."""
    one = {"a": np.array([100.0]), "b": np.array([101.0])}

    assert doubted({"a": cost(stated(100.0)), "b": cost(stated(101.0))}, None, one).chance_best["a"] == 1.0


def test_another_may_be_the_cheapest_more_often() -> None:
    """A price that may rise further than it may fall: at 104.1, 40 % of its law lies below."""
    found = doubted({"a": cost(stated(104.1)), "b": cost(bought(SPREAD))}, draws=DRAWS)

    assert found.best == "b"
    assert found.sentence == (
        "In 40 of 100 draws of the prices that are not known 'b' is the cheapest. More often it is 'a', in 60. "
        "It would turn if batteries 'lead' are more than 4.1 % dearer in a year: then 'a' is cheaper."
    )


def test_nearly_all_is_not_all() -> None:
    """One draw in a thousand is enough to speak of 99."""
    found = doubted({"a": cost(stated(177.0)), "b": cost(bought(SPREAD))}, draws=DRAWS)

    assert 0.995 < found.chance_best["b"] < 1.0
    assert found.sentence.startswith("In 99 of 100 draws")


# --- who can be best ---


def test_only_what_is_in_question_can_be_best() -> None:
    """The cheapest misses a target; it is beaten by nobody and turns nothing."""
    costs = {"a": cost(stated(50.0)), "b": cost(bought(SPREAD)), "c": cost(stated(120.0))}
    found = doubted(costs, "bc")

    assert (found.best, found.chance_best["a"]) == ("b", 0.0)
    assert {turn.rival for turn in found.turns} == {"c"}
    assert doubted(costs, "b").sentence == "Only 'b' is possible and meets its targets."
    assert (doubted(costs, "b").chance_best, doubted(costs, "b").turns) == ({"a": 0.0, "b": 1.0, "c": 0.0}, ())


def test_none_can_be_best() -> None:
    """Neither where none meets the targets, nor where all the work is lost."""
    for found in (doubted({"a": cost(stated(1.0))}, ""), doubted({"a": cost(stated(1.0), lost_share=1.0)})):
        assert found.sentence == "No plan is possible and meets its targets."
        assert (found.best, found.chance_best, found.turns) == ("", {"a": 0.0}, ())


def test_a_plan_without_a_cost_is_never_best() -> None:
    """All of its work is lost; the others are ranked as if it were not there."""
    idle = cost(stated(1.0), lost_share=1.0)
    found = doubted({"c": cost(stated(3.0)), "x": idle, "a": cost(stated(1.0)), "y": idle, "b": cost(stated(2.0))})

    assert found.in_question == ("a", "b", "c")
    assert found.chance_best == {"c": 0.0, "x": 0.0, "a": 1.0, "y": 0.0, "b": 0.0}


def test_what_costs_the_same() -> None:
    """The chance is shared between two that are alike in all; one that is dearer has none of it."""
    alike = cost(stated(10.0), bought(SPREAD))
    found = doubted({"a": alike, "b": alike, "c": cost(stated(11.0), bought(SPREAD))})

    assert found.chance_best == {"a": 0.5, "b": 0.5, "c": 0.0}
    assert found.sentence == (
        "In 50 of 100 draws of the prices that are not known 'a' is the cheapest. "
        "At the prices as they are taken to be it costs the same as 'b'."
    )


def test_a_price_does_not_turn_what_is_level_already() -> None:
    """Of the same cost by other means: it takes no change to say so."""
    found = doubted({"a": cost(stated(110.0)), "b": cost(stated(10.0), bought(SPREAD)), "c": cost(stated(115.0))})

    assert found.level == ("b",)
    assert found.turns == ()
    assert found.sentence.endswith("At the prices as they are taken to be it costs the same as 'b'.")


def test_what_costs_nothing() -> None:
    """Nothing is as cheap as nothing."""
    found = doubted({"a": cost(), "b": cost(bought(NOTHING))})

    assert found.chance_best == {"a": 0.5, "b": 0.5}
    assert found.sentence == (
        "In 50 of 100 draws of the replications 'a' is the cheapest. "
        "At the prices as they are taken to be it costs the same as 'b'."
    )


def test_plans_with_other_numbers_of_replications_are_refused() -> None:
    """They cannot be paired."""
    costs = {"a": cost(stated(1.0)), "b": cost(stated(2.0))}

    with pytest.raises(ValueError, match=r"^plans need equally many replications \(got \[4, 5\]\)$"):
        doubted(costs, None, {"a": QUIET, "b": QUIET[1:]})
    with pytest.raises(ValueError, match=r"^draws must be 1 or more \(got 0\)$"):
        doubted(costs, draws=0)


def test_plain_data_of_a_doubt() -> None:
    """A price for a unit is null where the input has none."""
    found = doubted({"a": cost(bought(SPREAD)), "b": cost(stated(120.0))})
    data = json.loads(json.dumps(found.as_json(), allow_nan=False))

    (turn,) = data["turns"]
    assert (data["best"], data["sentence"], data["chance_best"]) == ("a", found.sentence, found.chance_best)
    assert (turn["input"], turn["price"], turn["inside"]) == ("battery lead", None, True)
    assert turn["words"] == "batteries 'lead' are more than 20 % dearer in a year"


# --- what real plans cost ---


@cache
def surveyed() -> dict[str, Evidence]:
    """What a short simulation says of the layouts of the surveyed site."""
    return evidence(replace(QUICK, replications=2).schedule(SURVEYED), QUICK)


@cache
def drafted() -> dict[str, YearlyCost]:
    """What they cost in a year."""
    return {layout: draft_of(SURVEYED, found).money for layout, found in surveyed().items()}


def test_every_line_names_the_price_that_it_rests_on() -> None:
    """A line of a price for a unit has its range; purchases have a price for each kind."""
    expected = {
        "batteries": "battery lead",
        "watering systems": "watering",
        "chargers": "charger",
        "devices and parts": "device",
        "bays, stations, room": "room",
        "attendants on duty": "attendant",
        "attendants hands-on": "attendant",
        "trucks standing": "truck",
        "their drivers": "driver",
        "drivers outside downtime": "driver",
        **{name: name for name in ("energy", "demand", "water", "floor")},
    }
    lines = [line for each in drafted().values() for line in each.lines]

    assert {line.what for line in lines} >= set(expected) - {"watering systems", "attendants hands-on"}
    for line in lines:
        assert line.input == expected[line.what]
        if line.input in UNITS:
            price = price_of(SURVEYED, line.input, None)
            assert line.per_year.high / line.per_year.value == pytest.approx(price.high / price.value)


def test_a_price_of_a_turn_stated_makes_both_cost_the_same() -> None:
    """Money worked out anew with the price of each turn."""
    costs = drafted()
    found = doubt_of(SURVEYED, costs, dict.fromkeys(costs, QUIET), list(costs))
    turns = [turn for turn in found.turns if turn.input in UNITS]

    assert turns
    for turn in turns:
        per = FIGURES[f"price.{turn.input}"].unit
        then = batsim.changed(SURVEYED, {"prices": {turn.input: f"{turn.price:.9f} {per}"}})
        best, rival = (
            money(then, layout, surveyed()[layout], draft_of(then, surveyed()[layout]).equipment).at_equal_work.value
            for layout in (found.best, turn.rival)
        )
        assert best == pytest.approx(rival, rel=1e-6)


# --- at draws of what is not known ---


def batteries(layout: str, number: int, of: str = "plain") -> Counts:
    """A layout with so many batteries."""
    return Counts(layout, ((Counted(BATTERIES, of), number),))


PLANS = {"few": batteries("hands", 6), "many": batteries("hands", 9), "table": batteries("table", 7)}
OPEN = batsim.changed(
    SITE,
    {
        "targets": {"downtime_per_truck_shift": "at most 80 min"},
        "prices": {"battery": {"between": ["100 EUR/kWh", "200 EUR/kWh"]}},
    },
)
"""With a price that is not known beside the two inputs of the room, and a target."""


@cache
def simulated() -> Draws:
    """Three plans, two of them of one layout."""
    return costs_at_draws(OPEN, PLANS, QUICK, 5)


def alone(site: Scenario, counts: Counts, settings: Settings, numbers: slice) -> Evidence:
    """Some replications of a plan run by themselves."""
    made, layout = with_counts(site, counts), counts.layout
    settings = replace(settings, layouts=layout, replications=numbers.stop)
    parts = []
    for part in evidence(settings.schedule(made), settings)[layout].parts:
        kept = part.replications[numbers]
        schedule = replace(part.runs.schedule, replications=len(kept))
        parts.append(Evidence(layout, runs_of(schedule, {layout: [run.results for run in kept]}), kept))
    return replace(parts[0], seasons=tuple(parts[1:]))


@pytest.mark.parametrize("draw", [0, 3])
def test_a_draw_is_its_plans_run_by_themselves(draw: int) -> None:
    """Each draw has two replications of its own, shared by all plans; cost and target by the scenario of the draw."""
    found = simulated()
    site = batsim.changed(OPEN, found.points.all[draw])
    for column, counts in enumerate(PLANS.values()):
        told = alone(site, counts, QUICK, slice(2 * draw, 2 * draw + 2))
        made = with_counts(site, counts)

        assert found.costs[draw, column] == draft_of(made, told).money.at_equal_work.value
        assert found.meets[draw, column] == (told.mean("downtime_min_per_truck_shift") <= 80.0)


def test_plans_of_one_layout_are_kept_apart() -> None:
    """More batteries cost more, or lose less; some plan meets the target at some draw and some does not."""
    found = simulated()

    assert found.plans == ("few", "many", "table")
    assert np.isfinite(found.costs).all()
    assert (found.costs[:, 0] != found.costs[:, 1]).all()
    assert 0 < np.count_nonzero(found.meets) < found.meets.size
    assert {path for path, _ in found.swayed_by} == {factor.path for factor in OPEN.unknowns}


def test_counts_that_a_draw_does_not_allow() -> None:
    """Five batteries do for four trucks and a spare; with more trucks the plan cannot be best."""
    site = batsim.changed(OPEN, {"trucks[0].count": {"between": [3, 6]}})
    found = costs_at_draws(site, {"five": batteries("hands", 5), "nine": batteries("hands", 9)},
                           replace(QUICK, weeks=0.2), 6)  # fmt: skip
    trucks = np.array([point["trucks[0].count"] for point in found.points.all])

    assert set(trucks) == {3, 4, 5, 6}
    assert (np.isfinite(found.costs[:, 0]) == (trucks <= 4)).all()
    assert not found.meets[trucks > 4, 0].any()
    assert np.isfinite(found.costs[:, 1]).all()


def test_a_plan_that_is_impossible_meets_nothing() -> None:
    """Batteries that are lifted out at the top do not leave at the side, whatever the target."""
    site = batsim.read_scenario_text("""\
site: {name: Lifted out (invented)}
week: {shifts: {day: {days: Mon-Fri, from: "06:00", to: "14:00"}}}
trucks:
  - {group: trucks, count: 2, shifts: [day], battery: lead, compartment: {removal: top},
     duty: {mean_power: {between: [1 kW, 2 kW]}}}
batteries: {lead: {from: vented_lead_acid, cells: 24, capacity: 500 Ah at 5 h}}
targets: {downtime_per_truck_shift: at most 400 min}
layouts:
  rollers: {handling: side_rollers, batteries: 4, chargers: 2 x electronic_iuia}
  hoist: {handling: overhead_hoist, batteries: 4, chargers: 2 x electronic_iuia}
""")
    plans = {name: Counts(name, ()) for name in site.layouts}
    found = costs_at_draws(site, plans, replace(QUICK, weeks=0.2), 2)

    assert found.meets.tolist() == [[False, True], [False, True]]
    assert found.chance_best == {"rollers": 0.0, "hoist": 1.0}


def test_seasons_and_unknowns_of_layouts_that_are_not_planned() -> None:
    """A year has its season at each draw; an unknown of another layout is not drawn."""
    group = LARKFIELD.trucks[0].group
    first, other = LARKFIELD.layouts
    changes: dict[str, Any] = {
        "trucks[0].duty.mean_power": {"between": ["2 kW", "4 kW"]},
        f"layouts.{other}.stations": {"between": [1, 2]},
    }
    site = batsim.changed(LARKFIELD, changes)
    short = replace(QUICK, weeks=0.2, replications=1)
    found = costs_at_draws(site, {group: Counts(first, ())}, short, 2)

    assert [factor.path for factor in found.points.factors] == ["trucks[0].duty.mean_power"]
    then = batsim.changed(site, found.points.all[1])
    told = alone(then, Counts(first, ()), short, slice(1, 2))
    assert len(told.seasons) == 1
    assert found.costs[1, 0] == draft_of(then, told).money.at_equal_work.value


@pytest.mark.parametrize(
    ("site", "draws", "rule"),
    [
        (SURVEYED, 2, "no input is marked as uncertain: give {between: [LOW, HIGH]}"),
        (SITE, 1, "needs at least 2 draws"),
    ],
)
def test_nothing_to_draw(site: Scenario, draws: int, rule: str) -> None:
    """Refused before anything is simulated."""
    plan = Counts(next(iter(site.layouts)), ())

    with pytest.raises(batsim.ScenarioError) as caught:
        costs_at_draws(site, {"plan": plan}, QUICK, draws)
    assert str(caught.value) == f"{site.file}: 1 problem\n  {site.file}: uncertain: {rule}"


def made_up(costs: list[Floats], meets: list[Any] | None = None) -> Draws:
    """Plans 'a', 'b', ... with a cost at each draw."""
    table = np.column_stack(costs)
    points = Points(SITE.unknowns, Design(LATIN_HYPERCUBE, len(table)), 1)
    kept = np.ones(table.shape, dtype=np.bool_) if meets is None else np.column_stack(meets)
    return Draws(tuple("abc"[: len(costs)]), points, table, kept, 0.95)


def shares(number: int) -> Floats:
    """Where each draw lies in the range of one of the two inputs."""
    column: Floats = Points(SITE.unknowns, Design(LATIN_HYPERCUBE, 40), 1).cube[:, number]
    return column


def test_how_often_each_is_the_cheapest_and_what_sways_it() -> None:
    """The lead of 'a' falls with the second input, from 30 to -10: it is gone at three quarters of its range."""
    found = made_up([100.0 + 40.0 * shares(1), np.full(40, 130.0)])

    assert found.chance_best == {"a": 0.75, "b": 0.25}
    path, sway = found.swayed_by[0]
    assert (path, sway.mean) == (SITE.unknowns[1].path, pytest.approx(-1.0))
    assert found.swayed_by[1][1].mean == pytest.approx(stats.spearmanr(shares(0), -shares(1)).statistic)
    assert found.sentence == (
        "At 30 of 40 draws of what is not known 'a' is the cheapest that meets its targets. It depends most on "
        "handling.table.steps[0].time: the greater that is, the smaller the lead over 'b'."
    )


def test_a_plan_that_misses_its_targets_is_not_best_there() -> None:
    """The cheaper one meets them below half of the first input, the dearer one below nine tenths of it."""
    low, wide = shares(0) < 0.5, shares(0) < 0.9
    found = made_up([np.full(40, 100.0), np.full(40, 130.0)], [low, wide])

    assert found.chance_best == pytest.approx({"a": 0.5, "b": 0.4})
    assert found.ranking == ("a", "b")
    ranks = np.where(low, 30.0, np.where(wide, -31.0, 0.0))
    assert found.swayed_by[0][0] == SITE.unknowns[0].path
    assert found.swayed_by[0][1].mean == pytest.approx(stats.spearmanr(shares(0), ranks).statistic)
    assert (
        "draws of what is not known 'a' is the cheapest that meets its targets. At 4 no plan meets them. It depends"
        in (found.sentence)
    )


def test_no_lead_to_sway() -> None:
    """One plan has none; neither have two that never meet their targets, nor two that always cost the same."""
    costs = np.arange(40.0)
    never = np.zeros(40, dtype=np.bool_)

    assert made_up([costs]).swayed_by == ()
    assert made_up([costs]).sentence == (
        "At 40 of 40 draws of what is not known 'a' is the cheapest that meets its targets."
    )
    assert made_up([costs, costs], [never, never]).sentence == (
        "No plan meets its targets at any of 40 draws of what is not known."
    )
    assert made_up([costs, costs]).chance_best == {"a": 0.5, "b": 0.5}
    assert made_up([costs, costs]).sentence == (
        "At 20 of 40 draws of what is not known 'a' is the cheapest that meets its targets."
    )


def test_plain_data_of_draws() -> None:
    """A cost that is no number is null."""
    first = np.arange(4.0)
    first[2] = np.nan
    found = made_up([first, np.full(4, 2.0)], [np.isfinite(first), np.ones(4, dtype=np.bool_)])
    data = json.loads(json.dumps(found.as_json(), allow_nan=False))

    assert data["costs"]["a"] == [0.0, 1.0, None, 3.0]
    assert data["meets"]["a"] == [True, True, False, True]
    assert [each["path"] for each in data["unknowns"]] == [factor.path for factor in SITE.unknowns]
    assert (data["draws"], data["chance_best"], data["sentence"]) == (4, {"a": 0.5, "b": 0.5}, found.sentence)
