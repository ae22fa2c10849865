"""Ratios pooled over replications, intervals of skewed values and of few events: by hand, by scipy, edges, messages."""

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from batsim.statistics.intervals import student_interval
from batsim.statistics.rare_events import (
    count_of,
    events_interval,
    independent_events,
    pooled_values,
    skewed_interval,
)

SKEWED = np.array([0.0, 0.1, 0.0, 2.0, 0.3, 0.0, 9.0, 0.4])


def says(text):
    return pytest.raises(ValueError, match=f"^{re.escape(text)}$")


# --- ratios ---


def test_a_pooled_mean_is_the_ratio_of_sums():
    """1 of 2, 0 of 8 and 3 of 10: 4 of 20, not the mean of 50 %, 0 % and 30 %."""
    pooled = pooled_values(np.array([0.5, 0.0, 0.3]), np.array([2.0, 8.0, 10.0]))

    assert pooled.mean() == pytest.approx(0.2)
    weight = np.array([2.0, 8.0, 10.0]) / (20.0 / 3.0)
    assert pooled == pytest.approx(0.2 + weight * (np.array([0.5, 0.0, 0.3]) - 0.2))


def test_equal_weights_change_nothing_at_all():
    values = np.array([0.1, 0.7, 0.4])

    assert pooled_values(values, np.full(3, 7.0)) is values


def test_a_replication_without_anything_to_average_weighs_nothing():
    pooled = pooled_values(np.array([0.5, np.nan, 0.0]), np.array([4.0, 0.0, 6.0]))

    assert pooled.mean() == pytest.approx(0.2)
    assert pooled[1] == pytest.approx(0.2)
    assert np.isnan(pooled_values(np.array([np.nan, np.nan]), np.zeros(2))).all()


def test_the_interval_of_a_ratio_is_that_of_the_jackknife():
    """Standard error of the linear values, against leaving out one replication after the other."""
    generator = np.random.default_rng(4)
    of = generator.poisson(240, 400).astype(float)
    events = generator.binomial(of.astype(int), 0.1)
    pooled = pooled_values(events / of, of)
    without = (events.sum() - events) / (of.sum() - of)
    jackknife = np.sqrt(399.0 / 400.0 * np.sum((without - without.mean()) ** 2))

    assert pooled.std(ddof=1) / 20.0 == pytest.approx(jackknife, rel=0.01)


def test_a_weight_for_each_value():
    with says("there must be a weight for each value (got 2 and 1)"):
        pooled_values(np.zeros(2), np.ones(1))


# --- skewed values ---


def test_limits_are_where_the_transformed_mean_is_at_its_quantiles():
    """The transformation itself, written out, and scipy's skewness and quantile; the other limit is Student's."""
    interval = skewed_interval(SKEWED, 0.95)
    count, skewness = SKEWED.size, stats.skew(SKEWED, bias=False)
    apart = (SKEWED.mean() - interval.high) / SKEWED.std(ddof=1)
    moved = apart + skewness * apart**2 / 3.0 + skewness**2 * apart**3 / 27.0 + skewness / (6.0 * count)

    assert moved == pytest.approx(stats.t.ppf(0.025, count - 1) / np.sqrt(count), rel=1e-9)
    assert interval.low == student_interval(SKEWED, 0.95).low


def test_the_limits_reach_to_the_long_tail():
    usual, skewed, mirrored = (
        student_interval(SKEWED, 0.95),
        skewed_interval(SKEWED, 0.95),
        skewed_interval(-SKEWED, 0.95),
    )

    assert skewed.high - skewed.mean > 1.5 * usual.half_width
    assert mirrored == pytest.approx((-skewed.mean, -skewed.high, -skewed.low))


@pytest.mark.parametrize("values", [[1.0, 2.0, 3.0], [4.0, 4.0, 4.0], [1.0, 5.0], [1.0, np.nan, 5.0]])
def test_without_skewness_it_is_students(values):
    assert skewed_interval(np.array(values), 0.9) == pytest.approx(student_interval(np.array(values), 0.9))


@pytest.mark.parametrize("values", [[], [3.0]])
def test_too_few_values_have_no_limits(values):
    assert np.isnan(skewed_interval(np.array(values), 0.9).high)


# --- few events ---


def test_independent_events_of_poisson_counts_are_their_number():
    """Single ones count for themselves; in clusters of four a quarter of them does, as far as 5000 counts tell."""
    generator = np.random.default_rng(3)
    clusters = generator.poisson(2.0, 5000).astype(float)

    assert independent_events(clusters) == pytest.approx(clusters.sum(), rel=0.06)
    assert independent_events(4.0 * clusters) == pytest.approx(independent_events(clusters))


def test_independent_events_where_nothing_varies():
    assert independent_events(np.full(4, 2.0)) == np.inf
    assert independent_events(np.zeros(4)) == 0.0


@given(st.lists(st.integers(0, 9), min_size=2, max_size=20), st.floats(0.5, 0.999))
def test_single_events_have_at_least_the_limits_of_a_poisson_mean(events, confidence):
    """Those of Garwood, by scipy's quantiles of chi-square; further apart for what clusters or may."""
    total, count = sum(events), len(events)
    tail = (1.0 - confidence) / 2.0
    exact = (
        stats.chi2.ppf(tail, 2 * total) / 2.0 / count if total else 0.0,
        stats.chi2.ppf(1.0 - tail, 2 * total + 2) / 2.0 / count,
    )
    found = events_interval(np.array(events, dtype=float), confidence)

    assert found.mean == pytest.approx(total / count)
    assert found.low <= exact[0] * (1.0 + 1e-9)
    assert found.high >= exact[1] * (1.0 - 1e-9)
    if not total or min(events) == max(events):
        assert (found.low, found.high) == pytest.approx(exact)


def test_events_that_come_together_are_known_less_well():
    """Twelve, one in each run, or all in two of them."""
    single, clustered = np.ones(12), np.array([6.0, 6.0, *[0.0] * 10])

    assert events_interval(clustered, 0.95).high > 1.3 * events_interval(single, 0.95).high


def test_a_count_with_the_chance_of_a_replication():
    count = count_of(np.array([0.0, 5.0, 0.0, 2.0]), np.array([10.0, 12.0, 11.0, 9.0]), 0.95)

    assert count[:4] == (7, 42, 2, 4)
    exact = stats.binomtest(2, 4).proportion_ci(0.95, "exact")
    assert count.chance == pytest.approx((0.5, exact.low, exact.high))
    with says("confidence must be above 0 and below 1 (got 1.0)"):
        events_interval(np.ones(2), 1.0)
