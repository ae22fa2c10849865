"""Replications and run lengths for a precision: the definition, the next look, edges, messages."""

import math
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from batsim.statistics.intervals import Interval, student_interval
from batsim.statistics.precision import Precision, replications_needed

VALUES = np.array([1.20, 1.50, 1.68, 1.89, 0.95])


def says(text):
    return pytest.raises(ValueError, match=f"^{re.escape(text)}$")


@given(st.floats(0.0, 100.0), st.floats(0.5, 0.999), st.integers(2, 30), st.floats(0.5, 10.0))
def test_needed_is_the_smallest_that_is_enough(variance, confidence, n0, absolute):
    found = replications_needed(variance, confidence, Precision(absolute=absolute), n0=n0)

    def half(count):
        return stats.t.ppf((1.0 + confidence) / 2.0, count - 1) * math.sqrt(variance / count)

    assert found >= n0
    assert half(found) <= absolute * (1.0 + 1e-9)
    assert found == n0 or half(found - 1) > absolute * (1.0 - 1e-9)


def test_wider_one_of_two_precisions_is_enough():
    def needed(**precision):
        return replications_needed(4.0, 0.95, Precision(**precision), n0=5, mean=10.0)

    loose, fine = needed(absolute=1.0), needed(relative=0.02)
    assert loose < fine
    assert needed(absolute=1.0, relative=0.02) == loose
    assert needed(absolute=0.001, relative=0.02) == fine


def test_sign_of_the_mean_does_not_matter():
    assert replications_needed(4.0, 0.95, Precision(relative=0.1), n0=5, mean=-7.0) == replications_needed(
        4.0, 0.95, Precision(relative=0.1), n0=5, mean=7.0
    )


def test_a_precision_is_reached():
    assert Precision(absolute=0.2).reached(Interval(1.0, 0.75, 1.125))
    assert not Precision(absolute=0.1).reached(Interval(1.0, 0.75, 1.25))
    assert Precision(relative=0.25).reached(Interval(-10.0, -12.0, -8.0))
    assert not Precision(relative=0.2).reached(Interval(-10.0, -12.0, -8.0))
    assert Precision(absolute=0.1, relative=0.25).reached(Interval(10.0, 8.0, 12.0))
    assert Precision(absolute=0.1, relative=0.25).reached(Interval(0.0, -0.1, 0.1))
    assert not Precision(absolute=0.1, relative=0.25).reached(Interval(10.0, 7.9, 12.1))


def test_without_limits_or_with_a_mean_of_zero():
    assert not Precision(absolute=9.0).reached(Interval(1.0, np.nan, np.nan))
    assert not Precision(relative=0.1).reached(Interval(0.0, -0.1, 0.1))
    assert Precision(relative=0.1).reached(Interval(0.0, 0.0, 0.0))


def test_next_count_is_what_the_variance_asks_within_bounds():
    needed = replications_needed(VALUES.var(ddof=1), 0.90, Precision(absolute=0.3), n0=5)
    assert needed == 7
    assert Precision(absolute=0.3).next_count(VALUES, 0.90, most=100) == 7
    assert Precision(absolute=0.3).next_count(VALUES, 0.90, most=6) == 6
    assert Precision(absolute=0.01).next_count(VALUES, 0.90, most=100) == 10
    assert Precision(absolute=9.0).next_count(VALUES, 0.90, most=100) == 6
    assert Precision(absolute=9.0).next_count(VALUES, 0.90, most=5) == 5
    assert Precision(relative=0.3).next_count(VALUES, 0.90, most=100) == 6
    assert Precision(relative=0.2).next_count(VALUES, 0.90, most=100) == 9


def test_next_count_at_the_edges():
    precision = Precision(relative=0.1)
    assert precision.next_count(VALUES[:0], 0.9, most=9) == 1
    assert precision.next_count(VALUES[:1], 0.9, most=9) == 2
    assert precision.next_count(np.array([-1.0, 1.0]), 0.9, most=9) == 4
    assert precision.next_count(np.zeros(4), 0.9, most=9) == 5
    assert precision.next_count(np.array([-1.0, 1.0, 1e-200]), 0.9, most=9) == 6
    gaps = np.append(VALUES, [np.nan] * 5)
    assert Precision(absolute=0.3).next_count(gaps, 0.90, most=100) == 14


def test_steps_of_next_count_reach_the_precision():
    """Looking again and again ends with an interval that is narrow enough, which holds the mean about as stated."""
    generator, precision = np.random.default_rng(1), Precision(absolute=0.25)
    held, looks = [], []
    for _ in range(500):
        values = generator.normal(5.0, 1.0, 10)
        looked = 1
        while not precision.reached(interval := student_interval(values, 0.90)):
            looked += 1
            more = precision.next_count(values, 0.90, most=10_000) - values.size
            values = np.append(values, generator.normal(5.0, 1.0, more))
        held.append(interval.low <= 5.0 <= interval.high)
        looks.append(looked)
    assert np.mean(looks) < 7
    assert 0.82 < np.mean(held) < 0.95


def test_a_precision_out_of_reach_has_the_largest_count():
    assert replications_needed(1.0, 0.9, Precision(absolute=1e-30), n0=3) == 2**53


def test_messages_of_precision():
    with says("precision needs an absolute or a relative half width (got neither)"):
        Precision()
    with says("absolute precision must be above 0 (got 0.0)"):
        Precision(absolute=0.0)
    with says("relative precision must be above 0 (got -0.1)"):
        Precision(absolute=1.0, relative=-0.1)
    with says("confidence must be above 0 and below 1 (got 90)"):
        Precision(absolute=1.0).next_count(VALUES, 90, most=10)


def test_messages_of_replications():
    with says("precision needs an absolute or a relative half width (got neither)"):
        Precision()
    with says("confidence must be above 0 and below 1 (got 1.0)"):
        replications_needed(1.0, 1.0, Precision(absolute=0.1), n0=5)
    with says("replications so far must be 2 or more (got 1)"):
        replications_needed(1.0, 0.9, Precision(absolute=0.1), n0=1)
    with says("variance must be 0 or more (got -1.0)"):
        replications_needed(-1.0, 0.9, Precision(absolute=0.1), n0=5)
    with says("variance must be 0 or more (got nan)"):
        replications_needed(math.nan, 0.9, Precision(absolute=0.1), n0=5)
    for mean in (None, 0.0):
        with says(f"relative precision alone needs a mean other than zero (got {mean})"):
            replications_needed(1.0, 0.9, Precision(relative=0.1), n0=5, mean=mean)
