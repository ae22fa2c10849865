"""Shares that are over by each value: with and without cut off values, and their band."""

import re

import numpy as np
import pytest
from scipy import stats

from batsim.statistics.empirical import empirical, quantiles_of


def test_all_seen():
    """The plain share; each value once; a band as wide everywhere."""
    steps = empirical(np.array([3.0, 1.0, 3.0, 2.0]), np.zeros(4, bool), 0.95)
    half = np.sqrt(np.log(2.0 / 0.05) / 8.0)

    assert steps.at.tolist() == [1.0, 2.0, 3.0]
    assert steps.share == pytest.approx([0.25, 0.5, 1.0])
    assert steps.middle == pytest.approx([0.125, 0.375, 0.75])
    assert steps.low == pytest.approx(np.clip(steps.share - half, 0.0, 1.0))
    assert steps.high == pytest.approx(np.clip(steps.share + half, 0.0, 1.0))


def test_cut_off_against_a_library():
    random = np.random.default_rng(2)
    values, ends = random.exponential(5.0, 60).round(1), random.exponential(12.0, 60).round(1)
    shown, marks = np.minimum(values, ends), values > ends
    steps = empirical(shown, marks, 0.95)
    curve = stats.ecdf(stats.CensoredData(uncensored=shown[~marks], right=shown[marks]))

    assert steps.share == pytest.approx(curve.cdf.evaluate(steps.at))
    assert np.all((steps.low <= steps.share) & (steps.share <= steps.high))


@pytest.mark.parametrize("cut", [False, True])
def test_the_band_holds_the_whole_curve(cut):
    """In 300 lists of 30 in 90 % of them or more, and not always."""
    random, held = np.random.default_rng(1), 0
    for _ in range(300):
        values = random.exponential(1.0, 30)
        ends = random.exponential(2.4, 30) if cut else np.full(30, np.inf)
        steps = empirical(np.minimum(values, ends), values > ends, 0.9)
        true = 1.0 - np.exp(-steps.at)
        before = np.append(0.0, steps.high[:-1])
        held += np.all((steps.low <= true) & (true <= np.maximum(steps.high, before)))
        held -= np.any(true[1:] > steps.high[:-1] + 1.0)  # a band is of shares

    assert 0.88 * 300 <= held < 300


def test_quantiles():
    """The least value by which a share is over; the greatest where it never is."""
    steps = empirical(np.array([1.0, 2.0, 4.0, 9.0]), np.array([False, False, False, True]), 0.95)

    assert quantiles_of(steps, np.array([0.0, 0.25, 0.26, 0.75, 0.9])).tolist() == [1.0, 1.0, 2.0, 4.0, 4.0]


def test_nothing_and_messages():
    assert empirical(np.empty(0), np.empty(0, bool), 0.95).at.size == 0
    assert empirical(np.array([1.0]), np.array([True]), 0.95).at.size == 0
    with pytest.raises(ValueError, match=f"^{re.escape('there must be a mark for each value (got 1, 2)')}$"):
        empirical(np.ones(1), np.zeros(2, bool), 0.95)
