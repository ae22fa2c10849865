"""Layouts against each other: differences, chances and sentences on made-up replications, and the tables."""

import json
import math
import re
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from scipy import stats

import batsim
from batsim.cli import main
from batsim.measures import MEASURES
from batsim.scenario.parts.week import Weeks
from batsim.scenario.settings import Schedule, Settings
from batsim.statistics.intervals import Interval
from batsim.statistics.written import number_text
from batsim.study.compare import Comparison, compare
from batsim.study.differences import signed
from batsim.study.running.replications import run
from batsim.study.running.runs import PrecisionGoal, Runs
from batsim.views.text.numbers import count_text, value_text
from batsim.views.text.tables import comparison_text, run_notes
from tests.sites import CART, SOUND

ROOT = Path(__file__).parents[3]
KESTREL = ROOT / "scenarios" / "kestrel-lane.yaml"
FREE = batsim.changed(SOUND, {"targets": {}})
DOWN, LABOUR = "downtime_min_per_truck_shift", "labour_min_per_day"
SHORT = ("--weeks", "0.3", "--warm-up", "0", "--workers", "1")
NOISE = np.array([0.0, 1.0, -1.0, 2.0, -2.0, 0.5, -0.5, 1.5])


def call(*arguments):
    return CliRunner().invoke(main, [str(each) for each in arguments])


def made(values, scenario=FREE, confidence=0.95, goal=None):
    """Runs with given values: layout, measure, one value for each replication."""
    values = {
        layout: {name: np.asarray(each, dtype=float) for name, each in found.items()}
        for layout, found in values.items()
    }
    count = len(next(iter(next(iter(values.values())).values())))
    return Runs(Schedule(scenario, tuple(values), 1, count, 10080.0, 0.0, confidence), values, goal)


def downtimes(goal=None, **means):
    """Runs that differ in downtime by constants and a little, and hardly in labour."""
    return made(
        {
            name: {DOWN: mean + NOISE + 0.1 * np.roll(NOISE, number), LABOUR: 50.0 + np.roll(NOISE, number)}
            for number, (name, mean) in enumerate(means.items())
        },
        goal=goal,
    )


def deciding(measure, **values):
    """Comparison in one measure."""
    return Comparison(made({name: {measure: each} for name, each in values.items()}), (measure,))


# --- differences ---


def test_differences_hold_together_over_pairs_and_measures():
    """Three layouts, two measures: six intervals, each at 1 - 0.05/6, by hand with scipy's t."""
    runs = downtimes(a=10.0, b=12.0, c=15.0)
    found = Comparison(runs).differences

    assert [(each.measure, each.layout, each.other) for each in found] == [
        (measure, *pair) for measure in (DOWN, LABOUR) for pair in (("a", "b"), ("a", "c"), ("b", "c"))
    ]
    for each in found:
        gap = runs.values[each.layout][each.measure] - runs.values[each.other][each.measure]
        half = stats.t.ppf(1.0 - 0.05 / 6.0 / 2.0, 7) * gap.std(ddof=1) / math.sqrt(8)
        assert each.interval == pytest.approx((gap.mean(), gap.mean() - half, gap.mean() + half))
        assert each.unit == MEASURES[each.measure].unit


def test_fewer_measures_leave_narrower_intervals():
    """Three statements instead of six."""
    runs = downtimes(a=10.0, b=12.0, c=15.0)
    both, one = Comparison(runs), Comparison(runs, (DOWN,))

    widths = [each.difference(DOWN, "a", "b").interval.half_width for each in (both, one)]
    ratio = stats.t.ppf(1.0 - 0.05 / 6.0, 7) / stats.t.ppf(1.0 - 0.05 / 12.0, 7)
    assert widths[1] / widths[0] == pytest.approx(ratio)


def test_a_difference_turns_round():
    """The other way about, mean and limits change sign."""
    comparison = Comparison(downtimes(a=10.0, b=12.0))
    there, back = comparison.difference(DOWN, "a", "b"), comparison.difference(DOWN, "b", "a")

    assert (back.layout, back.other) == ("b", "a")
    assert back.interval == (-there.interval.mean, -there.interval.high, -there.interval.low)
    assert there.clear
    assert back.clear
    with pytest.raises(KeyError, match=f"no difference of 'a' and 'x' in {DOWN}"):
        comparison.difference(DOWN, "a", "x")


def test_a_difference_that_may_be_zero_is_not_clear():
    assert not deciding(DOWN, a=NOISE, b=np.roll(NOISE, 3)).differences[0].clear


def test_signed_writes_what_the_half_width_carries():
    assert signed(Interval(1.234, 1.134, 1.334)) == "+1.2 ± 0.1"
    assert signed(Interval(-1.234, -1.254, -1.214)) == "-1.23 ± 0.02"
    assert signed(Interval(1.0, np.nan, np.nan)) == "+1.0 ± nan"


@pytest.mark.parametrize(
    ("interval", "share", "text"),
    [
        ((0.5, 0.4, 0.61), False, "0.5 ± 0.1"),
        ((0.5, 0.4, 0.7), False, "0.5 ± 0.2"),
        ((0.05, 0.04, 0.08), True, "5.0 ± 3.0 %"),
        ((0.5, np.nan, np.nan), False, "0.5"),
    ],
)
def test_limits_are_written_where_the_mean_is_not_in_their_middle(interval, share, text):
    assert number_text(Interval(*interval), share=share) == text


# --- chance of being best ---


def test_chance_best_when_clear_and_when_tied():
    clear = Comparison(downtimes(a=10.0, b=30.0, c=40.0)).chance_best
    tied = deciding(DOWN, a=5.0 + NOISE, b=5.0 + NOISE, c=50.0 + NOISE).chance_best

    assert clear["a"] > 0.999
    assert sum(clear.values()) == pytest.approx(1.0)
    assert tied == pytest.approx({"a": 0.5, "b": 0.5, "c": 0.0})


def test_chance_best_of_two_is_the_paired_t_test():
    """The chance that a is best is the one-sided p-value, from scipy."""
    first, second = NOISE, NOISE + 0.3 + np.roll(NOISE, 2)
    found = deciding(DOWN, a=first, b=second).chance_best

    below = stats.ttest_rel(first, second, alternative="greater").pvalue
    assert found["a"] == pytest.approx(below, abs=0.01)
    assert sum(found.values()) == pytest.approx(1.0)


def test_chance_best_where_more_is_better():
    found = deciding("availability_share", a=0.9 + 0.001 * NOISE, b=0.8 + 0.001 * NOISE[::-1]).chance_best

    assert found["a"] > 0.999


def test_a_layout_without_the_measure_comes_last_and_has_no_chance():
    """In the truck nobody looks for a ready battery: not a number, and the others are compared all the same."""
    nothing = np.full(8, np.nan)
    comparison = deciding("found_none_ready_share", truck=nothing, worse=0.5 + 0.01 * NOISE, better=0.2 + 0.01 * NOISE)

    assert comparison.ranking == ("better", "worse", "truck")
    assert comparison.ranked == ("better", "worse")
    assert math.isnan(comparison.chance_best["truck"])
    assert (comparison.chance_best["better"], comparison.chance_best["worse"]) == (1.0, 0.0)
    assert comparison.as_json()["chance_best"] == {"truck": None, "worse": 0.0, "better": 1.0}
    assert comparison.verdict == (
        "Layout 'better' is best in trucks that found none ready: 30.00 ± 0.00 percentage points less than 'worse', "
        "the next best "
        "(95 % simultaneous)."
    )


@pytest.mark.parametrize("values", [{"a": [np.nan] * 3, "b": [np.nan] * 3}, {"a": [np.nan] * 3, "b": [0.1, 0.2, 0.3]}])
def test_a_measure_without_meaning_carries_no_verdict(values):
    comparison = deciding("found_none_ready_share", **values)

    assert comparison.verdict == (
        "Fewer than two layouts have a value of trucks that found none ready, so there is no verdict."
    )
    assert math.isnan(comparison.chance_best["a"])


# --- common random numbers ---


def test_common_numbers_tell_what_they_brought():
    """Variance 2.5 of each and covariance 2.0: (2.5 + 2.5)/(2.5 + 2.5 - 2 * 2.0) = 5."""
    shared = np.array([1.0, -1.0, 1.0, -1.0] * 2) * math.sqrt(2.0)
    own = np.array([1.0, 1.0, -1.0, -1.0] * 2) * math.sqrt(0.5)
    comparison = deciding(DOWN, a=shared + own, b=shared - own)

    assert comparison.differences[0].variance_reduction == pytest.approx(2.5)
    assert comparison.differences[0].correlation == pytest.approx(0.6)
    assert comparison.common_numbers == "Common random numbers divided the variance of these differences by 2.5."


def test_common_numbers_that_harm():
    """Opposite noise doubles the standard deviation of the difference."""
    comparison = deciding(DOWN, a=10.0 + NOISE, b=10.0 - NOISE)

    assert comparison.differences[0].variance_reduction == pytest.approx(0.5)
    assert comparison.common_numbers == (
        "Common random numbers divided the variance of these differences by 0.5; below 1 they did harm."
    )


def test_common_numbers_of_several_pairs_have_a_range():
    comparison = Comparison(
        made({"a": {DOWN: NOISE}, "b": {DOWN: 5.0 - NOISE}, "c": {DOWN: NOISE + 0.1 * np.roll(NOISE, 1)}}), (DOWN,)
    )
    found = [each.variance_reduction for each in comparison.differences]

    assert max(found) > 100.0
    assert comparison.common_numbers == (
        f"Common random numbers divided the variance of these differences by 0.5 to {max(found):.0f}; below 1 they did "
        "harm."
    )


def test_common_numbers_just_below_one_are_no_harm():
    """1.0 is what is printed, so nothing is said of harm."""
    near = np.array([1.0, -1.0, 1.0, -1.0, 1.0, -1.0, 1.0, -1.0])
    across = np.array([1.0, 1.0, -1.0, -1.0, 1.0, 1.0, -1.0, -1.0])
    comparison = deciding(DOWN, a=near, b=across - 0.01 * near)

    assert 0.98 < comparison.differences[0].variance_reduction < 1.0
    assert comparison.common_numbers == "Common random numbers divided the variance of these differences by 1.0."


@pytest.mark.parametrize("values", [{"a": NOISE}, {"a": NOISE, "b": NOISE + 4.0}, {"a": [1.0], "b": [2.0]}])
def test_common_numbers_say_nothing_without_a_finite_ratio(values):
    """One layout; a difference that never varies; one replication."""
    assert deciding(DOWN, **values).common_numbers == ""


# --- verdict ---


def test_verdict_of_a_winner_in_downtime():
    comparison = Comparison(downtimes(slow=20.0, quick=10.0, middle=15.0))
    gain = comparison.difference(DOWN, "middle", "quick").interval

    assert comparison.ranking == ("quick", "middle", "slow")
    assert comparison.verdict == (
        f"Layout 'quick' has the least downtime: {gain.mean:.1f} ± {gain.half_width:.1f} min per truck-shift less than "
        "'middle', the next best (95 % simultaneous)."
    )


@pytest.mark.parametrize(
    ("measure", "worse", "better", "said"),
    [
        (LABOUR, 120.0, 100.0, "labour per working day: 20.00 ± 0.00 min/day less"),
        ("life_years", 4.0, 6.0, "cycle life at this duty: 2.00 ± 0.00 years more"),
        ("availability_share", 0.90, 0.95, "availability: 5.00 ± 0.00 percentage points more"),
        ("batteries_per_truck", 3.0, 2.5, "batteries per truck: 0.50 ± 0.00 less"),
    ],
)
def test_verdict_of_a_winner_in_another_measure(measure, worse, better, said):
    """Less is better, or more is."""
    comparison = deciding(measure, bad=worse + 1e-3 * NOISE, good=better + 1e-3 * NOISE)

    assert comparison.ranking == ("good", "bad")
    assert comparison.verdict == f"Layout 'good' is best in {said} than 'bad', the next best (95 % simultaneous)."


def test_verdict_without_a_winner():
    """Two that are near each other, a third that is not."""
    comparison = deciding(DOWN, a=10.0 + NOISE, b=10.1 + np.roll(NOISE, 1), far=90.0 + NOISE)
    least = comparison.difference(DOWN, "a", "b").interval

    assert comparison.verdict == (
        f"No difference seen in downtime between 'a' and 'b'; 'a' less 'b' is {least.mean:+.1f} ± "
        f"{least.half_width:.1f} min per truck-shift (95 % simultaneous). More replications would narrow this."
    )


def test_verdict_without_a_winner_in_a_share():
    comparison = deciding("availability_share", a=0.90 + 0.01 * NOISE, b=0.899 + 0.01 * np.roll(NOISE, 1))
    least = comparison.difference("availability_share", "a", "b").interval

    assert comparison.verdict == (
        f"No difference seen in availability between 'a' and 'b'; 'a' less 'b' is {100 * least.mean:+.1f} ± "
        f"{100 * least.half_width:.1f} percentage points (95 % simultaneous). More replications would narrow this."
    )


def test_verdict_names_some_of_many():
    near = {name: 10.0 + 0.01 * number + np.roll(NOISE, number) for number, name in enumerate("abcdefg")}
    said = deciding(DOWN, **near).verdict

    assert said.startswith(
        "No clear winner in downtime: 'a', 'b', 'c', 'd', 'e' and 2 more cannot be told apart; 'a' less 'b' is "
    )


def test_verdict_of_one_layout_and_of_one_replication():
    assert deciding(DOWN, a=NOISE).verdict == ""
    assert deciding(DOWN, a=[1.0], b=[2.0]).verdict == "One replication carries no verdict; take at least two."


def test_layouts_with_equal_numbers_have_no_difference():
    """No winner, however sure the zero is; nor where only rounding tells them apart."""
    equal = deciding(DOWN, a=10.0 + NOISE, b=10.0 + NOISE)
    rounded = deciding(DOWN, a=10.0 + NOISE, b=(10.0 + NOISE) * (1.0 + 1e-15))
    three = deciding(DOWN, a=10.0 + NOISE, b=10.0 + NOISE, c=10.0 + NOISE, far=99.0 + NOISE)

    said = "No difference seen in downtime: 'a' and 'b' had the same in every replication."
    assert (equal.verdict, rounded.verdict) == (said, said)
    assert not equal.differences[0].clear
    assert not rounded.differences[0].clear
    assert three.verdict == "No difference seen in downtime: 'a', 'b', 'c' had the same in every replication."


# --- rare events ---

NONE_READY, WAIT_BATTERY = "found_none_ready_share", "wait_battery_min_per_truck_shift"


def rare(events, asks, minutes=10.0):
    """Values of a layout in which trucks found none ready so often, and waited so long each time."""
    events, asks = np.array(events, dtype=float), np.array(asks, dtype=float)
    return {
        DOWN: 10.0 + NOISE[: events.size],
        LABOUR: 50.0 + NOISE[: events.size],
        NONE_READY: events / asks,
        "asks": asks,
        "visits": asks,
        "waits_battery": events,
        WAIT_BATTERY: minutes * events / 360.0,
    }


def test_a_share_is_pooled_over_replications():
    """60 of 400 and 20 of 100 in eight runs: 16 %, not 17.5 %; its differences are those of the pooled shares."""
    runs = made({"a": rare([60, 20] * 4, [400, 100] * 4), "b": rare([30, 10] * 4, [400, 100] * 4)})
    difference = Comparison(runs, (NONE_READY,)).difference(NONE_READY, "a", "b")

    assert runs.interval("a", NONE_READY).mean == pytest.approx(80.0 / 500.0)
    assert difference.interval.mean == pytest.approx(40.0 / 500.0)


def test_too_few_events_are_counted():
    """7 in 2 of 8 runs: no limits, but the count, in the frame and the JSON too; enough events have an interval."""
    few, many = [5, 2, 0, 0, 0, 0, 0, 0], [50, 52, 47, 55, 49, 51, 48, 50]
    runs = made({"few": rare(few, [100] * 8), "many": rare(many, [100] * 8)})
    for measure, whole in ((NONE_READY, "asks"), (WAIT_BATTERY, "visits")):
        count = {"events": 7, "of": 800, "replications_with": 2, "replications": 8, "what": "events", "whole": whole}
        data = json.loads(json.dumps(runs.as_json(), allow_nan=False))["layouts"]
        found = data["few"]["measures"][measure]

        exact = stats.binomtest(2, 8).proportion_ci(0.95, "exact")
        assert (found["low"], found["high"]) == (None, None)
        assert found["mean"] == pytest.approx(runs.values["few"][measure].mean())
        assert found["count"] == count | {"low": pytest.approx(exact.low), "high": pytest.approx(exact.high)}
        assert "count" not in data["many"]["measures"][measure]
        assert data["many"]["measures"][measure]["low"] > 0.0
        frame = runs.frame.set_index(["layout", "measure"])
        assert frame.loc[("few", measure), ["events", "of"]].tolist() == [7.0, 800.0]
        assert frame.loc[("many", measure), ["events", "of"]].isna().all()


def test_limits_are_where_a_share_or_a_time_can_be():
    """Two of three runs alike: what the third is like says little of how skewed they are."""
    runs = made({"a": rare([80, 140, 140], [200] * 3), "b": rare([78, 78, 142], [200] * 3)})

    assert runs.interval("a", WAIT_BATTERY).low == 0.0
    assert runs.interval("b", NONE_READY).high == 1.0


def test_too_few_events_tell_no_layouts_apart():
    """Both with few: no limits and no winner, unless they are alike; few against enough is a difference."""
    few, fewer, many = [5, 2, 0, 0, 0, 0, 0, 0], [0, 1, 0, 0, 0, 0, 0, 0], [50, 52, 47, 55, 49, 51, 48, 50]
    values = {name: rare(each, [100] * 8) for name, each in {"few": few, "fewer": fewer, "many": many}.items()}
    two = Comparison(made({"few": values["few"], "fewer": values["fewer"]}), (NONE_READY,))
    same = Comparison(made({"few": values["few"], "again": values["few"]}), (NONE_READY,))
    all_three = Comparison(made(values), (NONE_READY,))

    assert two.verdict == (
        "No difference seen in trucks that found none ready: too few events to tell 'fewer' and 'few' apart."
    )
    assert not two.differences[0].clear
    assert two.as_json()["differences"][0]["low"] is None
    assert same.verdict.endswith("'few' and 'again' had the same in every replication.")
    assert all_three.difference(NONE_READY, "few", "many").clear


def test_what_is_rarely_missed_is_counted_by_its_misses():
    of = np.full(8, 100.0)
    values = {"exchanges_started": of, "wait_within_target_share": 1.0 - np.array([0, 3, 0, 0, 0, 0, 0, 0]) / of}
    count, misses = made({"a": values}).count("a", "wait_within_target_share")

    assert (count[:4], misses) == ((3, 800, 1, 8), True)
    assert count_text((count, misses), "wait_within_target_share") == (
        "all but 3 of 800 exchanges, in 1 of 8 runs (0 to 53 % of runs)"
    )


@pytest.mark.parametrize(
    ("events", "said", "cell"),
    [
        ([0] * 8, "none of 800 asks in 8 runs", "0 %"),
        ([5, 2, 0, 0, 0, 0, 0, 0], "7 of 800 asks, in 2 of 8 runs (3 to 65 % of runs)", "0.875 % (7 times)"),
    ],
)
def test_a_count_in_words(events, said, cell):
    runs = made({"a": rare(events, [100] * 8)})
    found = runs.count("a", NONE_READY)

    assert count_text(found, NONE_READY) == said
    assert value_text(runs, "a", NONE_READY) == cell


def test_a_count_of_what_has_no_whole():
    """Spells are not spells of something."""
    runs = made(
        {"a": {"none_ready_time_share": np.array([0.0, 0.01, 0.0]), "none_ready_spells": np.array([0.0, 2.0, 0.0])}}
    )
    found = runs.count("a", "none_ready_time_share")

    assert count_text(found, "none_ready_time_share") == "2 times, in 1 of 3 runs (1 to 91 % of runs)"
    assert value_text(runs, "a", "none_ready_time_share") == "0.333 % (2 times)"


def test_counts_are_told_below_the_tables():
    found = run(CART, Settings(layouts="no device", replications=2, weeks=0.3, warm_up_weeks=0.0, workers=1)).values[
        "no device"
    ]
    few = {"waits_battery": np.array([0.0, 3.0]), "visits": np.array([20.0, 21.0]), WAIT_BATTERY: np.array([0.0, 0.25])}
    runs = made({"no device": found | few}, CART)
    said = (
        "Too few events for an interval: waits for a battery, 'no device': 3 of 41 visits, in 1 of 2 runs "
        "(1 to 99 % of runs)."
    )

    assert said in " ".join(comparison_text(Comparison(runs)).split())
    assert said in " ".join(run_notes(runs, (DOWN,)).split())
    assert " wait for a battery 3 times " in " ".join(comparison_text(Comparison(runs)).split())


def test_a_target_is_judged_by_exact_limits_where_events_are_few():
    """None of 800 asks: at most 0.5 % at 97.5 %; none of 8 runs with a truck below cut-out may still be 0.46 a run."""
    runs = made({"a": rare([0] * 8, [100] * 8) | {"trucks_below_cut_out": np.zeros(8)}})

    assert runs.judged("a", NONE_READY) == pytest.approx((0.0, 0.0, -math.log(0.025) / 800.0))
    assert runs.judged("a", "trucks_below_cut_out") == pytest.approx((0.0, 0.0, -math.log(0.025) / 8.0))


# --- warm-up ---

FIRST, LATER = "first_week_downtime_min_per_truck_shift", "later_weeks_downtime_min_per_truck_shift"


def weeks_of(more, season=None):
    """Two layouts, in one of which the first measured week has so much more downtime than later ones. [min]"""
    alike = {DOWN: 10.0 + NOISE, FIRST: 10.0 + NOISE, LATER: 10.0 + np.roll(NOISE, 1)}
    values = made({"level": alike, "early": alike | {FIRST: alike[FIRST] + more}}).values
    return Comparison(Runs(Schedule(FREE, tuple(values), 1, 8, 4 * 10080.0, 10080.0, 0.95, season), values), (DOWN,))


def test_a_warm_up_that_was_too_short_is_told():
    """From the runs that there are, at 99 % over both layouts."""
    comparison = weeks_of(9.0)
    gap = NOISE - np.roll(NOISE, 1)
    half = stats.t.ppf(1.0 - 0.01 / 4.0, 7) * gap.std(ddof=1) / math.sqrt(8)

    assert comparison.still_settling == {"early": pytest.approx((9.0, 9.0 - half, 9.0 + half))}
    assert comparison.warm_up_sentence == (
        f"The warm-up of 1 week is too short: in layout 'early' the first measured week has 9.0 ± {half:.1f} min per "
        "truck-shift more downtime than later ones. 'batsim warm-up' tells how long it should be."
    )
    assert set(comparison.as_json()["warm_up_too_short"]) == {"early"}
    assert "less downtime than later ones" in weeks_of(-9.0).warm_up_sentence


def test_a_warm_up_that_was_long_enough_is_not_told():
    """Nor is anything told of a season, which begins with the stock of the weeks before it."""
    assert (weeks_of(0.5).still_settling, weeks_of(0.5).warm_up_sentence) == ({}, "")
    assert weeks_of(9.0, Weeks(3, 3)).still_settling == {}


def test_a_stock_that_still_runs_out_is_told_in_a_comparison():
    """Six weeks of warm-up end where trucks begin to wait; nine are long enough."""
    scenario = batsim.read(ROOT / "tests" / "unit" / "cases" / "far_start.yaml")
    short, enough = (
        compare(scenario, Settings(layouts="stock runs out", replications=6, weeks=3, warm_up_weeks=weeks, workers=1))
        for weeks in (4, 9)
    )

    assert set(short.still_settling) == {"stock runs out"}
    assert enough.still_settling == {}


# --- to a half width ---


def test_wanted_reads_both_kinds():
    absolute, relative = PrecisionGoal.read(" 0.3 ", DOWN, 50), PrecisionGoal.read("5 %", LABOUR)

    assert (absolute.precision.absolute, absolute.precision.relative, absolute.most) == (0.3, None, 50)
    assert (relative.precision.absolute, relative.precision.relative, relative.most) == (None, 0.05, 1000)
    assert (absolute.text, relative.text) == ("± 0.3 min", "± 5 %")
    assert PrecisionGoal.read("0.01", "availability_share").text == "± 0.01"


@pytest.mark.parametrize("within", ["", "abc", "0", "0%", "-1", "-5 %", "nan", "inf", "1e400", "%", "0.3 min", "5 % %"])
def test_wanted_refuses_what_is_no_half_width(within):
    with pytest.raises(ValueError, match="needs a half width") as caught:
        PrecisionGoal.read(within, DOWN)

    assert str(caught.value) == (
        f"needs a half width in the unit of the measure, such as 0.3, or of its mean, such as 5% (got {within})"
    )


def test_precision_reached_is_told():
    comparison = Comparison(downtimes(PrecisionGoal.read("50", DOWN), a=10.0, b=12.0))

    assert comparison.precision_sentence == (
        f"Every difference in {DOWN} is known to ± 50 min after 8 replications of each layout."
    )


def test_precision_not_reached_is_told():
    """How many are short, and the widest of them; labour does not count."""
    values = {"a": {DOWN: NOISE, LABOUR: 900.0 * NOISE}, "b": {DOWN: NOISE, LABOUR: -NOISE}, "c": {DOWN: -9.0 * NOISE}}
    values["c"][LABOUR] = NOISE
    comparison = Comparison(made(values, goal=PrecisionGoal.read("0.1", DOWN, 8)))
    widest = comparison.difference(DOWN, "a", "c").interval.half_width

    assert comparison.precision_sentence == (
        f"2 of the differences in {DOWN} are not yet known to ± 0.1 min after 8 replications of each layout, the "
        f"budget; the widest, a less c, to ± {widest:.3g}."
    )


def test_one_difference_that_is_short_is_in_the_singular():
    runs = made({"a": {DOWN: NOISE}, "b": {DOWN: -NOISE}}, goal=PrecisionGoal.read("0.1", DOWN, 8))
    comparison = Comparison(runs, (DOWN,))

    assert comparison.precision_sentence.startswith(f"1 of the differences in {DOWN} is not yet known to ± 0.1 min ")


def test_no_precision_asked_for_no_sentence():
    assert Comparison(downtimes(a=1.0, b=2.0)).precision_sentence == ""


def test_within_takes_two_layouts():
    with pytest.raises(ValueError, match="one layout has none") as caught:
        compare(SOUND, Settings(layouts=["extractor"], within="0.3"))
    result = call("compare", KESTREL, "--layout", "hoist", "--within", "0.3")

    said = "is for differences, and one layout has none; 'batsim run' takes it for means"
    assert str(caught.value) == said
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.endswith(f"Error: --within {said}\n")


# --- quantiles and probabilities of runs ---


def test_quantile_and_probability():
    """Of 1 to 100 at most 90 in 9 of 10; 10 of 100 above 90, with Clopper and Pearson's limits from scipy."""
    runs = made({"a": {DOWN: np.arange(1.0, 101.0), "trucks_below_cut_out": (np.arange(100) < 3).astype(float)}})
    above, rare = runs.probability("a", DOWN, 90.0), runs.probability("a", "trucks_below_cut_out")
    exact = stats.binomtest(10, 100).proportion_ci(0.95, "exact")

    assert runs.quantile("a", DOWN, 0.9).mean == pytest.approx(90.0, abs=1.0)
    assert runs.quantile("a", DOWN, 0.9).low < 90.0 < runs.quantile("a", DOWN, 0.9).high
    assert above == pytest.approx((0.1, exact.low, exact.high))
    assert rare.mean == 0.03


def test_probability_leaves_out_what_is_not_a_number():
    runs = made({"a": {DOWN: [1.0, np.nan, 3.0, 0.0]}})

    assert runs.probability("a", DOWN).mean == pytest.approx(2 / 3)


def test_run_notes_say_what_lies_beyond():
    values = {DOWN: np.arange(1.0, 101.0), "trucks_below_cut_out": np.zeros(100), "wait_min_p95": np.zeros(100)}
    runs = made({"a": values})
    most = runs.quantile("a", DOWN, 0.9)
    rare = stats.binomtest(0, 100).proportion_ci(0.95, "exact")

    assert run_notes(runs, (DOWN,), 1000) == (
        f"a: downtime per truck-shift in 9 of 10 replications at most {most.mean:.1f} min ({most.low:.1f} to "
        f"{most.high:.1f}); a truck below cut-out in 0 % of replications (0 to {100 * rare.high:.0f} %).\n"
        "± and the limits are those of 95 % intervals."
    )


def test_run_notes_of_a_measure_without_meaning():
    """No value, no sentence on it, and no precision to promise."""
    values = {name: np.full(4, np.nan) for name in ("found_none_ready_share", "wait_min_p95")}
    values["trucks_below_cut_out"] = np.zeros(4)
    goal = PrecisionGoal.read("5 %", "found_none_ready_share", 4)
    notes = run_notes(made({"a": values}, goal=goal), ("found_none_ready_share",), 1000)

    assert notes.splitlines()[0] == "a: a truck below cut-out in 0 % of replications (0 to 60 %)."
    assert notes.splitlines()[2] == (
        "found_none_ready_share has no value in a, so nothing can be said of its precision there."
    )


# --- what is asked for ---


def test_an_unknown_measure():
    result = call("compare", KESTREL, "--measure", "downtime_min", "--measure", "labor_min_per_day")

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        f"{KESTREL}: 2 problems\n"
        f"  {KESTREL}: measures: no measure of this name; did you mean 'downtime_min_per_truck_shift'? "
        "(got downtime_min)\n"
        f"  {KESTREL}: measures: no measure of this name; did you mean 'labour_min_per_day'? (got labor_min_per_day)\n"
    )


def test_no_measure():
    with pytest.raises(batsim.ScenarioError) as caught:
        compare(SOUND, measures=())

    assert str(caught.value) == (f"{SOUND.file}: 1 problem\n  {SOUND.file}: measures: needs at least one measure")


def test_waits_need_their_target():
    """Without it there is no share of waits within."""
    with pytest.raises(batsim.ScenarioError, match="no measure of this name"):
        compare(FREE, measures=("wait_within_target_share",))


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (
            ("--within", "0.3", "-r", "5"),
            "--within finds the number of replications; state --most for a budget and leave --replications out",
        ),
        (("--most", "5"), "--most is the budget of --within; state that too, or --replications instead"),
        (
            ("--within", "some"),
            "--within needs a half width in the unit of the measure, such as 0.3, or of its mean, such as 5% "
            "(got some)",
        ),
    ],
)
@pytest.mark.parametrize("command", ["compare", "run"])
def test_options_that_contradict_each_other(command, options, said):
    result = call(command, KESTREL, *options)

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.endswith(f"Error: {said}\n")


# --- the tables ---


@pytest.fixture(scope="module")
def many():
    """Twenty layouts: carts with more and more batteries."""
    room = {"handling": "by_hand", "chargers": "2 x electronic_iuia"}
    layouts = {f"room {3 + number} batteries": {**room, "batteries": 3 + number} for number in range(20)}
    return compare(
        batsim.changed(CART, {"layouts": layouts}), Settings(replications=2, weeks=0.3, warm_up_weeks=0.0, workers=1)
    )


def test_twenty_layouts_have_a_line_each(many):
    lines = comparison_text(many).splitlines()
    table = [line for line in lines if re.match(r"room \d+ batteries  ", line)]

    assert max(map(len, lines)) <= 100
    assert len(table) == 20
    assert [line.split("  ")[0] for line in table] == list(many.ranking)
    shown = sum(float(line.split(" %")[0].split()[-1]) for line in table if " %" in line)
    assert shown == pytest.approx(100.0, abs=5.0)
    assert len(many.differences) == 2 * 190


def test_twenty_layouts_can_be_read_at_sixty_columns(many):
    """In blocks, each with the names."""
    lines = comparison_text(many, 60).splitlines()
    start = next(number for number, line in enumerate(lines) if "downtime" in line)
    table = lines[start : next(number for number, line in enumerate(lines) if line.startswith("No difference seen"))]

    assert max(map(len, table)) <= 60
    assert sum(re.match(r"room \d+ batteries  ", line) is not None for line in table) == 40
    assert {name for name in many.ranking if sum(line.startswith(f"{name} ") for line in table) == 2} == set(
        many.ranking
    )


def test_the_chance_of_being_best_has_a_row():
    """In the measure that decides; not with one layout."""
    found = run(CART, Settings(layouts="no device", replications=2, weeks=0.3, warm_up_weeks=0.0, workers=1)).values[
        "no device"
    ]
    good, bad = "no device", "two devices"
    values = {name: {**found, DOWN: np.array(each)} for name, each in {good: [1.0, 1.1], bad: [9.0, 9.2]}.items()}
    two, one = made(values, CART), made({good: values[good]}, CART)
    rows = [line for line in comparison_text(Comparison(two)).splitlines() if line.startswith("chance of being best")]
    by_labour = comparison_text(Comparison(two, (LABOUR,))).splitlines()

    assert len(rows) == 1
    chances = Comparison(two).chance_best
    assert rows[0].split()[4:] == [
        f"{100 * chances[good]:.0f}",
        "%",
        f"{100 * chances[bad]:.0f}",
        "%",
        "in",
        "downtime",
    ]
    assert any(
        line.startswith("chance of being best") and line.endswith("in labour per working day") for line in by_labour
    )
    assert "chance of being best" not in comparison_text(Comparison(one))


def test_json_of_a_comparison_says_everything():
    data = json.loads(json.dumps(Comparison(downtimes(a=10.0, b=12.0)).as_json(), allow_nan=False))

    assert set(data["chance_best"]) == {"a", "b"}
    assert sum(data["chance_best"].values()) == pytest.approx(1.0)
    assert [each["measure"] for each in data["differences"]] == [DOWN, LABOUR]
    assert all(each["variance_reduction"] > 0.0 for each in data["differences"])
    assert data["verdict"].startswith("Layout 'a' has the least downtime: ")


def test_command_to_a_half_width():
    """Not reached within the budget, and told; reached at once where it is wide."""
    short = call("compare", KESTREL, *SHORT, "--layout", "hoist", "--layout", "side rollers", "--within", "0.001",
                 "--most", "3")  # fmt: skip
    wide = call("run", KESTREL, *SHORT, "--layout", "side rollers", "--within", "500%", "--most", "3")

    text = " ".join(short.stdout.split())
    assert (short.exit_code, short.stderr) == (0, "")
    assert (
        f"1 of the differences in {DOWN} is not yet known to ± 0.001 min after 3 replications of each layout, the "
        in text
    )
    assert (wide.exit_code, wide.stderr) == (0, "")
    assert f"{DOWN} is known to ± 500 % in every layout after 3 replications." in " ".join(wide.stdout.split())
