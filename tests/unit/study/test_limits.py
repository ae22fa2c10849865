"""Targets as limits: their measures, what makes no difference, what is tested, and how a layout stands to them."""

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import batsim
from batsim.catalogue import FIGURES
from batsim.measures import MEASURES, WITHIN_TARGET
from batsim.scenario.settings import Schedule
from batsim.scenario.site import Scenario
from batsim.statistics.intervals import Interval
from batsim.study.compare import Comparison
from batsim.study.limits import OF_NONE_MIN, Limit, TargetResult, limits_of
from batsim.study.running.runs import Runs

NAMES = ("downtime", "waits", "none ready", "cut-out")

SOUND = Path(__file__).parents[1] / "broken" / "sound.yaml"
TARGETS = {
    "downtime_per_truck_shift": "at most 12 min",
    "waits": "95 % under 10 min",
    "none_ready": "at most 5 %",
    "trucks_below_cut_out": 2,
}
OF_DOWNTIME, OF_SHARE = (FIGURES[f"decide.indifference_{name}"].value / 100.0 for name in ("downtime", "share"))
OF_TRUCKS = FIGURES["decide.indifference_trucks"].value


@pytest.fixture(scope="module")
def sound() -> Scenario:
    """The sound scenario of the tests on bad input."""
    return batsim.read(SOUND)


@pytest.fixture(scope="module")
def full(sound: Scenario) -> Scenario:
    """With every target there is."""
    return batsim.changed(sound, {"targets": TARGETS})


def only(scenario: Scenario, key: str, value: object, **own: float) -> Limit:
    """The limit of a scenario with one target."""
    (limit,) = limits_of(
        batsim.changed(scenario, {"targets": {key: value}}),
        {name.replace("_", " "): each for name, each in own.items()},
    )
    return limit


# --- limits ---


def test_every_target_is_a_limit(full: Scenario) -> None:
    """In words, with the measure that it limits, and what makes no difference by the catalogue."""
    limits = limits_of(full)

    assert [(each.measure, each.most, each.sign, each.text) for each in limits] == [
        ("downtime_min_per_truck_shift", 12.0, 1.0, "downtime at most 12 min per truck-shift"),
        ("wait_within_target_share", -0.95, -1.0, "95 % of waits under 10 min"),
        ("found_none_ready_share", 0.05, 1.0, "at most 5 % of trucks find none ready"),
        ("trucks_below_cut_out", 2.0, 1.0, "at most 2 trucks below cut-out"),
    ]
    assert [each.indifference for each in limits] == pytest.approx(
        [OF_DOWNTIME * 12.0, OF_SHARE * 0.05, OF_SHARE * 0.05, OF_TRUCKS]
    )
    assert tuple(each.name for each in limits) == NAMES
    assert {each.measure for each in limits} <= {*MEASURES, WITHIN_TARGET.name}


def test_only_what_is_stated_is_a_limit(sound: Scenario) -> None:
    """The sound scenario states two; one alone is one limit."""
    assert [each.name for each in limits_of(sound)] == ["downtime", "waits"]
    for key, name in zip(TARGETS, NAMES, strict=True):
        assert only(sound, key, TARGETS[key]).name == name


@pytest.mark.parametrize(
    ("key", "value", "name", "usual", "allowed", "tested"),
    [
        ("downtime_per_truck_shift", "20 min", "downtime", OF_DOWNTIME * 20.0, 20.0, 20.0 - OF_DOWNTIME * 10.0),
        ("waits", "90 % under 5 min", "waits", OF_SHARE * 0.1, 0.1, -0.9 - OF_SHARE * 0.05),
        ("none_ready", "10 %", "none ready", OF_SHARE * 0.1, 0.1, 0.1 - OF_SHARE * 0.05),
        ("trucks_below_cut_out", 3, "cut-out", OF_TRUCKS, 3.0, 3.0 - OF_TRUCKS / 2.0),
        # Where nothing is allowed there is nothing below it: half of the indifference above is tested.
        ("downtime_per_truck_shift", "0 min", "downtime", OF_DOWNTIME * OF_NONE_MIN, 0.0, OF_DOWNTIME / 2.0),
        ("waits", "100 % under 5 min", "waits", OF_SHARE / 100.0, 0.0, -1.0 + OF_SHARE / 200.0),
        ("none_ready", "0 %", "none ready", OF_SHARE / 100.0, 0.0, OF_SHARE / 200.0),
        ("trucks_below_cut_out", 0, "cut-out", OF_TRUCKS, 0.0, OF_TRUCKS / 2.0),
    ],
)  # fmt: skip
def test_indifference_and_what_is_tested(
    sound: Scenario, key: str, value: object, name: str, usual: float, allowed: float, tested: float
) -> None:
    """What passes the test keeps the target, and the test can always be passed."""
    limit = only(sound, key, value)

    assert (limit.name, limit.indifference) == (name, pytest.approx(usual))
    assert limit.indifference > 0.0
    assert limit.allowed == pytest.approx(allowed)
    assert limit.tested == pytest.approx(tested)
    best = 0.0 if limit.sign > 0.0 else -1.0
    assert best < limit.tested
    assert (limit.tested < limit.most) == (allowed > 0.0)
    assert abs(limit.tested - limit.most) == pytest.approx(limit.indifference / 2.0)


@pytest.mark.parametrize(
    ("key", "value", "text"),
    [
        ("downtime_per_truck_shift", "15 min", "14.625 min"),
        ("downtime_per_truck_shift", "0 min", "0.025 min"),
        ("waits", "95 % under 10 min", "96.25 %"),
        ("waits", "100 % under 10 min", "99.75 %"),
        ("none_ready", "at most 5 %", "3.75 %"),
        ("none_ready", "at most 0 %", "0.25 %"),
        ("trucks_below_cut_out", 2, "1.75"),
        ("trucks_below_cut_out", 0, "0.25"),
    ],
)
def test_what_is_tested_in_words(sound: Scenario, key: str, value: object, text: str) -> None:
    """With its unit, a share as people say it; stricter than the target, or as strict as can be shown."""
    assert only(sound, key, value).tested_text == text


@pytest.mark.parametrize(
    ("key", "value", "mean"),
    [
        ("downtime_per_truck_shift", "15 min", 12.0),
        ("downtime_per_truck_shift", "15 min", 0.0),
        ("waits", "95 % under 10 min", -0.98),
        ("waits", "95 % under 10 min", -1.0),
        ("none_ready", "at most 5 %", 0.0),
        ("trucks_below_cut_out", 2, 1.0),
    ],
)
def test_a_target_that_is_moved_to_a_mean_tests_that_mean(
    sound: Scenario, key: str, value: object, mean: float
) -> None:
    """It is stricter then, by as much as the mean is better than what is tested; all else stays."""
    limit = only(sound, key, value)
    moved = limit.tested_at(mean)

    assert moved.tested == pytest.approx(mean)
    assert moved.most == pytest.approx(limit.most - (limit.tested - mean))
    assert moved._replace(most=limit.most) == limit


def test_a_mean_that_is_worse_does_not_loosen_a_target(full: Scenario) -> None:
    """Nor one that is just what is tested."""
    for limit in limits_of(full):
        for worse in (0.0, 0.001, 1.0):
            assert limit.tested_at(limit.tested + worse) == limit, limit.name


@pytest.mark.parametrize(
    ("key", "value", "level", "most", "text"),
    [
        ("downtime_per_truck_shift", "12 min", 1.25, 15.0, "downtime at most 15 min per truck-shift"),
        ("downtime_per_truck_shift", "12 min", 0.5, 6.0, "downtime at most 6 min per truck-shift"),
        ("waits", "95 % under 10 min", 2.0, -0.9, "90 % of waits under 10 min"),
        ("waits", "95 % under 95 min", 0.5, -0.975, "97.5 % of waits under 95 min"),
        ("none_ready", "at most 5 %", 1.5, 0.075, "at most 7.5 % of trucks find none ready"),
        ("trucks_below_cut_out", 2, 1.25, 2.5, "at most 2.5 trucks below cut-out"),
    ],
)
def test_a_target_at_another_level(
    sound: Scenario, key: str, value: object, level: float, most: float, text: str
) -> None:
    """So many times as much is allowed, of waits so many times as many may last longer; in words too."""
    limit = only(sound, key, value)
    other = limit.at(level)

    assert other.most == pytest.approx(most)
    assert other.allowed == pytest.approx(level * limit.allowed)
    assert other.text == text
    assert other._replace(most=limit.most, text=limit.text) == limit
    assert limit.at(1.0).text == limit.text


def test_a_level_of_a_group_and_a_season_keeps_their_words(sound: Scenario) -> None:
    """Though the group is called like a level."""
    limit = only(sound, "trucks_below_cut_out", 2).of_group("47-51", "hall 2")

    assert limit.at(3.0).text == "hall 2: at most 6 trucks below cut-out"
    assert (limit.at(3.0).group, limit.at(3.0).season) == ("hall 2", "47-51")


def test_what_makes_no_difference_is_no_more_than_a_level_allows(sound: Scenario) -> None:
    """Below that level nothing could be told apart."""
    limit = only(sound, "downtime_per_truck_shift", "15 min", downtime=12.0)

    assert [limit.at(level).indifference for level in (2.0, 1.0, 0.5)] == [12.0, 12.0, 7.5]
    assert limit.at(0.5).tested == 3.75


def test_an_indifference_of_ones_own(full: Scenario) -> None:
    """In the unit of its target; the others keep the catalogue's."""
    limits = {each.name: each for each in limits_of(full, {"downtime": 3.0, "none ready": 0.01})}

    assert (limits["downtime"].indifference, limits["downtime"].tested) == (3.0, 10.5)
    assert (limits["none ready"].indifference, limits["none ready"].tested) == (0.01, pytest.approx(0.045))
    assert limits["cut-out"].indifference == OF_TRUCKS
    assert only(full, "waits", "90 % under 5 min", waits=0.1).tested == pytest.approx(-0.95)
    assert only(full, "trucks_below_cut_out", 0, **{"cut-out": 3.0}).tested == 1.5


def test_the_figures_of_the_scenario_hold(full: Scenario) -> None:
    """Stated anew, for it alone."""
    changed = batsim.changed(
        full, {"figures.'decide.indifference_downtime'": "10 %", "figures.'decide.indifference_trucks'": 1}
    )
    limits = {each.name: each.indifference for each in limits_of(changed)}

    assert (limits["downtime"], limits["cut-out"]) == (pytest.approx(1.2), 1.0)
    assert limits_of(full)[0].indifference == OF_DOWNTIME * 12.0


def refusal(scenario: Scenario, own: dict[str, float] | None = None) -> list[str]:
    """What is wrong, without the name of the file."""
    with pytest.raises(batsim.ScenarioError) as caught:
        limits_of(scenario, own)
    head, *lines = str(caught.value).splitlines()
    assert head == f"{SOUND}: {len(lines)} problem{'' if len(lines) == 1 else 's'}"
    return [line.removeprefix(f"  {SOUND}: ") for line in lines]


def test_without_a_target_there_is_no_limit(sound: Scenario) -> None:
    """The cure is said."""
    assert refusal(batsim.changed(sound, {"targets": {}})) == [
        "targets: states none; add one, such as downtime_per_truck_shift: at most 12 min"
    ]


@pytest.mark.parametrize(
    ("own", "expected"),
    [
        ({"downtime": 0.0}, ["indifference downtime: must be above 0 (got 0)"]),
        ({"downtime": math.nan}, ["indifference downtime: must be above 0 (got nan)"]),
        ({"downtime": 15.5}, ["indifference downtime: must be at most what the target allows, 15 (got 15.5)"]),
        ({"waits": 0.06}, ["indifference waits: must be at most what the target allows, 0.05 (got 0.06)"]),
        ({"wait": 0.01}, ["indifference wait: the scenario has no target of this name; did you mean 'waits'?"]),
        (
            {"cut-out": 1.0, "waits": -1.0},
            [
                "indifference cut-out: the scenario has no target of this name; known: downtime, waits",
                "indifference waits: must be above 0 (got -1)",
            ],
        ),
    ],
)
def test_an_indifference_that_cannot_be(sound: Scenario, own: dict[str, float], expected: list[str]) -> None:
    """Of no target, of nothing, or wider than what is allowed."""
    assert refusal(sound, own) == expected


def test_an_indifference_may_be_all_that_is_allowed(sound: Scenario) -> None:
    """Rounding does not put it above."""
    waits = batsim.changed(sound, {"targets": {"waits": "90 % under 5 min", "downtime_per_truck_shift": "3 min"}})

    assert [each.indifference for each in limits_of(waits, {"waits": 0.1, "downtime": 3.0})] == [3.0, 0.1]


# --- verdicts ---


@pytest.mark.parametrize(
    ("interval", "verdict"),
    [
        ((11.0, 10.0, 12.0), "met"),
        ((11.0, 10.0, 12.1), "not sure"),
        ((13.0, 12.0, 14.0), "not sure"),
        ((13.0, 12.1, 14.0), "missed"),
        ((12.0, math.nan, math.nan), "met"),
        ((12.1, -math.inf, math.inf), "missed"),
        ((math.nan, math.nan, math.nan), "not sure"),
    ],
)
def test_a_verdict_as_far_as_the_interval_can_tell(
    sound: Scenario, interval: tuple[float, float, float], verdict: str
) -> None:
    """Against the target itself, not what is tested; the other way round where the measure must be large."""
    limit = only(sound, "downtime_per_truck_shift", "12 min")
    mean, low, high = interval
    turned = limit._replace(most=-12.0, sign=-1.0)
    mirrored = limit._replace(most=-100.0 + 12.0, sign=-1.0)

    assert limit.verdict(Interval(*interval)) == verdict
    assert mirrored.verdict(Interval(100.0 - mean, 100.0 - high, 100.0 - low)) == verdict
    assert turned.verdict(Interval(12.0, 12.0, 12.0)) == "met"


def compared(scenario: Scenario, **values: list[float]) -> tuple[TargetResult, ...]:
    """How a layout with these values in each replication stands to the targets of a scenario."""
    found: dict[str, Any] = {name: np.array(each) for name, each in values.items()}
    runs = Runs(Schedule(scenario, ("extractor",), 1, 4, 10080.0, 0.0, 0.95), {"extractor": found})
    return Comparison(runs).targets("extractor")


def test_how_a_layout_stands_to_every_target(full: Scenario) -> None:
    """The one for trucks that find none ready with them."""
    found = compared(
        full,
        downtime_min_per_truck_shift=[5.0, 5.1, 4.9, 5.0],
        wait_within_target_share=[0.90, 0.91, 0.89, 0.90],
        found_none_ready_share=[0.0, 0.2, 0.0, 0.1],
        trucks_below_cut_out=[0.0, 0.0, 0.0, 0.0],
    )

    assert found == (
        TargetResult("downtime", "downtime at most 12 min per truck-shift", "met"),
        TargetResult("waits", "95 % of waits under 10 min", "missed", pytest.approx(5.0 / 95.0)),
        TargetResult("none ready", "at most 5 % of trucks find none ready", "not sure", pytest.approx(0.5)),
        TargetResult("cut-out", "at most 2 trucks below cut-out", "met"),
    )


@pytest.mark.parametrize(("runs", "verdict"), [(4, "not sure"), (10, "not sure"), (20, "met")])
def test_where_nothing_is_allowed_a_few_runs_show_too_little(sound: Scenario, runs: int, verdict: str) -> None:
    """Without any event 3.7 over the runs is the exact limit at 95 %; up to half of the indifference is met."""
    nothing = batsim.changed(sound, {"targets": {"trucks_below_cut_out": 0}})
    found = compared(nothing, trucks_below_cut_out=[0.0] * runs, visits=[50.0] * runs)

    assert [each.verdict for each in found] == [verdict]
    assert -math.log(0.025) / 20 < OF_TRUCKS / 2.0 < -math.log(0.025) / 10


def test_rare_misses_are_pooled_and_judged_by_exact_limits(sound: Scenario) -> None:
    """One truck in 400 found none ready: at most 5 % is met; a run with one ask weighs little."""
    target = batsim.changed(sound, {"targets": {"none_ready": "at most 5 %"}})
    few = compared(target, found_none_ready_share=[0.0, 0.01, 0.0, 0.0], asks=[100.0] * 4)
    pooled = compared(target, found_none_ready_share=[1.0, 0.0, 0.0, 0.0], asks=[1.0, 400.0, 400.0, 400.0])

    assert [few[0].verdict, pooled[0].verdict] == ["met", "met"]


def test_the_target_for_none_ready_on_its_own(sound: Scenario) -> None:
    """Met, missed, and not sure where nobody asked."""
    target = batsim.changed(sound, {"targets": {"none_ready": "at most 5 %"}})
    verdicts = [
        compared(target, found_none_ready_share=values)[0].verdict
        for values in ([0.01, 0.02, 0.01, 0.02], [0.3, 0.31, 0.3, 0.29], [math.nan] * 4)
    ]

    assert verdicts == ["met", "missed", "not sure"]
    assert compared(batsim.changed(sound, {"targets": {}}), found_none_ready_share=[0.0] * 4) == ()


def test_the_target_for_none_ready_in_a_run(sound: Scenario) -> None:
    """From the simulation to the verdict: all may find none, or none may; there is one spare battery of each type."""
    few = batsim.changed(sound, {"layouts.extractor.batteries": {"big": 7, "small": 5}})
    for most, verdict in (("100 %", "met"), ("0 %", "missed")):
        scenario = batsim.changed(few, {"targets": {"none_ready": most}})
        found = batsim.compare(
            scenario, batsim.Settings(layouts=["extractor"], replications=3, weeks=1, warm_up_weeks=0, workers=1)
        )
        assert [each.verdict for each in found.targets("extractor")] == [verdict]


@pytest.mark.parametrize(
    ("text", "share"),
    [("at most 5 %", 0.05), ("5 %", 0.05), ("at most 0 %", 0.0), ("at most 100 %", 1.0), ("0.05", None)],
)
def test_the_text_of_the_target(sound: Scenario, text: str, share: float | None) -> None:
    """With or without its words; a unit is needed."""
    if share is None:
        with pytest.raises(batsim.ScenarioError) as caught:
            batsim.changed(sound, {"targets.none_ready": text})
        assert str(caught.value) == (
            f"{SOUND}: 1 problem\n  {SOUND}: targets.none_ready: needs a share with a unit, such as '25 %'; "
            "write it like 'at most 5 %' (got '0.05')"
        )
        return
    assert batsim.changed(sound, {"targets.none_ready": text}).targets.none_ready_share == share
