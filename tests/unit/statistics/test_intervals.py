"""Intervals of differences and probabilities, variance reduction, the chance of being best: edges and coverage."""

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from batsim.statistics.intervals import (
    Interval,
    chance_best,
    check_above_zero,
    check_count,
    check_share,
    probability_interval,
    student_interval,
    variance_reduction,
)

NAN = np.nan


def says(text):
    return pytest.raises(ValueError, match=f"^{re.escape(text)}$")


@pytest.mark.published(source="scipy.stats", where="ttest_1samp: confidence interval")
@pytest.mark.parametrize("confidence", [0.5, 0.9, 0.999])
def test_intervals_agree_with_reference_library(confidence):
    generator = np.random.default_rng(5)
    for count in (2, 4, 17):
        values = generator.gamma(2.0, 3.0, count)
        library = stats.ttest_1samp(values, 0.0).confidence_interval(confidence)
        assert student_interval(values, confidence)[1:] == pytest.approx(tuple(library), rel=1e-9)


@pytest.mark.published(source="scipy.stats", where="binomtest: exact proportion_ci")
@pytest.mark.parametrize(("hits", "trials"), [(0, 1), (0, 20), (1, 20), (7, 20), (20, 20), (3, 100_000)])
@pytest.mark.parametrize("confidence", [0.8, 0.95, 0.999])
def test_probability_interval_agrees_with_reference_library(hits, trials, confidence):
    expected = stats.binomtest(hits, trials).proportion_ci(confidence, method="exact")
    assert probability_interval(hits, trials, confidence)[1:] == pytest.approx(tuple(expected), rel=1e-9)


def test_missing_values_are_left_out():
    gaps, whole = np.array([1.0, NAN, 2.0, 4.0]), np.array([2.0, 1.0, 2.5, NAN])
    assert student_interval(gaps, 0.9) == student_interval(gaps[[0, 2, 3]], 0.9)
    assert variance_reduction(gaps, whole) == variance_reduction(gaps[[0, 2]], whole[[0, 2]])
    table = np.array([[1.0, 2.0], [NAN, 0.0], [3.0, 3.5], [2.0, 1.5]])
    assert (chance_best(table) == chance_best(table[[0, 2, 3]])).all()


def test_too_few_values_have_no_limits():
    one = student_interval(np.array([5.0]), 0.9)
    assert (one.mean, np.isnan(one.low), np.isnan(one.high)) == (5.0, True, True)
    assert np.isnan(student_interval(np.array([]), 0.9)).all()


def test_values_that_do_not_vary():
    assert student_interval(np.full(3, 5.0), 0.9) == Interval(5.0, 5.0, 5.0)


@pytest.mark.parametrize("confidence", [0.9, 0.99])
def test_probability_interval_covers_but_not_by_much(confidence):
    """Exact coverage for every probability on a grid: never less than stated, and close to it somewhere."""
    trials = 200
    hits = np.arange(trials + 1)
    limits = np.array([probability_interval(int(count), trials, confidence)[1:] for count in hits])
    probabilities = np.linspace(0.001, 0.999, 333)
    holds = (limits[:, :1] <= probabilities) & (probabilities <= limits[:, 1:])
    coverage = np.sum(stats.binom.pmf(hits[:, None], trials, probabilities) * holds, axis=0)
    assert coverage.min() >= confidence
    assert coverage.min() <= confidence + 0.25 * (1.0 - confidence)


def test_probability_interval_at_the_ends():
    none = probability_interval(0, 50, 0.95)
    assert (none.mean, none.low) == (0.0, 0.0)
    assert none.high == pytest.approx(1.0 - 0.025 ** (1.0 / 50))
    always = probability_interval(50, 50, 0.95)
    assert (always.mean, always.low, always.high) == pytest.approx((1.0, 1.0 - none.high, 1.0))
    untried = probability_interval(0, 0, 0.95)
    assert np.isnan(untried.mean)
    assert untried[1:] == (0.0, 1.0)


def test_variance_reduction_without_variation_of_the_difference():
    first = np.array([0.1, 0.7, 1.3, 2.9])
    assert variance_reduction(first, first + 0.3) == np.inf
    assert variance_reduction(first, first) == np.inf
    assert np.isnan(variance_reduction(first[:1], first[:1]))
    assert variance_reduction(first, -first) == pytest.approx(0.5)


def test_chance_of_two_is_that_of_the_paired_t_test():
    generator = np.random.default_rng(2)
    for count in (2, 5, 40):
        table = generator.normal(10.0, 3.0, (count, 1)) + generator.normal([0.0, 0.2], 0.5, (count, 2))
        one_sided = stats.ttest_rel(table[:, 0], table[:, 1], alternative="less").pvalue
        assert chance_best(table) == pytest.approx([1.0 - one_sided, one_sided], abs=0.01)


@pytest.mark.parametrize(("count", "alternatives"), [(12, 4), (30, 3)])
def test_chances_are_those_of_the_multivariate_student_distribution(count, alternatives):
    generator = np.random.default_rng(3)
    table = generator.normal(np.linspace(0.0, 0.3, alternatives), 1.0, (count, alternatives)) + generator.normal(
        0.0, 2.0, (count, 1)
    )
    shape = np.cov(table, rowvar=False) / count
    student = stats.multivariate_t(table.mean(axis=0), shape, df=count - 1, seed=4)
    least = np.argmin(student.rvs(100_000), axis=1)
    expected = np.bincount(least, minlength=alternatives) / 100_000
    assert chance_best(table) == pytest.approx(expected, abs=0.01)


def test_chance_of_equal_alternatives_is_shared():
    generator = np.random.default_rng(5)
    one, other = generator.normal(0.0, 1.0, 8), generator.normal(0.1, 1.0, 8)
    two = chance_best(np.column_stack([one, other]))
    four = chance_best(np.column_stack([one, other, one, one]))
    assert four == pytest.approx([two[0] / 3.0, two[1], two[0] / 3.0, two[0] / 3.0], abs=0.01)
    assert four[0] == four[2] == four[3]
    assert chance_best(np.full((5, 4), 0.1)) == pytest.approx([0.25] * 4, rel=1e-12)


def test_chance_of_equal_means_is_exactly_even():
    assert chance_best(np.array([[1.0, 2.0], [2.0, 1.0], [4.0, 4.0]])).tolist() == [0.5, 0.5]


def test_chance_with_constants_and_few_replications():
    assert chance_best(np.array([[1.0, 2.0], [1.0, 2.0], [1.0, 2.0]])).tolist() == [1.0, 0.0]
    values = np.array([1.2, 0.7, 1.1, 1.3])
    against_constant = chance_best(np.column_stack([values, np.ones(4)]))[0]
    assert against_constant == pytest.approx(stats.ttest_1samp(values, 1.0, alternative="greater").pvalue, abs=0.01)
    wide = chance_best(np.random.default_rng(6).standard_normal((3, 10)))
    assert wide.sum() == pytest.approx(1.0)
    assert np.isnan(chance_best(np.ones((1, 3)))).all()
    assert np.isnan(chance_best(np.array([[1.0, NAN], [2.0, 3.0]]))).all()
    assert chance_best(np.array([[3.0], [4.0]])).tolist() == [1.0]


def test_chance_is_the_same_each_time_and_moves_little_with_the_seed():
    table = np.random.default_rng(7).standard_normal((10, 5))
    assert (chance_best(table) == chance_best(table)).all()
    assert chance_best(table, seed=1) == pytest.approx(chance_best(table), abs=0.015)
    assert (chance_best(table, seed=1) != chance_best(table)).any()


@given(st.floats(-1e6, 1e6), st.floats(1e-3, 1e3))
def test_chance_depends_on_neither_unit_nor_origin(origin, unit):
    table = np.array([[1.0, 1.4, 2.0], [2.0, 1.9, 1.7], [3.0, 3.3, 3.2], [1.5, 1.6, 2.2]])
    assert chance_best(origin + unit * table) == pytest.approx(chance_best(table), abs=1e-3)


def test_messages():
    values = np.array([1.0, 2.0])
    with says("confidence must be above 0 and below 1 (got 1.0)"):
        check_share("confidence", 1.0)
    with says("tolerance must be above 0 (got nan)"):
        check_above_zero("tolerance", NAN)
    with says("tolerance must be above 0 (got 0.0)"):
        check_above_zero("tolerance", 0.0)
    with says("batch must be 1 or more (got 0)"):
        check_count("batch", 0, 1)
    with says("confidence must be above 0 and below 1 (got 0.0)"):
        probability_interval(1, 2, 0.0)
    with says("hits must be between 0 and the number of trials, 2 (got 3)"):
        probability_interval(3, 2, 0.9)
    with says("hits must be between 0 and the number of trials, 2 (got -1)"):
        probability_interval(-1, 2, 0.9)
    with says("paired values must be as many of the one as of the other (got 2 and 1)"):
        variance_reduction(values, values[:1])
    with says("values must be a table, replications by alternatives (got shape (2,))"):
        chance_best(values)
