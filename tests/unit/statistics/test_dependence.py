"""What values hang on: statistics against a library, levels under independence, sentences, edges."""

import re

import numpy as np
import pytest
from scipy import stats

from batsim.statistics.dependence import (
    differs_between,
    differs_over_day,
    differs_over_weeks,
    like_the_one_before,
    steps_together,
)

RANDOM = np.random.default_rng(5)
TIMES = RANDOM.gamma(4.0, 1.25, 120)
HOURS = RANDOM.uniform(6.0, 22.0, 120)
SHIFTS = np.where(HOURS < 14.0, "early", "late")


def test_between_shifts_is_kruskals():
    """Its statistic over n - 1 is the share of the variance of ranks; three shifts, ties among values."""
    values, shifts = TIMES.round(0), np.where(HOURS < 10.0, "a", SHIFTS)
    found = differs_between(values, shifts)
    usual = stats.kruskal(*(values[shifts == name] for name in np.unique(shifts)))

    assert found.statistic * 119.0 == pytest.approx(usual.statistic)
    assert found.p == pytest.approx(usual.pvalue, abs=0.02)
    assert not found.is_clear


def test_over_weeks_is_spearmans():
    found = differs_over_weeks(TIMES + np.arange(120) / 40.0, np.arange(120) / 30.0, "exchange times")
    usual = stats.spearmanr(TIMES + np.arange(120) / 40.0, np.arange(120))

    assert found.statistic == pytest.approx(usual.statistic)
    assert found.p == pytest.approx(usual.pvalue, rel=1e-6)
    assert re.fullmatch(
        r"exchange times rise over the weeks: rank correlation \+0\.\d\d, p below 0\.001", found.sentence
    )
    assert differs_over_weeks(-TIMES - np.arange(120), np.arange(120)).sentence.startswith("values fall over the weeks")


def test_over_the_day():
    """Where it is greatest and least is said, of the hours that were seen."""
    found = differs_over_day(TIMES + 3.0 * np.cos((HOURS - 14.0) / 12.0 * np.pi), HOURS)

    assert found.is_clear
    said = re.fullmatch(
        r"values hang on the time of day: greatest about (\d\d):00, least about (\d\d):00, p .*", found.sentence
    )
    assert said
    assert abs(int(said[1]) - 14) <= 2
    assert int(said[2]) in {6, 7, 20, 21}
    assert not differs_over_day(TIMES, HOURS).is_clear
    assert differs_over_day(TIMES, HOURS + 24.0).p == pytest.approx(differs_over_day(TIMES, HOURS).p)


def test_like_the_one_before():
    course = np.cumsum(RANDOM.standard_normal(100))

    assert like_the_one_before(course).is_clear
    assert like_the_one_before(course).sentence.endswith("intervals are too narrow")
    assert like_the_one_before(np.tile([1.0, 9.0], 30)).statistic == pytest.approx(-1.0)
    assert not like_the_one_before(TIMES).is_clear


def test_steps_of_an_exchange_together():
    """Two steps: Spearman's correlation; a factor of the exchange makes them clear, also with gaps."""
    table = RANDOM.gamma(4.0, 1.0, (150, 3))
    slow = table * RANDOM.gamma(5.0, 0.2, (150, 1))
    slow[RANDOM.random(slow.shape) < 0.2] = np.nan
    found = steps_together(slow)

    assert steps_together(table[:, :2]).statistic == pytest.approx(stats.spearmanr(*table[:, :2].T).statistic)
    assert not steps_together(table).is_clear
    assert (found.is_clear, found.p, found.rows) == (True, 0.001, int(np.sum(np.isfinite(slow).sum(axis=1) > 1)))
    assert found.sentence.startswith("steps of an exchange take long or short together: mean rank correlation +0.")
    one = np.arange(40.0)
    assert "make up for one another" in steps_together(np.column_stack([one, -one])).sentence


def test_chance_is_not_taken_for_dependence():
    """Of 600 lists of 25 independent values 5 % have a p below 0.05, give or take three standard errors."""
    random = np.random.default_rng(9)
    p = np.array(
        [
            (
                differs_between(values, random.integers(0, 3, 25)).p,
                differs_over_day(values, random.uniform(0.0, 24.0, 25)).p,
                differs_over_weeks(values, random.random(25)).p,
                like_the_one_before(values).p,
            )
            for values in random.gamma(2.0, 1.0, (600, 25))
        ]
    )
    together = np.array([steps_together(random.random((20, 3)), seed=seed).p for seed in range(20)])

    assert np.all(np.abs(np.mean(p < 0.05, axis=0) - 0.05) < 0.027), np.mean(p < 0.05, axis=0)
    assert stats.kstest(together, "uniform").pvalue > 0.001


def test_what_cannot_be_told():
    """Too few rows, one group, all the same, nothing timed: no p, and a sentence that says so."""
    found = [
        differs_between([1.0, 2.0], ["a", "b"]),
        differs_between([1.0, 2.0, 3.0], ["a", "a", "a"]),
        differs_between([2.0, 2.0, 2.0, 2.0], ["a", "a", "b", "b"]),
        differs_over_day([], []),
        differs_over_weeks([1.0, 2.0, 3.0, 4.0], [1.0, 1.0, 1.0, 1.0]),
        like_the_one_before([1.0]),
        steps_together(np.full((9, 2), np.nan)),
        steps_together(np.ones((9, 1))),
        steps_together(np.empty((0, 0))),
    ]

    assert [each.sentence for each in found if not (np.isnan(each.p) and "cannot be told" in each.sentence)] == []
    assert not any(each.is_clear for each in found)


def test_rows_without_a_number_are_left_out():
    values = TIMES.copy()
    values[::4] = np.nan

    assert differs_between(values, SHIFTS).rows == 90
    assert differs_between(values, SHIFTS).p == pytest.approx(
        differs_between(values[np.isfinite(values)], SHIFTS[np.isfinite(values)]).p
    )


def test_messages():
    with pytest.raises(ValueError, match=r"^there must be one for each value \(got 1 for 2\)$"):
        differs_between([1.0, 2.0], ["a"])
    with pytest.raises(ValueError, match=r"^steps must be a table, exchanges by steps \(got shape \(3,\)\)$"):
        steps_together([1.0, 2.0, 3.0])
