"""Intervals of quantiles: search against brute force, coverage, edges, messages."""

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from batsim.statistics.intervals import Interval
from batsim.statistics.quantiles import quantile_interval, quantile_ranks


def says(text):
    return pytest.raises(ValueError, match=f"^{re.escape(text)}$")


def every_pair(n, share, confidence):
    """All pairs of ranks that cover surely enough, best first."""
    below = stats.binom.cdf(np.arange(n), n, share)
    pairs = [
        (high - low, -round(float(below[high - 1] - below[low - 1]), 11), low, high)
        for low in range(1, n + 1)
        for high in range(low + 1, n + 1)
        if below[high - 1] - below[low - 1] >= confidence - 1e-12
    ]
    return sorted(pairs)


@given(st.integers(1, 40), st.floats(0.02, 0.98), st.floats(0.05, 0.999))
def test_ranks_are_the_best_of_all_pairs(n, share, confidence):
    found = quantile_ranks(n, share, confidence)
    pairs = every_pair(n, share, confidence)
    if not pairs:
        assert found is None
        return
    apart, surely, *_ = pairs[0]
    assert found.high - found.low == apart
    assert found.coverage == pytest.approx(-surely, abs=1e-10)
    assert found.coverage == pytest.approx(
        stats.binom.cdf(found.high - 1, n, share) - stats.binom.cdf(found.low - 1, n, share)
    )


def test_equal_pairs_give_the_lowest():
    first, second = every_pair(60, 0.5, 0.95)[:2]
    assert first[:2] == second[:2]
    assert (first[2:], second[2:]) == ((22, 38), (23, 39))
    assert quantile_ranks(60, 0.5, 0.95)[:2] == (22, 38)
    for n in range(6, 400):
        low, high, _ = quantile_ranks(n, 0.5, 0.95)
        assert low + high in {n, n + 1}


def test_coverage_that_is_just_met_is_enough():
    assert quantile_ranks(3, 0.5, 0.75) == (1, 3, pytest.approx(0.75))


@pytest.mark.parametrize(
    ("n", "share", "confidence"), [(1, 0.5, 0.1), (5, 0.5, 0.95), (28, 0.9, 0.95), (58, 0.05, 0.95)]
)
def test_too_few_values(n, share, confidence):
    assert quantile_ranks(n, share, confidence) is None
    interval = quantile_interval(np.arange(n, dtype=float), share, confidence)
    assert interval.mean == pytest.approx(share * (n - 1))
    assert np.isnan(interval.low)
    assert np.isnan(interval.high)


@pytest.mark.parametrize(("n", "share", "confidence"), [(6, 0.5, 0.95), (29, 0.9, 0.95), (59, 0.05, 0.95)])
def test_just_enough_values(n, share, confidence):
    assert quantile_ranks(n, share, confidence).coverage >= confidence
    assert quantile_ranks(n - 1, share, confidence) is None


@pytest.mark.parametrize(("n", "share"), [(25, 0.5), (80, 0.9)])
def test_interval_covers_as_often_as_it_says(n, share):
    generator = np.random.default_rng(1)
    true = -np.log(1.0 - share)
    intervals = [quantile_interval(generator.exponential(1.0, n), share, 0.90) for _ in range(3000)]
    covered = np.mean([interval.low <= true <= interval.high for interval in intervals])
    assert covered == pytest.approx(quantile_ranks(n, share, 0.90).coverage, abs=0.02)


def test_missing_values_are_left_out():
    values = np.array([4.0, np.nan, 1.0, 2.0, 3.0, 6.0, 5.0])
    assert quantile_interval(values, 0.5, 0.95) == Interval(3.5, 1.0, 6.0)
    assert np.isnan(quantile_interval(np.array([np.nan]), 0.5, 0.95)).all()


def test_many_values_are_no_trouble():
    ranks = quantile_ranks(200_000, 0.99, 0.95)
    assert ranks.coverage == pytest.approx(0.95, abs=0.001)
    assert ranks.low < 198_000 < ranks.high


def test_messages():
    with says("number of values must be 1 or more (got 0)"):
        quantile_ranks(0, 0.5, 0.9)
    with says("share must be above 0 and below 1 (got 1.0)"):
        quantile_ranks(5, 1.0, 0.9)
    with says("confidence must be above 0 and below 1 (got 0.0)"):
        quantile_ranks(5, 0.5, 0.0)
    with says("share must be above 0 and below 1 (got 90)"):
        quantile_interval(np.ones(3), 90, 0.9)
    with says("confidence must be above 0 and below 1 (got 95)"):
        quantile_interval(np.ones(3), 0.9, 95)
