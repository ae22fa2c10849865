"""MSER: against the rule written as a loop, edges, messages."""

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batsim.statistics.warm_up import Settled, mser, settled


def says(text):
    return pytest.raises(ValueError, match=f"^{re.escape(text)}$")


def by_loop(series, batch):
    """Marginal standard error for each count of batches left out."""
    count = series.size // batch
    means = np.array([series[i * batch : (i + 1) * batch].mean() for i in range(count)])
    return means, np.array([np.var(means[out:]) / (count - out) for out in range(count // 2 + 1)])


@given(st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=60), st.integers(1, 7))
def test_agrees_with_the_rule_as_a_loop(values, batch):
    series = np.array(values)
    if series.size < batch:
        return
    means, errors = by_loop(series, batch)
    found = mser(series, batch)
    scale = 1e-9 * (1.0 + np.abs(series).max() ** 2)
    assert found.least == pytest.approx(errors.min(), abs=scale)
    assert errors[found.batches] == pytest.approx(errors.min(), abs=scale)
    assert found.too_short == (found.batches == means.size // 2)
    assert found.observations == (0 if found.too_short else found.batches * batch)
    assert found.mean == pytest.approx(means[found.observations // batch :].mean(), rel=1e-9, abs=1e-9)


def test_first_of_equal_ones_and_an_exact_tail():
    series = np.concatenate([[9.0, 0.1], np.full(30, 0.1)])
    assert mser(series, batch=1) == (1, 1, 0.0, pytest.approx(0.1), False)
    assert mser(np.full(20, 0.3)) == (0, 0, 0.0, pytest.approx(0.3), False)


def test_what_is_left_over_is_not_looked_at():
    series = np.array([0.0, 0.0, 4.0, 6.0, 6.0, 4.0, 5.0, 5.0, 5.0, 5.0, 1000.0])
    found = mser(series, batch=2)
    assert found == mser(series[:-1], batch=2) == (1, 2, 0.0, 5.0, False)


def test_origin_far_from_zero_changes_nothing():
    generator = np.random.default_rng(1)
    series = generator.standard_normal(500) - 8.0 * np.exp(-np.arange(500) / 20.0)
    near, far = mser(series), mser(series + 1e8)
    assert far.batches == near.batches
    assert far.least == pytest.approx(near.least, rel=1e-6)


def test_one_batch_is_too_short():
    assert mser(np.array([1.0, 2.0, 3.0]), batch=3) == (0, 0, 0.0, 2.0, True)


def test_steady_noise_is_hardly_cut():
    """Without a warm-up the rule leaves out little in most runs; with one of 100 it leaves out about that."""
    generator = np.random.default_rng(2)
    steady = [mser(generator.standard_normal(1000)) for _ in range(200)]
    assert np.median([found.observations for found in steady]) < 150
    rise = -10.0 * np.exp(-np.arange(1000) / 20.0)
    rising = [mser(rise + generator.standard_normal(1000)) for _ in range(200)]
    assert 50 <= np.median([found.observations for found in rising]) < 200
    assert np.mean([found.mean for found in rising]) == pytest.approx(0.0, abs=0.02)


def noisy(seed, *first, weeks=20, spread=0.015):
    """Days of weeks at a level of 10, the first ones higher or lower, each day by chance."""
    level = np.full(weeks, 10.0)
    level[: len(first)] = first
    return np.repeat(level, 5) * (1.0 + spread * np.random.default_rng(seed).standard_normal(5 * weeks))


def test_a_flat_series_has_no_warm_up_whatever_the_seed():
    """MSER cuts up to half of it."""
    series = [noisy(seed) for seed in range(1, 11)]

    assert {settled(each) for each in series} == {Settled(0, too_short=False)}
    assert max(mser(each).batches for each in series) >= 5


def test_a_first_part_that_is_apart_is_left_out_whatever_the_seed():
    """One week at 130 %, three weeks that come down, six weeks without anything."""
    for seed in range(1, 11):
        assert settled(noisy(seed, 13.0)) == (1, False)
        assert 2 <= settled(noisy(seed, 13.0, 11.5, 10.6)).batches <= 3
        assert settled(noisy(seed, *[0.0] * 6)) == (6, False)


def test_a_flat_series_is_seldom_cut():
    """Of series of independent values not many more than the 1 % that is stated: MSER keeps what varies least."""
    generator = np.random.default_rng(8)
    cut = [settled(10.0 + generator.standard_normal(100)).batches > 0 for _ in range(1000)]

    assert np.mean(cut) < 0.03


def test_a_series_that_is_still_on_its_way():
    """A ramp, and a step behind the middle; a level behind the middle is no way."""
    assert settled(np.arange(1.0, 101.0)) == (10, True)
    assert settled(np.repeat([0.0, 10.0], [55, 45])) == (10, True)
    assert settled(np.repeat([0.0, 10.0], [50, 50])) == (10, False)
    assert settled(np.ones(5)) == (0, True)


def test_a_hundredth_of_the_level_makes_no_difference():
    assert settled(np.repeat([10.09, 10.0], [5, 95])) == (0, False)
    assert settled(np.repeat([10.2, 10.0], [5, 95])) == (1, False)


def test_messages():
    with says("batch must be 1 or more (got 0)"):
        mser(np.ones(10), batch=0)
    with says("length of the series must be 5 or more (got 4)"):
        mser(np.ones(4))
    with says("series must hold finite numbers (got nan at 2)"):
        mser(np.array([1.0, 2.0, np.nan, np.inf]), batch=1)
