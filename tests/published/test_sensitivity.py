"""Designs, sensitivity indices and the split of variance against theory, textbooks and two libraries."""

from itertools import permutations, product

import numpy as np
import pytest
from SALib.analyze import morris as morris_reference
from SALib.analyze import sobol as sobol_reference
from SALib.test_functions import Ishigami, Sobol_G
from scipy import stats

from batsim.statistics.designs import MorrisDesign, latin_hypercube, morris, sobol
from batsim.statistics.indices import morris_effects, rank_correlations, sobol_indices
from batsim.statistics.variance import split_variance

CONFIDENCE = 0.999
LIBRARY = "SALib 1.6, a library for sensitivity analysis (BSD licence)"


def _ishigami(points, a, b):
    """Ishigami's function of points in the unit cube."""
    x = np.pi * (2.0 * points - 1.0)
    return np.sin(x[:, 0]) + a * np.sin(x[:, 1]) ** 2 + b * x[:, 2] ** 4 * np.sin(x[:, 0])


def _ishigami_indices(a, b):
    """First-order and total indices and the variance in closed form."""
    first = np.array([(1.0 + b * np.pi**4 / 5.0) ** 2 / 2.0, a**2 / 8.0, 0.0])
    both = 8.0 * b**2 * np.pi**8 / 225.0
    variance = first.sum() + both
    return first / variance, (first + both * np.array([1.0, 0.0, 1.0])) / variance, variance


def _hold(estimates, expected, widest):
    """Every interval holds its value and is narrow."""
    assert (estimates.low <= expected).all()
    assert (expected <= estimates.high).all()
    assert ((estimates.high - estimates.low) / 2.0 <= widest).all()


# --- Latin hypercube ---


@pytest.mark.published(
    source="McKay, M. D., Beckman, R. J. & Conover, W. J. (1979) Technometrics 21, 239-245",
    where="one point in each stratum; its exact variance d/(12 n³) worked out here",
)
@pytest.mark.parametrize(
    ("points", "factors", "exact", "random"),
    [
        (10, 3, 0.00025, 0.025),
        pytest.param(25, 2, 2 / 187_500, 2 / 300, marks=pytest.mark.slow),
        pytest.param(4, 6, 6 / 768, 6 / 48, marks=pytest.mark.slow),
    ],
)
def test_a_latin_hypercube_has_one_point_per_stratum_and_its_exact_variance(points, factors, exact, random):
    """Sum of the coordinates, 20,000 designs: variance of the mean within 3 %, 1/n² of that of random points."""
    designs = np.array([latin_hypercube(points, factors, seed) for seed in range(20_000)])

    strata = np.sort(np.floor(points * designs), axis=1)
    assert (strata == np.arange(points)[None, :, None]).all()
    means = designs.sum(axis=2).mean(axis=1)
    assert np.var(means) == pytest.approx(exact, rel=0.03)
    assert random / np.var(means) == pytest.approx(points**2, rel=0.03)
    assert np.mean(means) == pytest.approx(factors / 2.0, abs=4.0 * np.sqrt(exact / 20_000))


# --- Sobol indices: Ishigami's function ---

ISHIGAMI = {
    0.1: ([0.3139051911, 0.4424111448, 0.0], [0.5575888552, 0.4424111448, 0.2436836641], 13.84458794),
    0.05: ([0.2185185644, 0.6868946436, 0.0], [0.3131053564, 0.6868946436, 0.09458679192], 8.91694244),
}
"""First-order and total indices and variance at a = 7, by b; for b = 0.1 also in print as .3139 .4424 0, .5576 .4424
.2437."""

ISHIGAMI_SOURCE = {
    "source": "Ishigami, T. & Homma, T. (1990); closed form on a library's documentation page",
    "where": "V1 = (1 + b pi^4/5)²/2, V2 = a²/8, V13 = 8 b² pi^8/225",
}


@pytest.mark.published(**ISHIGAMI_SOURCE)
@pytest.mark.parametrize(("b", "first", "total", "variance"), [(b, *numbers) for b, numbers in ISHIGAMI.items()])
def test_ishigami_within_a_hundredth(b, first, total, variance):
    """8192 base points under 20 seeds: each index within 0.01 in all but one, their means within 0.002."""
    assert _ishigami_indices(7.0, b)[0] == pytest.approx(np.array(first), abs=1e-9)
    assert _ishigami_indices(7.0, b)[1] == pytest.approx(np.array(total), abs=1e-9)
    found = []
    for seed in range(20):
        design = sobol(8192, 3, seed)
        each = sobol_indices(design, _ishigami(design.rows, 7.0, b), confidence=CONFIDENCE, seed=1, resamples=1)
        found.append([*each.first.value, *each.total.value, each.variance / variance])

    error = np.abs(np.array(found) - [*first, *total, 1.0])
    assert np.count_nonzero(error.max(axis=1) > 0.01) <= 1
    assert np.mean(found, axis=0) == pytest.approx([*first, *total, 1.0], abs=0.002)


@pytest.mark.published(**ISHIGAMI_SOURCE)
@pytest.mark.parametrize(("a", "b"), [(7.0, 0.1), (7.0, 0.05), (2.0, 0.2), (5.0, 0.0)])
def test_ishigami_lies_in_the_bootstrap_intervals(a, b):
    design = sobol(8192, 3, seed=2)

    found = sobol_indices(design, _ishigami(design.rows, a, b), confidence=CONFIDENCE, seed=1)

    first, total, variance = _ishigami_indices(a, b)
    _hold(found.first, first, 0.06)
    _hold(found.total, total, 0.08)
    assert found.first.value == pytest.approx(first, abs=0.01)
    assert found.total.value == pytest.approx(total, abs=0.01)
    assert found.variance == pytest.approx(variance, rel=0.01)


# --- Sobol indices: the g-function ---


@pytest.mark.published(source=LIBRARY, where="test_functions.Sobol_G: the function and its indices in closed form")
@pytest.mark.parametrize(
    "a",
    [[0.0, 1.0, 4.5, 9.0, 99.0, 99.0, 99.0, 99.0], [0.5, 0.5, 0.5], [2.0, 20.0, 0.0, 6.5, 1.0]],
    ids=["eight", "three alike", "five"],
)
def test_the_g_function_lies_in_the_bootstrap_intervals(a):
    design = sobol(4096, len(a), seed=4)

    found = sobol_indices(design, Sobol_G.evaluate(design.rows, np.array(a)), confidence=CONFIDENCE, seed=1)

    _hold(found.first, Sobol_G.sensitivity_index(a), 0.07)
    _hold(found.total, Sobol_G.total_sensitivity_index(a), 0.10)


# --- the same numbers from two libraries ---


def _functions():
    return {
        "ishigami": (3, lambda u: Ishigami.evaluate(np.pi * (2.0 * u - 1.0))),
        "g": (8, Sobol_G.evaluate),
        "far from zero": (4, lambda u: 1000.0 + u @ [1.0, 2.0, 3.0, 0.0] + u[:, 0] * u[:, 3]),
    }


@pytest.mark.published(source=LIBRARY, where="analyze.sobol, its rows are A, AB_1 ... AB_d, B for each base point")
@pytest.mark.parametrize("name", ["ishigami", "g", "far from zero"])
def test_sobol_indices_equal_those_of_the_sensitivity_library(name):
    """Total indices to rounding; first-order ones up to its centring about all rows, which is worked out here."""
    factors, function = _functions()[name]
    design = sobol(512, factors, seed=3)
    outputs = function(design.rows)
    parts = design.split(outputs)
    problem = {"num_vars": factors, "names": list("abcdefgh")[:factors], "bounds": [[0.0, 1.0]] * factors}
    theirs = np.concatenate([parts.a[None], parts.ab, parts.b[None]]).T.ravel()

    expected = sobol_reference.analyze(
        problem, theirs, calc_second_order=False, num_resamples=1000, conf_level=0.95, seed=1
    )
    found = sobol_indices(design, outputs, confidence=0.95, seed=1)

    assert found.total.value == pytest.approx(expected["ST"], rel=1e-9, abs=1e-12)
    shift = outputs.mean() - np.concatenate([parts.a, parts.b]).mean()
    centring = shift * np.mean(parts.ab - parts.a, axis=1) / found.variance
    assert found.first.value == pytest.approx(expected["S1"] + centring, rel=1e-9, abs=1e-9)
    assert np.abs(centring).max() < 0.01
    for index, half in ((found.first, expected["S1_conf"]), (found.total, expected["ST_conf"])):
        assert (index.high - index.low) / 2.0 == pytest.approx(half, rel=0.2, abs=0.001)


@pytest.mark.published(source="scipy.stats", where="sobol_indices, Saltelli (2010), from the same outputs")
@pytest.mark.parametrize("name", ["ishigami", "g", "far from zero"])
def test_sobol_indices_equal_those_of_scipy(name):
    factors, function = _functions()[name]
    design = sobol(512, factors, seed=3)
    parts = design.split(np.column_stack([function(design.rows), -2.0 * function(design.rows) + 1.0]))

    expected = stats.sobol_indices(
        func={"f_A": parts.a.T, "f_B": parts.b.T, "f_AB": np.moveaxis(parts.ab, 2, 1)}, n=512, method="saltelli_2010"
    )
    found = sobol_indices(design, np.concatenate([parts.a, parts.b, *parts.ab]), confidence=0.95, seed=1, resamples=10)

    np.testing.assert_allclose(found.first.value.T, expected.first_order, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(found.total.value.T, expected.total_order, rtol=1e-9, atol=1e-12)


# --- elementary effects ---

MORRIS = {
    "source": "Morris, M. D. (1991) Technometrics 33, 161-174; Campolongo et al. (2007) for mu* (from memory)",
    "where": "f = 1 + 2 x1 - 3 x2 + 4 x1 x3, 4 levels: mu (4, -3, 2), sigma (1.490712, 0, 1.490712); worked out here",
}
MU, MU_STAR, SIGMA = [4.0, -3.0, 2.0, 0.0], [4.0, 3.0, 2.0, 0.0], [1.490711985, 0.0, 1.490711985, 0.0]


def _with_product(x):
    return 1.0 + 2.0 * x[:, 0] - 3.0 * x[:, 1] + 4.0 * x[:, 0] * x[:, 2]


@pytest.mark.published(**MORRIS)
def test_all_trajectories_of_the_grid_give_the_exact_effects():
    """2^3 lower ends, 2^3 directions and 6 orders, each once."""
    levels, order = [], []
    for lower, falls, moves in product(product([0, 1], repeat=3), product([0, 1], repeat=3), permutations(range(3))):
        at = [low + 2 * fall for low, fall in zip(lower, falls, strict=True)]
        walk = [list(at)]
        for factor in moves:
            at[factor] += -2 if falls[factor] else 2
            walk.append(list(at))
        levels.append(walk)
        order.append(moves)
    design = MorrisDesign(np.array(levels) / 3.0, np.array(order), levels=4)

    found = morris_effects(design, _with_product(design.rows), 0.95)

    assert found.mu == pytest.approx(MU[:3], abs=1e-12)
    assert found.mu_star.value == pytest.approx(MU_STAR[:3], abs=1e-12)
    assert found.sigma * np.sqrt(383.0 / 384.0) == pytest.approx(SIGMA[:3], abs=1e-9)


@pytest.mark.published(**MORRIS)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_random_trajectories_agree_with_the_known_effects(seed):
    """2000 trajectories, a fourth factor that is not in f: within 3 standard errors, the linear factor exactly."""
    design = morris(2000, 4, 4, seed)

    found = morris_effects(design, _with_product(design.rows), CONFIDENCE)

    error = np.array(SIGMA) / np.sqrt(2000.0)
    assert (np.abs(found.mu - MU) <= 3.0 * error + 1e-12).all()
    assert (found.mu_star.low - 1e-12 <= MU_STAR).all()
    assert (found.mu_star.high + 1e-12 >= MU_STAR).all()
    assert (found.mu_star.high - found.mu_star.low).max() / 2.0 < 0.12
    assert found.sigma == pytest.approx(SIGMA, rel=0.03, abs=1e-12)
    assert (found.mu[1], found.mu_star.value[1], found.sigma[1]) == pytest.approx((-3.0, 3.0, 0.0), abs=1e-12)
    assert (found.mu_star.value[3], found.sigma[3]) == (0.0, 0.0)


@pytest.mark.published(source=LIBRARY, where="analyze.morris on the same trajectories")
@pytest.mark.parametrize("levels", [4, 8])
@pytest.mark.parametrize("name", ["ishigami", "g", "far from zero"])
def test_elementary_effects_equal_those_of_the_sensitivity_library(name, levels):
    factors, function = _functions()[name]
    design = morris(40, factors, levels, seed=8)
    outputs = function(design.rows)
    problem = {"num_vars": factors, "names": list("abcdefgh")[:factors], "bounds": [[0.0, 1.0]] * factors}

    expected = morris_reference.analyze(problem, design.rows, outputs, num_levels=levels, conf_level=0.95, seed=1)
    found = morris_effects(design, outputs, 0.95)

    assert found.mu == pytest.approx(np.array(expected["mu"]), rel=1e-9, abs=1e-9)
    assert found.mu_star.value == pytest.approx(np.array(expected["mu_star"]), rel=1e-9, abs=1e-9)
    assert found.sigma == pytest.approx(np.array(expected["sigma"]), rel=1e-9, abs=1e-9)


# --- rank correlations ---


@pytest.mark.published(source="scipy.stats", where="spearmanr, with and without ties")
@pytest.mark.parametrize("steps", [None, 4])
def test_rank_correlations_equal_those_of_scipy(steps):
    generator = np.random.default_rng(12)
    x = generator.random((60, 3))
    y = np.column_stack([x[:, 0] - x[:, 1] ** 2 + 0.3 * generator.random(60), generator.random(60)])
    x, y = (x, y) if steps is None else (np.floor(steps * x), np.round(steps * y))

    found = rank_correlations(x, y, 0.95)

    for factor in range(3):
        for measure in range(2):
            expected = stats.spearmanr(x[:, factor], y[:, measure]).statistic
            assert found.value[factor, measure] == pytest.approx(expected, rel=1e-9)


# --- split of variance ---


@pytest.mark.published(source="scipy.stats", where="f_oneway: F = MB/MW; the limits are where the F test turns")
@pytest.mark.parametrize("confidence", [0.8, 0.95])
def test_the_limits_of_the_share_are_where_the_f_test_turns(confidence):
    """At a share s, F/(1 + n s/(1 - s)) follows F: its tail at each limit is half of what the confidence leaves."""
    generator = np.random.default_rng(3)
    values = generator.normal(0.0, 1.5, (9, 1)) + generator.normal(0.0, 1.0, (9, 4))

    share = split_variance(values, confidence).input_share

    ratio = stats.f_oneway(*values).statistic
    for limit, tail in ((share.low, (1.0 - confidence) / 2.0), (share.high, (1.0 + confidence) / 2.0)):
        assert stats.f.sf(ratio / (1.0 + 4.0 * limit / (1.0 - limit)), 8, 27) == pytest.approx(tail, rel=1e-8)
