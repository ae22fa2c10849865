"""Random streams: the same keys give the same draws, and every law draws what it says."""

import math
from itertools import islice

import numpy as np
import pytest
from scipy import stats

from batsim.room.chance.streams import Streams
from batsim.room.timing.clock import TICKS_PER_MIN, ticked
from batsim.scenario.parts.laws import DurationLaw

MANY = 100_000
CONFIDENCE = 0.999

EXPONENTIAL = DurationLaw.model_validate({"mean": "10 min", "law": "exponential"})
UNIFORM = DurationLaw.model_validate({"low": "3 min", "high": "9 min"})
TRIANGULAR = DurationLaw.model_validate({"low": "3 min", "typical": "4 min", "high": "7 min"})
LOGNORMAL = DurationLaw.model_validate({"mean": "4 min", "cv": 0.3})
GAMMA = DurationLaw.model_validate({"mean": "4 min", "cv": 0.6, "law": "gamma"})
HYPEREXPONENTIAL = DurationLaw.model_validate({"mean": "120 min", "cv": 2, "law": "hyperexponential"})
OBSERVED = DurationLaw.model_validate({"observed": ["1 min", "2 min", "2 min", "7 min"]})

LAWS = {
    # law, mean [min], coefficient of variation
    "uniform": (UNIFORM, 6.0, math.sqrt(3.0) / 6.0),
    "triangular": (TRIANGULAR, 14.0 / 3.0, math.sqrt((9 + 16 + 49 - 12 - 21 - 28) / 18.0) / (14.0 / 3.0)),
    "exponential": (EXPONENTIAL, 10.0, 1.0),
    "lognormal": (LOGNORMAL, 4.0, 0.3),
    "gamma": (GAMMA, 4.0, 0.6),
    "hyperexponential": (HYPEREXPONENTIAL, 120.0, 2.0),
    "observed": (OBSERVED, 3.0, math.sqrt(5.5) / 3.0),
}


def _draws(law, count, *, seed=1, replication=0, entity="truck", number=0, purpose="run"):
    return np.array(list(islice(Streams(seed, replication).durations(law, entity, number, purpose), count)))


def _hyperexponential_cdf(minutes):
    """Two exponential branches with balanced means: p1 m1 = p2 m2 = m / 2."""
    share = (1.0 + math.sqrt((4.0 - 1.0) / (4.0 + 1.0))) / 2.0
    first, second = 120.0 / (2.0 * share), 120.0 / (2.0 * (1.0 - share))
    return 1.0 - share * np.exp(-minutes / first) - (1.0 - share) * np.exp(-minutes / second)


SIGMA = math.sqrt(math.log1p(0.09))
CDFS = {
    "uniform": stats.uniform(3.0, 6.0).cdf,
    "triangular": stats.triang(0.25, 3.0, 4.0).cdf,
    "exponential": stats.expon(scale=10.0).cdf,
    "lognormal": stats.lognorm(SIGMA, scale=4.0 * math.exp(-SIGMA * SIGMA / 2.0)).cdf,
    "gamma": stats.gamma(1.0 / 0.36, scale=4.0 * 0.36).cdf,
    "hyperexponential": _hyperexponential_cdf,
}


# Which stream


@pytest.mark.parametrize("name", LAWS)
def test_the_same_keys_give_the_same_draws(name):
    law = LAWS[name][0]

    assert _draws(law, 2000).tolist() == _draws(law, 2000).tolist()


@pytest.mark.parametrize(
    "other",
    [{"seed": 2}, {"replication": 1}, {"entity": "battery"}, {"number": 1}, {"purpose": "charge"}],
    ids=lambda other: next(iter(other)),
)
def test_any_other_key_gives_other_draws(other):
    """And draws that have nothing to do with one another."""
    mine, theirs = _draws(EXPONENTIAL, 10_000), _draws(EXPONENTIAL, 10_000, **other)

    assert not np.any(mine == theirs)
    assert abs(stats.spearmanr(mine, theirs).statistic) < 4.0 / math.sqrt(10_000)


def test_streams_do_not_shift_one_another():
    """Two streams drawn from in turn give what each gives alone."""
    streams = Streams(7, 3)
    first = streams.durations(EXPONENTIAL, "truck", 0, "run")
    second = streams.durations(LOGNORMAL, "truck", 1, "run")

    pairs = [(next(first), next(second)) for _ in range(1000)]

    keys = {"seed": 7, "replication": 3}
    assert [pair[0] for pair in pairs] == _draws(EXPONENTIAL, 1000, **keys).tolist()
    assert [pair[1] for pair in pairs] == _draws(LOGNORMAL, 1000, number=1, **keys).tolist()


def test_laws_that_differ_in_scale_move_together():
    """The same stream under twice the mean gives twice the time, to a tick: common random numbers."""
    double = DurationLaw.model_validate({"mean": "20 min", "law": "exponential"})

    np.testing.assert_allclose(_draws(double, 1000), 2.0 * _draws(EXPONENTIAL, 1000), atol=2.0 / TICKS_PER_MIN)


# What is drawn


@pytest.mark.parametrize("name", LAWS)
def test_mean_and_coefficient_of_variation(name):
    """The intervals of the first two moments, from 100 batches of 1,000 draws, hold the law's own."""
    law, mean, cv = LAWS[name]
    draws = _draws(law, MANY).reshape(100, 1000)

    assert law.mean == pytest.approx(mean)
    for values, exact in ((draws, mean), (draws**2, mean * mean * (1.0 + cv * cv))):
        batches = values.mean(axis=1)
        half = stats.t.ppf((1.0 + CONFIDENCE) / 2.0, 99) * batches.std(ddof=1) / 10.0
        assert batches.mean() == pytest.approx(exact, abs=half)
        assert half < 0.1 * exact


@pytest.mark.parametrize("name", CDFS)
def test_draws_follow_their_law(name):
    assert stats.kstest(_draws(LAWS[name][0], MANY), CDFS[name]).pvalue > 1.0 - CONFIDENCE


def test_observed_times_are_drawn_again_with_equal_chance():
    minutes, counts = np.unique(_draws(OBSERVED, MANY), return_counts=True)

    assert minutes.tolist() == [1.0, 2.0, 7.0]
    assert stats.chisquare(counts, [MANY / 4, MANY / 2, MANY / 4]).pvalue > 1.0 - CONFIDENCE


@pytest.mark.parametrize(("name", "low", "high"), [("uniform", 3.0, 9.0), ("triangular", 3.0, 7.0)])
def test_draws_stay_between_their_limits(name, low, high):
    draws = _draws(LAWS[name][0], MANY)

    assert low <= draws.min() < low + 0.05
    assert high - 0.05 < draws.max() <= high


@pytest.mark.parametrize(
    "law", ["4 min", {"mean": "4 min", "cv": 0}, {"low": "4 min", "typical": "4 min", "high": "4 min"}]
)
def test_laws_without_spread_are_constant(law):
    assert set(_draws(DurationLaw.model_validate(law), 1000).tolist()) == {4.0}


@pytest.mark.parametrize("name", LAWS)
def test_no_draw_is_negative(name):
    assert _draws(LAWS[name][0], MANY).min() >= 0.0


# Ticks


@pytest.mark.parametrize("name", LAWS)
def test_draws_are_whole_ticks(name):
    """So that sums are exact in whatever order they are added."""
    draws = _draws(LAWS[name][0], 10_000)

    assert np.all(draws * TICKS_PER_MIN == np.rint(draws * TICKS_PER_MIN))
    forward, backward = sum(draws.tolist()), sum(draws[::-1].tolist())
    assert forward == backward == math.fsum(draws)


def test_a_duration_is_rounded_to_the_nearest_tick():
    assert ticked(1.0 / 3.0) == 349525.0 / 1048576.0
    assert ticked(2.0 / 3.0) == 699051.0 / 1048576.0
    assert ticked(12.5) == 12.5
    assert _draws(DurationLaw.model_validate("0.1 min"), 1)[0] == ticked(0.1)


# Factors


def test_factors_have_mean_one_and_their_spread():
    factors = np.array(list(islice(Streams(1, 0).factors(0.2, "truck", 0, "discharge"), MANY)))

    half = stats.norm.ppf((1.0 + CONFIDENCE) / 2.0) * 0.2 / math.sqrt(MANY)
    assert factors.mean() == pytest.approx(1.0, abs=half)
    assert factors.std() == pytest.approx(0.2, rel=0.02)
    assert factors.min() > 0.0
    sigma = math.sqrt(math.log1p(0.04))
    assert stats.kstest(np.log(factors), stats.norm(-sigma * sigma / 2.0, sigma).cdf).pvalue > 1.0 - CONFIDENCE


def test_factors_without_spread_are_one():
    assert set(islice(Streams(1, 0).factors(0.0, "truck", 0, "discharge"), 100)) == {1.0}
