"""Two kinds of values in one list, and values that belong to none."""

import numpy as np
import pytest

from batsim.statistics.fitting import fit
from batsim.statistics.laws import LAWS
from batsim.statistics.mixtures import FEWEST_MIXED, mixture, outliers
from batsim.statistics.samples import Sample

GAMMA = LAWS["gamma"]


def draw(count, mean, cv, seed):
    return GAMMA.quantile(np.random.default_rng(seed).random(count), mean, cv)


def sample(values):
    return Sample(np.sort(values), np.empty(0))


def test_two_kinds_are_told_apart():
    """What they were drawn with, within what 150 and 50 values allow."""
    found = fit(np.concatenate([draw(150, 4.0, 0.2, 1), draw(50, 12.0, 0.2, 2)])).mixture

    assert found is not None
    assert found.better_by > 100.0
    short, long = found.kinds
    assert (short.share, long.share) == pytest.approx((0.75, 0.25), abs=0.02)
    assert (short.mean, long.mean) == pytest.approx((4.0, 12.0), rel=0.05)
    assert (short.cv, long.cv) == pytest.approx((0.2, 0.2), abs=0.04)


def test_one_kind_stays_one():
    """Of 6 lists none is parted, nor is one of rounded values, which are often the same."""
    assert [fit(draw(150, 5.0, 0.5, seed)).mixture for seed in range(6)] == [None] * 6
    for grid in (1.0, 2.0, 5.0):
        assert fit(np.rint(draw(300, 5.0, 0.5, 3) / grid) * grid, candidates="amount").mixture is None


def test_too_few_values_are_not_parted():
    two = np.repeat([1.0, 2.0, 100.0, 101.0], 10)

    assert mixture(two[::5][: FEWEST_MIXED - 1], np.inf) is None
    assert mixture(np.sort(two), 1e6) is not None
    assert mixture(np.sort(np.append(draw(60, 5.0, 0.1, 1), 50.0)), 1e6) is None  # one value is no kind


def test_outliers_are_found_from_the_nearest_outwards():
    """Two of the same size do not hide one another; nothing is left out of the fit."""
    values = np.concatenate([draw(300, 5.0, 0.3, 1), [60.0, 62.0]])
    found = fit(values)

    assert found.outliers == (60.0, 62.0)
    assert found.values.size == 302
    assert found.mean.mean == pytest.approx(np.mean(values), rel=0.05)
    assert found.mixture is None


def test_outliers_to_the_short_side():
    assert outliers(LAWS["lognormal"], sample(np.append(draw(200, 5.0, 0.2, 1), 0.01))).tolist() == [0.01]


def test_outliers_are_rare_where_there_are_none():
    """In lists of 60 and 600 of their own law: in 100 of each at most five, where one is expected."""
    for count in (60, 600):
        assert sum(outliers(GAMMA, sample(draw(count, 5.0, 0.5, seed))).size > 0 for seed in range(100)) <= 5


def test_outliers_of_too_few_values():
    """Fewer than four, or all the same but one."""
    assert outliers(GAMMA, sample(np.array([1.0, 2.0, 90.0]))).size == 0
    assert outliers(GAMMA, sample(np.array([2.0, 2.0, 2.0, 2.0, 90.0]))).size == 0
