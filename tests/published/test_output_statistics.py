"""Statistics of simulation output against published worked examples, tables, exact theory and a reference library."""

from pathlib import Path

import numpy as np
import pytest
from scipy import stats

import batsim
from batsim.measures.names import POOLED, RARE
from batsim.scenario.settings import Settings
from batsim.statistics.intervals import probability_interval, student_interval
from batsim.statistics.sequential import Feasibility
from batsim.statistics.warm_up import mser
from batsim.study.running.estimates import estimate, few_events

LAW = "Law, A. M. (earlier editions with Kelton, W. D.), Simulation Modeling and Analysis"
ROSSETTI = "Rossetti, M. D., open textbook on simulation modelling"
BANKS = "Banks, J., Carson, J. S., Nelson, B. L. & Nicol, D. M., Discrete-Event System Simulation"
MEMORY = " (from memory)"


def exactly(value):
    return pytest.approx(value, rel=1e-6)


def with_moments(count, mean, sd):
    """Values with exactly this mean and standard deviation."""
    values = np.arange(count, dtype=float)
    return mean + sd * (values - values.mean()) / values.std(ddof=1)


# Intervals


@pytest.mark.worked_out(where="400,000 repetitions of ten exponential values: 0.8533")
def test_coverage_of_student_interval():
    """2000 intervals of ten values at 90 %: normal values are covered so often, skewed ones less often."""
    generator = np.random.default_rng(28)
    normal, skewed = generator.standard_normal((2000, 10)) + 1.0, generator.exponential(1.0, (2000, 10))
    assert _coverage(normal) == pytest.approx(0.90, abs=0.02)
    assert _coverage(skewed) == pytest.approx(0.8533, abs=0.02)


def _coverage(tables):
    intervals = [student_interval(row, 0.90) for row in tables]
    return np.mean([interval.low <= 1.0 <= interval.high for interval in intervals])


# Rare events


WAITED, NONE_READY = "wait_battery_min_per_truck_shift", "found_none_ready_share"
FAR_START = Path(__file__).parents[1] / "unit" / "cases" / "far_start.yaml"
STEADY = {
    "trucks[0].run_time": {"low": "6 h", "typical": "11 h", "high": "26 h"},
    "batteries.plain.charge_time": "9 h",
    "layouts.steady.chargers": "3 x electronic_iuia",
}


def _made_up(clusters, size, runs=1000):
    """Runs in which trucks wait for a battery in clusters, a Poisson number of them, of geometric size."""
    generator = np.random.default_rng(17)
    waits = np.array([generator.geometric(1.0 / size, count).sum() for count in generator.poisson(clusters, runs)])
    visits = np.maximum(generator.poisson(240, runs), waits).astype(float)
    minutes = np.array([generator.exponential(10.0, count).sum() for count in waits])
    return {"waits_battery": waits.astype(float), "visits": visits, WAITED: minutes / 360.0, "asks": visits,
            NONE_READY: waits / visits}  # fmt: skip


def _answers(law, measure, replications, repetitions):
    """How many intervals are given, hold the truth, and how often a count's interval holds it, of so many answers."""
    generator = np.random.default_rng(18)
    weights = law[POOLED[measure]] if measure in POOLED else np.ones_like(law[measure])
    truth = np.sum(weights * law[measure]) / np.sum(weights)
    chance = np.mean(law[RARE[measure].events] > 0.0)
    given = held = counted = 0
    for _ in range(repetitions):
        picked = generator.integers(0, law[measure].size, replications)
        values = {name: each[picked] for name, each in law.items()}
        interval, found = estimate(values, measure, 0.95), few_events(values, measure, 0.95)
        assert (found is None) == np.isfinite(interval.half_width)
        if found is None:
            given += 1
            held += interval.low <= truth <= interval.high
        else:
            counted += found[0].chance.low <= chance <= found[0].chance.high
    return given, held, counted


def _answers_are_true(law, measure, replications, repetitions):
    """At least 93 of 100 answers at 95 %, and of the intervals by themselves as far as their number tells."""
    given, held, counted = _answers(law, measure, replications, repetitions)
    assert held + counted >= 0.93 * repetitions
    assert probability_interval(held, given, 0.99).high >= 0.93
    return given


@pytest.mark.worked_out(where="400 repetitions of runs made up of clusters of waits")
@pytest.mark.parametrize("replications", [10, 20])
@pytest.mark.parametrize(
    ("clusters", "size"),
    [(0.1, 3), (1, 3), (3, 3), (10, 3)],
)
@pytest.mark.parametrize("measure", [WAITED, NONE_READY])
def test_an_interval_of_rare_events_is_true_or_a_count_is_told(measure, clusters, size, replications):
    """Student's holds the mean in 56 of 100 where clusters are rarest; where they are frequent an interval is given."""
    given = _answers_are_true(_made_up(clusters, size), measure, replications, 400)
    if clusters <= 0.1:
        assert given == 0
    if clusters >= 10:
        assert given >= 390


@pytest.mark.slow
@pytest.mark.worked_out(where="2000 repetitions of runs made up of clusters of waits")
@pytest.mark.parametrize("replications", [10, 20])
@pytest.mark.parametrize("size", [1, 8])
@pytest.mark.parametrize("measure", [WAITED, NONE_READY])
def test_an_interval_of_single_events_and_of_great_clusters(measure, size, replications):
    """Three clusters a run, so that some repetitions give an interval and some a count."""
    _answers_are_true(_made_up(3, size), measure, replications, 2000)


@pytest.mark.slow
@pytest.mark.worked_out(where="400 repetitions of 500 short runs of a room with few spare batteries")
@pytest.mark.parametrize("batteries", [8, 9, 10])
def test_intervals_of_waits_for_a_battery_in_a_room(batteries):
    """From frequent to rare: its runs are the law that repetitions are drawn from, so their mean is the true one."""
    room = batsim.changed(batsim.read(FAR_START), STEADY | {"layouts.steady.batteries": batteries})
    law = batsim.run(room, Settings(layouts=["steady"], replications=500, weeks=1, warm_up_weeks=0.5, seed=3))
    for measure in (WAITED, NONE_READY):
        for replications in (10, 20):
            _answers_are_true(law.values["steady"], measure, replications, 400)


# Percentiles


# How many replications, how long a run


# Warm-up


MSER = "MSER: White, K. P. (1997) Simulation 69(6), 323-334; MSER-5: White, Cobb & Spratt (2000) (from memory)"


@pytest.mark.published(source=MSER, where="a least at the half-way limit: too short, nothing is cut off")
def test_mser_of_a_ramp():
    found = mser(np.arange(1.0, 101.0))
    assert (found.batches, found.observations, found.mean, found.too_short) == (10, 0, 50.5, True)


# Picking the best


KIM_NELSON = "Kim, S.-H. & Nelson, B. L. (2001) ACM TOMACS 11, 251-273"


# One mean against a limit


@pytest.mark.published(
    source="Andradóttir, S. & Kim, S.-H. (2010) Naval Research Logistics 57, 403-421 (from memory)",
    where="procedure F with c = 1: wrong with probability alpha at most at limit -+ tolerance",
)
@pytest.mark.parametrize(("first_stage", "alpha", "tolerance"), [(10, 0.05, 0.15), (5, 0.10, 0.30), (30, 0.10, 0.15)])
def test_feasibility_is_seldom_wrong(first_stage, alpha, tolerance):
    """Two correlated measures of a replication, one as far below its limit as the other above, 2000 times."""
    generator, runs, limits = np.random.default_rng(10), 2000, (3.0, 50.0)
    wrong = np.zeros(2)
    for _ in range(runs):
        tests = [Feasibility(limit, tolerance, alpha, first_stage) for limit in limits]
        while any(test.decision is None for test in tests):
            common, own = generator.standard_normal(20), generator.standard_normal((2, 20))
            noise = 0.9 * common + np.sqrt(1.0 - 0.9**2) * own
            tests[0].add(limits[0] - tolerance + noise[0])
            tests[1].add(limits[1] + tolerance + noise[1])
        wrong += [tests[0].decision == "infeasible", tests[1].decision == "feasible"]
    for count in wrong:
        found = probability_interval(int(count), runs, 0.999)
        assert found.low <= alpha
        assert found.high >= 0.75 * alpha


@pytest.mark.worked_out(where="mean of exp(-eta chi2)/2 over chi2 on n0-1 degrees of freedom is alpha")
@pytest.mark.parametrize(("alpha", "first_stage"), [(0.05, 10), (0.01, 2), (0.3, 40)])
def test_feasibility_constants(alpha, first_stage):
    eta, h2 = Feasibility(0.0, 1.0, alpha, first_stage).constants
    spread = stats.chi2(first_stage - 1)
    assert spread.expect(lambda x: np.exp(-eta * x) / 2.0) == pytest.approx(alpha, rel=1e-6)
    assert h2 == pytest.approx(2.0 * eta * (first_stage - 1))
