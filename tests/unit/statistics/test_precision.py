"""Replications and run lengths for a precision: the definition, the next look, edges, messages."""

import math
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from batsim.statistics.intervals import Interval, student_interval
from batsim.statistics.precision import (
    Precision,
    replications_from_pilot,
    replications_needed,
    run_length_needed,
    weeks_needed,
)

VALUES = np.array([1.20, 1.50, 1.68, 1.89, 0.95])


def says(text):
    return pytest.raises(ValueError, match=f"^{re.escape(text)}$")


@given(st.floats(0.0, 100.0), st.floats(0.5, 0.999), st.integers(2, 30), st.floats(0.5, 10.0))
def test_needed_is_the_smallest_that_is_enough(variance, confidence, n0, absolute):
    found = replications_needed(variance, confidence, n0=n0, absolute=absolute)

    def half(count):
        return stats.t.ppf((1.0 + confidence) / 2.0, count - 1) * math.sqrt(variance / count)

    assert found >= n0
    assert half(found) <= absolute * (1.0 + 1e-9)
    assert found == n0 or half(found - 1) > absolute * (1.0 - 1e-9)


def test_wider_one_of_two_precisions_is_enough():
    def needed(**precision):
        return replications_needed(4.0, 0.95, n0=5, mean=10.0, **precision)

    loose, fine = needed(absolute=1.0), needed(relative=0.02)
    assert loose < fine
    assert needed(absolute=1.0, relative=0.02) == loose
    assert needed(absolute=0.001, relative=0.02) == fine


def test_sign_of_the_mean_does_not_matter():
    assert replications_needed(4.0, 0.95, n0=5, relative=0.1, mean=-7.0) == replications_needed(
        4.0, 0.95, n0=5, relative=0.1, mean=7.0
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
    needed = replications_needed(VALUES.var(ddof=1), 0.90, n0=5, absolute=0.3)
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


def test_pilot_at_its_own_width_needs_itself():
    assert replications_from_pilot(2.0, 8, 0.9, wanted=2.0)[2] == 8
    assert replications_from_pilot(2.0, 8, 0.9, wanted=2.0).student == 8
    assert replications_from_pilot(2.0, 5, 0.9, wanted=1.0).ratio == 20
    assert replications_from_pilot(2.0, 8, 0.9, wanted=20.0)[2:] == (1, 1, 2)
    assert [replications_from_pilot(1.1, n0, 0.9, wanted=0.1).ratio for n0 in range(2, 30)] == [
        121 * n0 for n0 in range(2, 30)
    ]


def test_weeks_keep_the_replications_and_lengthen_them():
    """With the weeks that are advised, the interval is just as wide as is wanted."""
    wanted = Precision(absolute=0.1)
    weeks = weeks_needed(VALUES, 2.0, 0.90, wanted)
    shrunk = VALUES.mean() + (VALUES - VALUES.mean()) * math.sqrt(2.0 * VALUES.size / weeks)
    assert student_interval(shrunk, 0.90).half_width == pytest.approx(0.1)
    assert weeks_needed(np.append(VALUES, np.nan), 2.0, 0.90, wanted) == weeks


def test_weeks_at_the_edges():
    relative = Precision(relative=0.1)
    assert math.isnan(weeks_needed(VALUES[:1], 2.0, 0.90, relative))
    assert weeks_needed(np.array([-1.0, 1.0]), 2.0, 0.90, relative) == math.inf
    assert weeks_needed(np.zeros(3), 2.0, 0.90, relative) == 0.0
    assert weeks_needed(np.ones(3), 2.0, 0.90, relative) == 0.0


def test_no_variance_needs_no_more():
    assert replications_needed(0.0, 0.9, n0=4, absolute=0.1) == 4
    assert run_length_needed(0.0, 3.0, 0.1, 0.9) == 0.0


def test_a_precision_out_of_reach_has_the_largest_count():
    assert replications_needed(1.0, 0.9, n0=3, absolute=1e-30) == 2**53


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
        replications_needed(1.0, 0.9, n0=5)
    with says("confidence must be above 0 and below 1 (got 1.0)"):
        replications_needed(1.0, 1.0, n0=5, absolute=0.1)
    with says("replications so far must be 2 or more (got 1)"):
        replications_needed(1.0, 0.9, n0=1, absolute=0.1)
    with says("variance must be 0 or more (got -1.0)"):
        replications_needed(-1.0, 0.9, n0=5, absolute=0.1)
    with says("variance must be 0 or more (got nan)"):
        replications_needed(math.nan, 0.9, n0=5, absolute=0.1)
    for mean in (None, 0.0):
        with says(f"relative precision alone needs a mean other than zero (got {mean})"):
            replications_needed(1.0, 0.9, n0=5, relative=0.1, mean=mean)


def test_messages_of_a_pilot():
    with says("half width of the pilot must be above 0 (got 0.0)"):
        replications_from_pilot(0.0, 5, 0.9, wanted=1.0)
    with says("half width that is wanted must be above 0 (got nan)"):
        replications_from_pilot(1.0, 5, 0.9, wanted=math.nan)
    with says("replications of the pilot must be 2 or more (got 1)"):
        replications_from_pilot(1.0, 1, 0.9, wanted=1.0)
    with says("confidence must be above 0 and below 1 (got 90)"):
        replications_from_pilot(1.0, 5, 90, wanted=1.0)
    with says("confidence that is wanted must be above 0 and below 1 (got 99)"):
        replications_from_pilot(1.0, 5, 0.9, wanted=1.0, wanted_confidence=99)


def test_messages_of_run_lengths():
    with says("confidence must be above 0 and below 1 (got 95)"):
        run_length_needed(24.0, 1.0, 0.05, 95)
    with says("relative half width must be above 0 (got 0.0)"):
        run_length_needed(24.0, 1.0, 0.0, 0.95)
    with says("size of the mean must be above 0 (got 0.0)"):
        run_length_needed(24.0, 0.0, 0.05, 0.95)
    with says("variance constant must be 0 or more (got -24.0)"):
        run_length_needed(-24.0, 1.0, 0.05, 0.95)
    with says("weeks of a replication must be above 0 (got 0.0)"):
        weeks_needed(VALUES, 0.0, 0.9, Precision(absolute=0.1))
    with says("confidence must be above 0 and below 1 (got 90)"):
        weeks_needed(VALUES, 1.0, 90, Precision(absolute=0.1))
