"""Laws fitted to values: which one, how sure, what is refused, rounded or cut off values, and values of no law."""

import re

import numpy as np
import pytest
from scipy import stats

from batsim.scenario.parts.laws import KEYS
from batsim.statistics.fitting import AMOUNTS, DRAWS, DURATIONS, FEW, MOST_TESTED, SHARES, fit, grid_of
from batsim.statistics.goodness import distance, rounded
from batsim.statistics.goodness import tested as judged
from batsim.statistics.laws import LAWS
from batsim.statistics.likelihood import highest, profile_interval
from batsim.statistics.samples import Grid, Sample

NONE = np.empty(0)
TRUE = {
    "exponential": (5.0,),
    "lognormal": (5.0, 0.6),
    "gamma": (5.0, 0.6),
    "hyperexponential": (5.0, 2.0),
    "uniform": (2.0, 6.0),
    "triangular": (2.0, 3.0, 7.0),
    "beta": (0.3, 0.5),
}
OTHERS = {
    "exponential": stats.expon(scale=5.0),
    "lognormal": stats.lognorm(np.sqrt(np.log(1.36)), scale=5.0 / np.sqrt(1.36)),
    "gamma": stats.gamma(1.0 / 0.36, scale=1.8),
    "uniform": stats.uniform(2.0, 4.0),
    "triangular": stats.triang(0.2, 2.0, 5.0),
    "beta": stats.beta(0.3 * (0.7 / 0.075 - 1.0), 0.7 * (0.7 / 0.075 - 1.0)),
}
"""The same laws of another library, by its own parameters."""


def says(text):
    return pytest.raises(ValueError, match=f"^{re.escape(text)}$")


def draw(law, count, seed):
    return LAWS[law].quantile(np.random.default_rng(seed).random(count), *TRUE[law])


def sample(values):
    return Sample(np.sort(values), NONE)


# --- laws ---


def test_laws_are_stated_as_a_scenario_states_them():
    """By its words and keys; a share alone is drawn by no law there."""
    assert set(DURATIONS) | {"fixed", "observed"} == set(KEYS)
    assert {name: law.keys for name, law in LAWS.items() if name in KEYS} == {name: KEYS[name] for name in DURATIONS}
    assert set(AMOUNTS) < set(DURATIONS)
    assert set(LAWS) - set(KEYS) == set(SHARES) == {"beta"}


@pytest.mark.parametrize("law", OTHERS)
def test_laws_against_a_library(law):
    values = draw(law, 50, 3)
    shares = np.linspace(0.01, 0.99, 7)

    assert LAWS[law].log_density(sample(values), *TRUE[law]) == pytest.approx(OTHERS[law].logpdf(values).sum())
    assert LAWS[law].below(values, TRUE[law]) == pytest.approx(OTHERS[law].cdf(values))
    assert LAWS[law].quantile(shares, *TRUE[law]) == pytest.approx(OTHERS[law].ppf(shares))


def test_hyperexponential_law():
    """Two branches of equal means, its mean and variation as stated; a quantile is where that share is below."""
    law, shares = LAWS["hyperexponential"], (np.arange(200_000) + 0.5) / 200_000
    values = law.quantile(shares, 5.0, 2.0)
    at = np.linspace(0.5, 40.0, 400)
    slope = np.gradient(law.below(at, (5.0, 2.0)), at)[100]

    assert law.below(values[::999], (5.0, 2.0)) == pytest.approx(shares[::999])
    assert np.mean(values) == pytest.approx(5.0, rel=1e-3)
    assert np.std(values) / np.mean(values) == pytest.approx(2.0, rel=5e-3)
    assert np.exp(law.log_density(Sample(at[100:101], NONE), 5.0, 2.0)) == pytest.approx(slope, rel=1e-3)
    assert law.likelihood(sample(values[::999]))((5.0, 0.9)) == -np.inf


@pytest.mark.parametrize("law", LAWS)
def test_no_neighbour_has_a_higher_likelihood(law):
    drawn = sample(draw(law, 60, 8))
    best = LAWS[law].estimate(drawn)
    likelihood = LAWS[law].likelihood(drawn)
    inward = {"uniform": [(1e-3, 0.0), (0.0, -1e-3)]}.get(law)
    steps = inward or [1e-3 * sign * unit for unit in np.eye(len(best)) for sign in (-1.0, 1.0)]

    if law == "uniform":  # a range that a value lies outside of has no likelihood; a wider one has less
        assert best == (drawn.seen[0], drawn.seen[-1])
        assert likelihood((best[0] - 0.1, best[1])) < likelihood(best)
        return
    for step in steps:
        near = tuple(np.array(best) * (1.0 + step))
        with np.errstate(invalid="ignore", divide="ignore"):
            assert not likelihood(near) > likelihood(best) + 1e-6


@pytest.mark.parametrize("law", ["gamma", "lognormal"])
def test_closed_estimates_are_those_of_a_search(law):
    drawn = sample(draw(law, 80, 5))

    assert LAWS[law].estimate(drawn) == pytest.approx(highest(LAWS[law].likelihood(drawn), (4.0, 1.0)), rel=1e-4)


# --- intervals ---


def test_interval_of_an_exponential_mean():
    """Where twice the log-likelihood ratio, worked out by hand, is as far as it may."""
    drawn = sample(np.array([1.0, 2.0, 3.0, 6.0]))
    interval = profile_interval(LAWS["exponential"].likelihood(drawn), (3.0,), 0, 4, 0.95)
    allowed = 4.0 * np.log1p(stats.t.ppf(0.975, 3) ** 2 / 3.0)

    for end in (interval.low, interval.high):
        assert 8.0 * (np.log(end / 3.0) + 3.0 / end - 1.0) == pytest.approx(allowed, rel=1e-3)
    assert interval.low < interval.mean == 3.0 < interval.high


def test_interval_of_the_mean_of_logarithms_is_students():
    """The likelihood of a normal mean with its spread unknown: there the interval is exact."""
    logs = np.array([1.0, 1.5, 1.75, 2.5, 3.0])

    def likelihood(parameters):
        mean, deviation = parameters
        return -logs.size * np.log(deviation) - np.sum((logs - mean) ** 2) / (2.0 * deviation**2)

    best = (float(np.mean(logs)), float(np.std(logs)))
    interval = profile_interval(likelihood, best, 0, 5, 0.9)
    half = stats.t.ppf(0.95, 4) * np.std(logs, ddof=1) / np.sqrt(5)

    assert interval == pytest.approx((best[0], best[0] - half, best[0] + half), rel=1e-3)


def test_an_interval_may_be_open():
    """A likelihood that never falls to one side; one value says nothing."""
    assert profile_interval(lambda p: -1.0 / p[0], (1e6,), 0, 10, 0.95).high == np.inf
    assert profile_interval(lambda p: -p[0], (1e-6,), 0, 10, 0.95, 1e-9).low == 1e-9
    assert np.isnan(profile_interval(lambda p: -p[0], (1.0,), 0, 1, 0.95).low)


@pytest.mark.parametrize(
    ("law", "count", "cut_h"),
    [
        ("exponential", 8, None),
        ("exponential", 60, 12.0),
        ("gamma", 12, None),
        ("lognormal", 12, None),
        pytest.param("gamma", 60, 12.0, marks=pytest.mark.slow),
        pytest.param("lognormal", 60, 12.0, marks=pytest.mark.slow),
    ],
)
def test_intervals_hold_the_truth_as_often_as_stated(law, count, cut_h):
    """In 200 samples 95 % of the time, give or take three standard errors; with about 30 % cut off as well."""
    random, hits, cut = np.random.default_rng(21), np.zeros(len(TRUE[law])), []
    for _ in range(200):
        values = LAWS[law].quantile(random.random(count), *TRUE[law])
        ends = np.full(count, np.inf) if cut_h is None else random.exponential(cut_h, count)
        drawn = Sample(np.sort(values[values <= ends]), np.sort(ends[values > ends]))
        best, likelihood = LAWS[law].estimate(drawn), LAWS[law].likelihood(drawn)
        cut.append(drawn.cut.size / count)
        for which, true in enumerate(TRUE[law]):
            interval = profile_interval(likelihood, best, which, drawn.events, 0.95)
            hits[which] += interval.low <= true <= interval.high

    assert np.mean(cut) == pytest.approx(0.3 if cut_h else 0.0, abs=0.06)
    assert np.all(np.abs(hits / 200 - 0.95) < 0.047), hits / 200


def test_what_is_cut_off_leaves_no_bias():
    """Means over 60 samples of 100, 30 % of them cut off, within three standard errors; left out they do harm."""
    random, found, left_out = np.random.default_rng(4), [], []
    for _ in range(60):
        values, ends = LAWS["gamma"].quantile(random.random(100), 5.0, 0.6), random.exponential(12.0, 100)
        drawn = Sample(np.sort(values[values <= ends]), np.sort(ends[values > ends]))
        found.append(LAWS["gamma"].estimate(drawn))
        left_out.append(LAWS["gamma"].estimate(Sample(drawn.seen, NONE))[0])
    errors = np.std(found, axis=0, ddof=1) / np.sqrt(60)

    assert np.all(np.abs(np.mean(found, axis=0) - [5.0, 0.6]) < 3.0 * errors + [0.0, 0.01])
    assert np.all(errors < [0.08, 0.01])
    assert np.mean(left_out) < 4.5


# --- tests of laws ---


def test_distance_against_the_usual_sum():
    """Anderson and Darling's formula, of values that are all seen."""
    values = draw("gamma", 30, 2)
    u = np.sort(OTHERS["gamma"].cdf(values))
    weights = 2.0 * np.arange(1, 31) - 1.0
    usual = -30.0 - np.mean(weights * (np.log(u) + np.log1p(-u[::-1])))

    assert distance(LAWS["gamma"], TRUE["gamma"], sample(values)) == pytest.approx(usual)


def test_distance_of_cut_off_values():
    """By the integral: of a curve up to the longest value, cut off at 3."""
    drawn = Sample(np.array([1.0, 2.0]), np.array([3.0]))
    u = np.linspace(0.0, 1.0, 400_001)[1:-1]
    u = u[u < 1.0 - np.exp(-3.0 / 2.0)]
    curve = np.select([u < 1.0 - np.exp(-0.5), u < 1.0 - np.exp(-1.0)], [0.0, 1.0 / 3.0], 2.0 / 3.0)
    integral = 3.0 * np.sum((curve - u) ** 2 / (u * (1.0 - u))) / 400_000

    assert distance(LAWS["exponential"], (2.0,), drawn) == pytest.approx(integral, rel=1e-3)


def test_distance_of_rounded_values():
    """By the edges between what is rounded up and down: 1, 1, 2 under an exponential law of mean 1."""
    drawn = Sample(np.array([1.0, 1.0, 2.0]), NONE, Grid(1.0, coarse=True))
    below = 1.0 - np.exp(-1.5)

    assert distance(LAWS["exponential"], (1.0,), drawn) == pytest.approx(
        3.0 * (2.0 / 3.0 - below) ** 2 * below / (below * (1.0 - below))
    )


@pytest.mark.parametrize(
    ("law", "grid", "cut"), [("gamma", None, None), ("lognormal", 0.5, None), ("exponential", None, 12.0)]
)
def test_p_values_are_even_under_the_law(law, grid, cut):
    """Of 60 samples of 40, by Kolmogorov and Smirnov's test at 0.1 %; the same seed gives the same p."""
    random, found = np.random.default_rng(6), []
    for number in range(60):
        values = LAWS[law].quantile(random.random(40), *TRUE[law])
        ends = np.full(40, np.inf) if cut is None else random.exponential(cut, 40)
        shown = values if grid is None else rounded(values, grid)
        drawn = Sample(np.sort(shown[values <= ends]), np.sort(ends[values > ends]), grid and Grid(grid, coarse=False))
        best = LAWS[law].fitted(drawn)
        found.append(judged(LAWS[law], best, drawn, 99, number).p)
    assert stats.kstest(found, "uniform").pvalue > 0.001
    assert judged(LAWS[law], best, drawn, 99, 59).p == found[-1]


def test_coarse_rounding_leaves_no_bias():
    """Minutes rounded to five of a mean of five: what a law's cells hold decides, not their middles."""
    found, taken_as_they_are = [], []
    for seed in range(30):
        values = rounded(draw("lognormal", 200, seed), 5.0)
        found.append(LAWS["lognormal"].fitted(Sample(np.sort(values), NONE, Grid(5.0, coarse=True))))
        taken_as_they_are.append(LAWS["lognormal"].estimate(sample(values))[1])
    errors = np.std(found, axis=0, ddof=1) / np.sqrt(30)

    assert np.all(np.abs(np.mean(found, axis=0) - [5.0, 0.6]) < 3.0 * errors)
    assert np.mean(taken_as_they_are) > 0.65


# --- the choice ---


@pytest.mark.parametrize("law", DURATIONS)
def test_the_law_that_was_drawn_is_chosen(law):
    """In two of three lists of 400 or more, and most intervals hold what it was drawn with."""
    fits = [fit(draw(law, 400, seed), seed=seed) for seed in range(3)]
    chosen = [found for found in fits if found.law == law]

    assert len(chosen) >= 2
    inside = [
        interval.low <= true <= interval.high
        for found in chosen
        for interval, true in zip(found.parameters.values(), TRUE[law], strict=True)
    ]
    assert np.mean(inside) > 0.6
    assert all(list(found.parameters) == list(KEYS[law]) and not found.few for found in chosen)


def test_candidates_are_in_order():
    """The one of the least criterion first; only those near it are tested."""
    found = fit(draw("gamma", 400, 1))
    criteria = [each.criterion for each in found.candidates]
    tried = {each.law: each for each in found.candidates}

    assert criteria == sorted(criteria)
    assert {law for law, each in tried.items() if np.isfinite(each.p)} == {"gamma"} == {found.law}
    assert tried["gamma"].criterion == pytest.approx(2.0 * np.log(400) - 2.0 * tried["gamma"].log_likelihood)
    assert found.chosen is found.drawn_law is tried["gamma"]
    assert found.mean == found.parameters["mean"]
    assert tried["gamma"].p >= 1.0 / (DRAWS + 1)


def test_no_law_fits():
    """What was measured stands as it is, with an interval of its mean; the best law can be drawn."""
    values = np.concatenate([draw("gamma", 100, 1) / 5.0, 20.0 + draw("gamma", 60, 2) / 5.0])
    found = fit(values)

    assert (found.law, found.parameters, found.chosen) == ("observed", {}, None)
    assert found.observed == pytest.approx(np.sort(values))
    assert found.mean.low < np.mean(values) == found.mean.mean < found.mean.high
    assert found.drawn_law == found.candidates[0]
    assert found.mixture is not None


def test_few_values():
    """Below 30 it says so, at 30 no more."""
    assert [fit(draw("gamma", count, 1)).few for count in (FEW - 1, FEW)] == [True, False]


@pytest.mark.parametrize(
    ("values", "censored", "law", "mean"),
    [
        ([], None, "nothing", (np.nan,) * 3),
        ([5.0], None, "fixed", (5.0, np.nan, np.nan)),
        ([0.0] * 6, None, "fixed", (0.0, 0.0, 0.0)),
        ([4.0] * 6, None, "fixed", (4.0, 4.0, 4.0)),
        ([4.0] * 5 + [3.0], [False] * 5 + [True], "fixed", (4.0, 4.0, 4.0)),
        ([4.0] * 5 + [9.0], [False] * 5 + [True], "observed", (4.0, np.nan, np.nan)),
        ([4.0, 5.0], [True, True], "nothing", (np.nan,) * 3),
        ([1.0, 2.0, 3.0], None, "observed", None),
        ([0.0, 1.0] * 20, None, "observed", None),
    ],
)  # fmt: skip
def test_values_of_no_law(values, censored, law, mean):
    """None, one, all the same, only cut off ones, too few."""
    found = fit(values, censored=censored)

    assert found.law == law
    if mean is not None:
        assert found.mean == pytest.approx(mean, nan_ok=True)
    assert found.parameters == ({"fixed": found.mean} if law == "fixed" else {})
    assert found.outliers == ()
    assert found.seen + np.sum(found.censored) == len(values)
    assert found.observed.size == (0 if law == "nothing" else len(values))
    assert found.quantile_points()[0].size == 0
    assert np.all(np.isnan(found.below(np.array([1.0]))))


def test_zeros():
    """By rounding they are small; otherwise no law of positive values is tried."""
    minutes = fit(np.rint(draw("gamma", 200, 3)))
    some = fit([0.0] * 8 + draw("gamma", 30, 3).tolist())

    assert (minutes.law, minutes.rounded_to, minutes.zeros > 0) == ("gamma", 1.0, True)
    assert (some.zeros, some.rounded_to, some.outliers) == (8, None, ())
    assert {each.law for each in some.candidates} == {"exponential", "uniform", "triangular"}


@pytest.mark.parametrize(
    ("values", "grid"),
    [
        ([3.0, 4.0, 4.0, 7.0], Grid(1.0, coarse=True)),
        ([30.0, 45.0, 90.0], Grid(15.0, coarse=True)),
        ([1.0, 1.5, 4.25, 8.0, 9.0], Grid(0.25, coarse=False)),
        ([1.0, 1.01, 4.25, 8.0], None),
        ([2.0, 2.0], None),
        ([], None),
    ],
)
def test_rounding_is_seen(values, grid):
    assert grid_of(np.array(values)) == grid


def test_cut_off_values_take_laws_without_limits():
    values, ends = draw("gamma", 200, 2), np.random.default_rng(3).exponential(12.0, 200)
    found = fit(np.minimum(values, ends), censored=values > ends)

    assert found.law == "gamma"
    assert found.parameters["mean"].low < 5.0 < found.parameters["mean"].high
    assert not {"uniform", "triangular"} & {each.law for each in found.candidates}
    assert np.mean(found.observed) > np.mean(found.values[~found.censored])


def test_shares_and_powers():
    depth, power = fit(draw("beta", 150, 2), candidates="share"), fit(draw("lognormal", 150, 1), candidates="amount")

    assert (depth.law, power.law) == ("beta", "lognormal")
    assert depth.parameters["mean"].low < 0.3 < depth.parameters["mean"].high
    assert depth.outliers == power.outliers == ()


def test_many_values_are_tested_by_some():
    """All of them make the parameters, 2,000 the test: it does not refuse what is too small to matter."""
    values = np.concatenate([draw("gamma", 20_000, 1), [40.0] * 3])
    found = fit(values, candidates=AMOUNTS)

    assert values.size > 10 * MOST_TESTED
    assert (found.law, found.mean.mean) == ("gamma", pytest.approx(np.mean(values)))
    assert found.outliers == (40.0, 40.0, 40.0)


def test_the_same_seed_gives_the_same_answer():
    values = draw("lognormal", 60, 1)
    one, two = (fit(values, seed=7) for _ in range(2))

    assert (one.candidates, one.parameters) == (two.candidates, two.parameters)


def test_points_to_draw():
    """Thinned evenly, ends kept; the curve runs from the least to the greatest value."""
    found = fit(draw("gamma", 900, 1), candidates=("gamma",))
    steps, (law, measured), (at, share) = found.steps(50), found.quantile_points(50), found.curve(11)

    assert (steps.at.size, law.size, at.size) == (50, 50, 11)
    assert (steps.at[0], steps.at[-1]) == (at[0], at[-1]) == (found.values.min(), found.values.max())
    assert found.below(law) == pytest.approx(steps.middle)
    assert np.array_equal(measured, steps.at)
    assert share == pytest.approx(found.below(at))


def test_messages():
    laws = "exponential, lognormal, gamma, hyperexponential, uniform, triangular, beta"
    for candidates in ("times", ("times",)):
        with says(f"candidates must be of duration, amount, share, {laws} (got times)"):
            fit([1.0], candidates=candidates)
    with says("values must be finite and 0 or more"):
        fit([1.0, -1.0])
    with says("values must be finite and 0 or more"):
        fit([1.0, np.nan])
    with says("there must be a mark for each value (got 1 for 2)"):
        fit([1.0, 2.0], censored=[True])
    with says("confidence must be above 0 and below 1 (got 95)"):
        fit([1.0], confidence=95)


@pytest.mark.slow
@pytest.mark.parametrize("law", DURATIONS)
def test_recovery(law):
    """Of 100 lists of 400 most give the law, and its intervals hold what was drawn from nine times in ten."""
    fits = [fit(draw(law, 400, 1000 + seed), seed=seed) for seed in range(100)]
    chosen = [found for found in fits if found.law == law]
    inside = [
        interval.low <= true <= interval.high
        for found in chosen
        for interval, true in zip(found.parameters.values(), TRUE[law], strict=True)
    ]

    assert len(chosen) >= 85
    assert np.mean(inside) >= 0.9
    assert sum(bool(found.outliers) for found in fits) <= 8
    assert sum(found.mixture is not None for found in fits) <= 2


def test_intervals_of_limits_hold_the_truth():
    """In 40 lists of 50 about as often as stated; the estimate is an end of them."""
    fits = [fit(draw("uniform", 50, seed), candidates=("uniform",), confidence=0.9) for seed in range(40)]
    found = [each for each in fits if each.law == "uniform"]
    low, high = ([each.parameters[key] for each in found] for key in ("low", "high"))

    assert len(found) > 32
    assert 0.8 < np.mean([limit.low <= 2.0 for limit in low]) < 1.0
    assert 0.8 < np.mean([limit.high >= 6.0 for limit in high]) < 1.0
    assert all(limit.low < limit.mean <= limit.high for limit in low)
    assert all(limit.low <= limit.mean < limit.high for limit in high)
