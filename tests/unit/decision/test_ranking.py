"""The one ranking: what is possible, then targets, then the greatest miss, ties by cost; comparisons follow it."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

import batsim
from batsim.cli import main
from batsim.decision.decide import decide
from batsim.decision.ranking import Standing, order, order_of_runs, order_sentence
from batsim.errors import ScenarioError
from batsim.scenario.settings import Schedule, Settings
from batsim.scenario.site import Scenario
from batsim.study.compare import Comparison
from batsim.study.first_estimate import outline
from batsim.study.limits import TargetResult
from batsim.study.running.runs import Runs
from batsim.study.uncertain import UncertainComparison
from batsim.study.waits import WholeShift, whole_shifts_waited
from batsim.views.text.decision_text import decision_text
from batsim.views.text.summary import summary_text
from batsim.views.text.tables import comparison_text
from batsim.views.text.uncertain_text import uncertain_text

TEXT = """\
site: {name: Ranked (invented)}
week: {shifts: {day: {days: Mon-Fri, from: "06:00", to: "14:00"}}}
trucks:
  - {group: trucks, count: 2, shifts: [day], battery: lead, duty: {mean_power: 2 kW}, compartment: {removal: top}}
batteries: {lead: {from: vented_lead_acid, cells: 24, capacity: 500 Ah at 5 h}}
targets: {downtime_per_truck_shift: at most 10 min, waits: 95 % under 5 min}
layouts:
  rollers: {handling: side_rollers, batteries: 4, chargers: 2 x electronic_iuia}
  hoist: {handling: overhead_hoist, batteries: 4, chargers: 2 x electronic_iuia}
  truck: {handling: in_truck, chargers: 2 x electronic_iuia}
"""
SITE = batsim.read_scenario_text(TEXT, "ranked.yaml")
NO_ROLLERS = "trucks, battery removal: The battery does not leave at the side"
DOWN, WITHIN = "downtime_min_per_truck_shift", "wait_within_target_share"
NOISE = np.array([0.1, -0.1, 0.2, -0.2])
QUICK: dict[str, Any] = {"replications": 2, "weeks": 0.2, "warm_up_weeks": 0.0, "workers": 1}


def standing(layout: str, cost: float, miss: float = 0.0, *, impossible: bool = False) -> Standing:
    """Of a layout with exchanges."""
    targets = (TargetResult("downtime", "", "missed" if miss else "met", miss),)
    return Standing(layout, impossible, targets, 10.0 * (1.0 + miss), cost)


def in_truck(layout: str, cost: float, downtime: float) -> Standing:
    """Of a layout that a target on waits says nothing of, where there is none on downtime."""
    return Standing(layout, False, (TargetResult("waits", "", "no exchanges"),), downtime, cost)


@pytest.mark.parametrize(
    ("standings", "first_to_last"),
    [
        ([standing("a", 2.0), standing("b", 1.0)], "ba"),
        ([standing("a", 2.0), standing("b", 1.0, 0.1)], "ab"),
        ([standing("a", 9.0, 0.1), standing("b", 1.0, 0.2)], "ab"),
        ([standing("a", 2.0, 0.101), standing("b", 1.0, 0.104)], "ba"),
        ([standing("a", 9.0, 5.0), standing("b", 1.0, impossible=True)], "ab"),
        ([standing("a", 9.0, float("inf")), standing("b", 1.0, 7.0)], "ba"),
    ],
)
def test_what_goes_first(standings: list[Standing], first_to_last: str) -> None:
    assert "".join(order(standings)) == first_to_last
    assert "".join(order(standings[::-1])) == first_to_last


@pytest.mark.parametrize(
    ("downtime", "first"),
    [(9.9, "truck"), (10.0, "truck"), (10.2, "stands"), (40.0, "stands")],
)
def test_without_exchanges_and_a_downtime_target_the_downtime_of_the_others_judges(downtime: float, first: str) -> None:
    """No more than the 10 min of the layout that meets the target on waits counts as met, and cost decides."""
    stands = standing("stands", 5.0)._replace(targets=(TargetResult("waits", "", "met"),))

    assert order([stands, in_truck("truck", 1.0, downtime)])[0] == first


def test_without_exchanges_it_takes_its_place_among_those_that_miss() -> None:
    """Twice the downtime of the nearest adds 1 to its miss."""
    near, far = (
        standing(name, 9.0)._replace(targets=(TargetResult("waits", "", "missed", miss),), downtime_min=10.0)
        for name, miss in (("near", 0.1), ("far", 1.2))
    )

    assert order([far, in_truck("truck", 1.0, 20.0), near]) == ("near", "truck", "far")
    assert order([in_truck("one", 2.0, 20.0), in_truck("two", 1.0, 30.0)]) == ("two", "one")
    downtime_too = in_truck("truck", 1.0, 20.0)._replace(
        targets=(TargetResult("waits", "", "no exchanges"), TargetResult("downtime", "", "missed", 2.0))
    )
    assert order([far, downtime_too, near]) == ("near", "far", "truck")


def compared(scenario: Scenario = SITE, **layouts: tuple[float, float]) -> Comparison:
    """Layouts with these means of downtime and of the share of waits within the target."""
    values = {
        name: {
            DOWN: downtime + NOISE,
            WITHIN: np.full(4, within),
            "exchanges_started": np.full(4, 5000.0),
            "wait_min_p95": np.full(4, 3.0),
        }
        for name, (downtime, within) in layouts.items()
    }
    runs = Runs(Schedule(scenario, tuple(layouts), 1, 4, 10080.0, 0.0, 0.95), values)
    return Comparison(runs, (DOWN,))


def test_a_layout_without_exchanges_does_not_meet_a_target_on_waits() -> None:
    """Its downtime judges it, so it comes last though it misses one target and the others two."""
    found = compared(rollers=(19.9, 0.8), truck=(43.7, 1.0), hoist=(15.0, 0.9))

    assert [result.verdict for result in found.targets("truck")] == ["missed", "no exchanges"]
    assert order_of_runs(found) == ("hoist", "rollers", "truck")
    assert order_sentence(found) == (
        "By targets, the best first: 'hoist' misses downtime by 50 % of the limit; 'rollers' misses downtime by "
        "99 % of the limit; 'truck' misses downtime by 337 % of the limit. Cost settles what is level: batsim plan."
    )


def test_cost_settles_ties_of_a_comparison_where_it_is_known() -> None:
    """Both meet the targets: the cheaper first, though it has more downtime; without costs the one with less."""
    both = compared(rollers=(4.0, 0.99), hoist=(8.0, 0.99))
    priced = replace(both, costs={"rollers": 300.0, "hoist": 200.0})
    free = batsim.changed(SITE, {"targets": {}})
    no_targets = replace(compared(free, rollers=(4.0, 0.99), hoist=(8.0, 0.99)), costs=priced.costs)

    assert order_of_runs(both) == ("rollers", "hoist")
    assert order_of_runs(priced) == order_of_runs(no_targets) == ("hoist", "rollers")
    assert order_sentence(priced) == (
        "By targets, then by cost in a year (batsim plan), the best first: 'hoist' meets them; 'rollers' meets them."
    )
    assert order_sentence(both).endswith("Cost settles what is level: batsim plan.")
    assert order_sentence(no_targets) == "By cost in a year, the cheapest first: 'hoist', 'rollers' (batsim plan)."


def test_what_is_impossible_has_no_place_in_the_order() -> None:
    """Of two layouts one is left, and nothing is to be ranked; of three, two."""
    both, three = (
        compared(rollers=(4.0, 0.99), hoist=(8.0, 0.99)),
        compared(rollers=(4.0, 0.99), hoist=(8.0, 0.99), truck=(2.0, 1.0)),
    )

    assert order_sentence(replace(both, impossible={"hoist": "its trucks open upwards."})) == ""
    assert "'truck'" not in order_sentence(replace(three, impossible={"truck": "it has no plug."}))


def test_how_far_a_target_is_missed_is_a_part_of_its_limit() -> None:
    """19 min at 10 are 90 %, 80 % of the waits at 95 % are 16 %; what allows nothing is missed by minutes."""
    found = compared(rollers=(19.0, 0.8), hoist=(9.0, 0.99))
    nothing = compared(batsim.changed(SITE, {"targets": {"downtime_per_truck_shift": "at most 0 min"}}), hoist=(3.0, 1))

    assert [result.miss_share for result in found.targets("rollers")] == pytest.approx([0.9, 15.0 / 95.0])
    assert [result.miss_share for result in found.targets("hoist")] == [0.0, 0.0]
    assert nothing.targets("hoist")[0].miss_share == pytest.approx(3.0)


@pytest.fixture(scope="module")
def simulated() -> Comparison:
    """Three layouts of a site whose batteries leave at the top."""
    return batsim.compare(SITE, Settings(**QUICK))


def test_a_comparison_never_calls_an_impossible_layout_best(simulated: Comparison) -> None:
    """It says why, has no chance, comes last, and its numbers stay."""
    text = " ".join(comparison_text(simulated, 200).split())

    assert list(simulated.impossible) == ["rollers"]
    assert np.isnan(simulated.chance_best["rollers"])
    assert simulated.ranking[-1] == order_of_runs(simulated)[-1] == "rollers"
    assert "rollers" not in simulated.verdict
    assert f"Layout 'rollers' is impossible: {NO_ROLLERS}" in text
    assert "possible no yes yes" in text
    assert simulated.as_json()["impossible"] == dict(simulated.impossible)
    assert np.isfinite(simulated.interval("rollers").mean)


def test_with_one_possible_layout_there_is_no_verdict() -> None:
    found = batsim.compare(SITE, Settings(**QUICK, layouts=["rollers", "truck"]))

    assert found.verdict == "Fewer than two possible layouts have a value of downtime, so there is no verdict."


def test_draws_never_make_an_impossible_layout_best() -> None:
    site = batsim.changed(SITE, {"trucks[0].duty.mean_power": {"between": ["2 kW", "3 kW"]}})
    found = batsim.compare_uncertain(site, 3, Settings(**QUICK))
    text = " ".join(uncertain_text(found, 200).split())
    alone = batsim.compare_uncertain(site, 3, Settings(**QUICK, layouts=["rollers", "truck"]))

    assert isinstance(found, UncertainComparison)
    assert found.chance_best["rollers"].mean == 0.0
    assert found.ranking[-1] == "rollers"
    assert f"Layout 'rollers' is impossible: {NO_ROLLERS}" in text
    assert found.as_json()["impossible"] == dict(found.impossible)
    assert alone.verdict == "Only layout 'truck' is possible."
    assert alone.swayed_by == ()


def test_check_says_at_once_what_is_impossible() -> None:
    """Under its layout, and of no other."""
    lines = summary_text(outline(SITE), 400).splitlines()
    (at,) = (number for number, line in enumerate(lines) if line.startswith("    impossible: "))

    assert lines[at].startswith(f"    impossible: {NO_ROLLERS}")
    assert [line for line in lines[:at] if line.startswith("  layout")][-1].startswith("  layout rollers")


def test_a_decision_leaves_out_what_is_impossible() -> None:
    """And says so; nothing is simulated for it."""
    ranges = {"batteries": (3, 4), "chargers": (2, 3)}
    targets = {"downtime_per_truck_shift": "at most 400 min", "waits": "1 % under 200 min"}
    site = batsim.changed(SITE, {"targets": targets})
    found = decide(site, Settings(workers=1, weeks=0.2, warm_up_weeks=0.0, layouts=["rollers", "hoist"]), ranges=ranges)
    text = " ".join(decision_text(found, 200).split())

    assert [answer.layout for answer in found.answers] == ["hoist"]
    assert found.ranking == ("hoist",)
    assert f"Layout 'rollers' is impossible: {NO_ROLLERS}" in text
    assert found.as_json()["impossible"] == dict(found.impossible)
    with pytest.raises(ScenarioError, match=r"layouts\.rollers: is impossible: trucks, battery removal"):
        decide(site, Settings(workers=1, layouts="rollers"))


def test_a_decision_judges_a_layout_without_exchanges_by_downtime() -> None:
    """Its waits are no target of its; where there is nothing else, it is refused."""
    targets = {"downtime_per_truck_shift": "at most 400 min", "waits": "99 % under 1 min"}
    settings = Settings(workers=1, weeks=0.2, warm_up_weeks=0.0, layouts="truck")
    found = decide(batsim.changed(SITE, {"targets": targets}), settings, ranges={"chargers": (2, 3)})

    assert [limit.name for limit in found["truck"].limits] == ["downtime"]
    assert "99 % of waits under 1 min: no exchanges, so downtime judges" in decision_text(found, 200)
    with pytest.raises(ScenarioError, match=r"layouts\.truck: has no exchanges, and the targets are about nothing"):
        decide(batsim.changed(SITE, {"targets": {"waits": "99 % under 1 min"}}), settings)


@pytest.mark.parametrize(("wait", "told"), [(479.0, False), (480.0, True), (900.0, True)])
def test_a_95th_percentile_that_is_a_whole_shift_says_so(wait: float, told: bool) -> None:
    """The shift works 480 min."""
    runs = compared(hoist=(100.0, 0.5)).runs
    runs.values["hoist"]["wait_min_p95"] = np.full(4, wait)

    assert whole_shifts_waited(runs) == ({"hoist": WholeShift(wait, 480.0)} if told else {})


def test_the_comparison_tells_a_wait_of_a_whole_shift(simulated: Comparison) -> None:
    """In words below the table."""
    values = {name: dict(table) for name, table in simulated.runs.values.items()}
    values["hoist"]["wait_min_p95"] = np.full(2, 480.0)
    found = Comparison(Runs(simulated.runs.schedule, values))
    said = "95th percentile of the waits, 'hoist': 480 min are a whole shift (480 min of work) or more, so one exchange"

    assert said in " ".join(comparison_text(found, 200).split())
    assert "whole shift" not in comparison_text(simulated, 200)


def test_every_command_tells_the_same_impossible_layout(tmp_path: Path) -> None:
    """Check at once; comparison, plan and decision as data; it is last wherever there is a ranking."""
    file = tmp_path / "ranked.yaml"
    file.write_text(TEXT, encoding="utf-8")

    def call(*arguments: str) -> str:
        result = CliRunner().invoke(main, [arguments[0], str(file), *arguments[1:]])
        assert result.exit_code == 0, result.output
        return result.stdout

    short = ("-r", "2", "--weeks", "0.2", "--warm-up", "0", "--workers", "1", "--json")
    compared_data, planned = json.loads(call("compare", *short)), json.loads(call("plan", *short))

    assert "impossible: " in call("check")
    assert call("plan", *short[:-1], "--full").count("\nImpossible: trucks, battery removal: ") == 1
    assert call("plan", *short[:-1]).count("rollers (impossible)") == 1
    assert compared_data["ranking"] == list(planned["recommendation"]["ranking"])
    assert compared_data["ranking"][-1] == "rollers"
    assert list(compared_data["impossible"]) == ["rollers"]
    assert planned["layouts"]["rollers"]["impossible"].startswith(NO_ROLLERS)
    assert planned["layouts"]["hoist"]["impossible"] is None
    assert "'rollers'" not in planned["recommendation"]["says"]
