"""Statistics of simulation output against published worked examples, tables, exact theory and a reference library."""

from pathlib import Path

import numpy as np
import pytest
from scipy import stats

import batsim
from batsim.measures.names import POOLED, RARE
from batsim.scenario.settings import Settings
from batsim.statistics.intervals import probability_interval, simultaneous, student_interval, variance_reduction
from batsim.statistics.precision import Precision, replications_needed
from batsim.statistics.quantiles import quantile_ranks
from batsim.statistics.sequential import Feasibility, kim_nelson_constants
from batsim.statistics.warm_up import mser
from batsim.study.running.estimates import estimate, few_events

LAW = "Law, A. M. (earlier editions with Kelton, W. D.), Simulation Modeling and Analysis"
ROSSETTI = "Rossetti, M. D., open textbook on simulation modelling"
BANKS = "Banks, J., Carson, J. S., Nelson, B. L. & Nicol, D. M., Discrete-Event System Simulation"
MEMORY = " (from memory)"

WAITS = np.array([1.53, 1.66, 1.24, 2.34, 2.0, 1.69, 2.69, 2.86, 1.7, 2.6])
QUEUES = np.array([1.52, 1.62, 1.23, 2.34, 1.89, 1.56, 2.5, 2.83, 1.74, 2.5])
DESIGN_1 = np.array([10.98, 8.87, 10.53, 9.4, 10.1, 10.28, 8.86, 9.0, 9.99, 9.57])
DESIGN_2 = np.array([8.93, 9.82, 9.27, 8.5, 9.63, 9.55, 9.3, 9.31, 9.23, 8.88, 8.05, 8.74])
MODEL_1 = np.array([29.59, 23.49, 25.68, 41.09, 33.84, 39.57, 37.04, 40.2, 61.82, 44.0])
MODEL_2_ALONE = np.array([51.62, 51.91, 45.27, 30.85, 56.15, 28.82, 41.3, 73.06, 23.0, 28.44])
MODEL_2_PAIRED = np.array([29.55, 24.26, 26.03, 42.64, 32.45, 37.91, 36.48, 41.24, 60.59, 41.49])


def exactly(value):
    return pytest.approx(value, rel=1e-6)


def with_moments(count, mean, sd):
    """Values with exactly this mean and standard deviation."""
    values = np.arange(count, dtype=float)
    return mean + sd * (values - values.mean()) / values.std(ddof=1)


# Intervals


@pytest.mark.published(source=LAW, where="bank with five tellers, ten replications (chapter 9)")
@pytest.mark.parametrize(
    ("values", "confidence", "mean", "variance", "half"),
    [(WAITS, 0.90, 2.031, 0.3090988889, 0.3222834049), (QUEUES, 0.95, 1.973, 0.2820233333, 0.3798965021)],
    ids=["waits", "queues"],
)
def test_student_interval_of_ten_replications(values, confidence, mean, variance, half):
    interval = student_interval(values, confidence)
    assert interval == exactly((mean, mean - half, mean + half))
    assert interval.half_width == exactly(half)
    assert np.var(values, ddof=1) == exactly(variance)


@pytest.mark.published(source=BANKS + MEMORY, where="vehicle-safety inspection, two designs (chapter 12)")
def test_common_random_numbers_pay_off():
    paired = student_interval(MODEL_1 - MODEL_2_PAIRED, 0.95)
    assert paired == exactly((0.368, -0.5756555156, 1.311655516))
    independent = 118.9076622 + 244.3258178
    of_pairs = 118.9076622 + np.var(MODEL_2_PAIRED, ddof=1)
    assert variance_reduction(MODEL_1, MODEL_2_PAIRED) * independent / of_pairs == exactly(208.7394114)


@pytest.mark.published(source=ROSSETTI, where="chapter 4, dependent samples: n 10, mean 2.22, sd 0.55")
def test_paired_interval_of_ten_differences():
    interval = student_interval(with_moments(10, 2.22, 0.55), 0.95)
    assert interval == exactly((2.22, 1.826553702, 2.613446298))


@pytest.mark.published(source=LAW + MEMORY, where="comparing several systems: t(4, 0.9875), t(4, 0.995)")
@pytest.mark.parametrize(
    ("statements", "count", "overall", "each", "quantile"),
    [(4, 5, 0.90, 0.975, 3.495405933), (10, 5, 0.90, 0.99, 4.604094871), (6, 20, 0.95, 0.9916666667, 2.943895153)],
)
def test_several_comparisons_at_once(statements, count, overall, each, quantile):
    confidence = simultaneous(overall, statements)
    assert confidence == exactly(each)
    assert student_interval(with_moments(count, 0.0, np.sqrt(count)), confidence).half_width == exactly(quantile)


@pytest.mark.published(source=ROSSETTI, where="chapter 4, variance of a difference: sd 4 and 5, 25 pairs")
@pytest.mark.parametrize(
    ("correlation", "variance", "ratio"),
    [(0.0, 1.64, 1.0), (0.6, 0.68, 0.4146341463), (0.9, 0.2, 0.1219512195), (-0.3, 2.12, 1.292682927)],
)
def test_variance_of_a_difference(correlation, variance, ratio):
    one = with_moments(25, 0.0, 1.0)
    other = one**2 - np.mean(one**2)
    other /= other.std(ddof=1)
    first, second = 4.0 * one, 5.0 * (correlation * one + np.sqrt(1.0 - correlation**2) * other)
    assert 1.0 / variance_reduction(first, second) == pytest.approx(ratio, rel=1e-9)
    half = student_interval(first - second, 0.95).half_width
    assert (half / stats.t.ppf(0.975, 24)) ** 2 == pytest.approx(variance, rel=1e-9)


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


@pytest.mark.published(
    source="Order statistics (Conover; Hahn & Meeker) (from memory)", where="distribution-free limits of a quantile"
)
@pytest.mark.parametrize(
    ("n", "share", "ranks", "coverage"), [(100, 0.9, (84, 96), 0.9556901072), (60, 0.5, (22, 38), 0.9603829851)]
)
def test_ranks_that_bound_a_percentile(n, share, ranks, coverage):
    found = quantile_ranks(n, share, 0.95)
    assert (found.low, found.high) == ranks
    assert found.coverage == exactly(coverage)


# How many replications, how long a run


@pytest.mark.published(source=LAW + MEMORY, where="obtaining a specified precision (chapter 9)")
@pytest.mark.parametrize(("confidence", "absolute", "relative"), [(0.90, 16, 27), (0.95, 22, 38)])
@pytest.mark.parametrize(("mean", "variance"), [(2.03, 0.31), (WAITS.mean(), WAITS.var(ddof=1))])
def test_replications_for_a_precision(confidence, absolute, relative, mean, variance):
    assert replications_needed(variance, confidence, Precision(absolute=0.25), n0=10) == absolute
    assert replications_needed(variance, confidence, Precision(relative=0.10), n0=10, mean=mean) == relative
    assert Precision(relative=0.10).half_width_at(1.0) == exactly(0.09090909091)


def _numbers_in_system(runs, load, length):
    """Time average of the number in an M/M/1 with service rate 1 in each run, by Lindley's recursion."""
    generator = np.random.default_rng(27)
    means = []
    for _ in range(runs):
        arrivals = np.cumsum(generator.exponential(1.0 / load, round(1.1 * load * length)))
        assert arrivals[-1] > length
        services = generator.exponential(1.0, arrivals.size)
        done = np.cumsum(services)
        departures = done + np.maximum.accumulate(arrivals - done + services)
        means.append(np.sum(np.minimum(departures, length) - np.minimum(arrivals, length)) / length)
    return np.array(means)


# Warm-up


MSER = "MSER: White, K. P. (1997) Simulation 69(6), 323-334; MSER-5: White, Cobb & Spratt (2000) (from memory)"


@pytest.mark.published(source=MSER, where="rule; data worked out here")
def test_mser_of_a_given_series():
    i = np.arange(1, 151)
    series = np.round(10.0 - 8.0 * np.exp(-i / 12.0) + 0.3 * ((7 * i**2 + 3 * i) % 11 - 5), 4)
    first = [4.1396, 2.0281, 4.0696, 3.6677, 4.1261, 5.4478, 4.3357, 7.3927, 4.7211, 6.2232]
    assert series[:10].tolist() == first
    assert series.mean() == exactly(9.090297333)
    assert mser(series) == exactly((11, 55, 0.001273920915, 9.696414737, False))
    assert mser(series, batch=1) == exactly((22, 22, 0.008604197468, 9.589704687, False))


@pytest.mark.published(source=MSER, where="a least at the half-way limit: too short, nothing is cut off")
def test_mser_of_a_ramp():
    found = mser(np.arange(1.0, 101.0))
    assert (found.batches, found.observations, found.mean, found.too_short) == (10, 0, 50.5, True)


# Picking the best


KIM_NELSON = "Kim, S.-H. & Nelson, B. L. (2001) ACM TOMACS 11, 251-273"


@pytest.mark.published(source=KIM_NELSON + MEMORY, where="eta and h2 of procedure KN with c = 1")
@pytest.mark.parametrize(
    ("alternatives", "alpha", "of_10", "of_20"),
    [
        (2, 0.05, (0.3340502686, 6.012904835), (0.1371374929, 5.211224728)),
        (2, 0.10, (0.2149845742, 3.869722335), (0.09230553936, 3.507610496)),
        (3, 0.05, (0.4729438588, 8.512989458), (0.1853628032, 7.043786521)),
        (3, 0.10, (0.3340502686, 6.012904835), (0.1371374929, 5.211224728)),
        (5, 0.05, (0.6349672652, 11.42941077), (0.2372383155, 9.01505599)),
        (5, 0.10, (0.4729438588, 8.512989458), (0.1853628032, 7.043786521)),
        (10, 0.05, (0.8590834299, 15.46350174), (0.3029338036, 11.51148454)),
        (10, 0.10, (0.6650660925, 11.97118966), (0.2464356516, 9.364554761)),
    ],
)
def test_kim_nelson_constants(alternatives, alpha, of_10, of_20):
    for first_stage, expected in [(10, of_10), (20, of_20)]:
        assert kim_nelson_constants(alternatives, first_stage, alpha) == pytest.approx(expected, rel=1e-8)


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
