"""Sensitivity indices and the split of variance: small cases by hand, failed outputs, shapes, messages."""

import re

import numpy as np
import pytest

from batsim.statistics import indices
from batsim.statistics.designs import MorrisDesign, SobolDesign, latin_hypercube, morris, sobol
from batsim.statistics.indices import morris_effects, rank_correlations, sobol_indices, tornado
from batsim.statistics.intervals import student_interval
from batsim.statistics.variance import split_variance


def _whole(message):
    return f"^{re.escape(message)}$"


def _same(found, expected):
    """Equal number by number, nan to nan."""
    return np.testing.assert_allclose(np.asarray(found, dtype=float), expected, rtol=1e-12, atol=1e-14)


# --- elementary effects ---

BY_HAND = MorrisDesign(
    np.array([[[0.0, 1.0], [0.0, 0.0], [1.0, 0.0]], [[1.0, 0.0], [0.0, 0.0], [0.0, 1.0]]]),
    np.array([[1, 0], [0, 1]]),
    levels=2,
)
"""Two trajectories: factor 1 falls, then 0 rises; factor 0 falls, then 1 rises. Step 1."""


def test_effects_by_hand():
    """First factor: 9-4 = 5 and -(2-8) = 6; second: -(4-1) = -3 and 7-2 = 5."""
    found = morris_effects(BY_HAND, np.array([1.0, 4.0, 9.0, 8.0, 2.0, 7.0]), 0.95)

    _same(found.mu, [5.5, 1.0])
    _same(found.mu_star.value, [5.5, 4.0])
    _same(found.sigma, [np.sqrt(0.5), np.sqrt(32.0)])
    student = student_interval(np.array([5.0, 6.0]), 0.95)
    _same([found.mu_star.low[0], found.mu_star.high[0]], [max(0.0, student.low), student.high])
    assert found.mu_star.low[1] == 0.0


def test_failed_outputs_cost_the_effects_next_to_them():
    found = morris_effects(BY_HAND, np.array([1.0, 4.0, np.inf, np.nan, 2.0, 7.0]), 0.95)

    _same(found.mu, [np.nan, 1.0])
    _same(found.mu_star.value, [np.nan, 4.0])
    _same(found.sigma, [np.nan, np.sqrt(32.0)])
    _same([found.mu_star.low[0], found.mu_star.high[0]], [np.nan, np.nan])


def test_a_single_effect_has_no_limits():
    found = morris_effects(BY_HAND, np.array([1.0, 4.0, 9.0, np.nan, 2.0, 7.0]), 0.95)

    _same([found.mu[0], found.mu_star.value[0]], [5.0, 5.0])
    _same([found.sigma[0], found.mu_star.low[0], found.mu_star.high[0]], [np.nan] * 3)


def test_effects_of_several_measures_are_those_of_each():
    design = morris(12, 3, 4, seed=4)
    x = design.rows
    table = np.column_stack([x[:, 0] * x[:, 1], x[:, 2] ** 2, np.full(len(x), 3.0)])

    together = morris_effects(design, table, 0.9)

    assert together.mu.shape == together.sigma.shape == (3, 3)
    for measure in range(3):
        alone = morris_effects(design, table[:, measure], 0.9)
        _same(together.mu[:, measure], alone.mu)
        _same(together.sigma[:, measure], alone.sigma)
        for part, other in zip(together.mu_star, alone.mu_star, strict=True):
            _same(part[:, measure], other)
    _same(together.mu_star.high[:, 2], [0.0] * 3)


# --- Sobol indices ---


def _plain(count, factors, seed):
    """Independent uniform points instead of balanced ones."""
    generator = np.random.default_rng(seed)
    return SobolDesign(generator.random((count, factors)), generator.random((count, factors)))


def test_indices_by_hand():
    """A = 1, 3; B = 5, 7: mean 4, variance 5. First: ((5-4)(5-1) + (7-4)(1-3))/2/5; total: (16 + 4)/4/5."""
    design = SobolDesign(np.array([[0.1], [0.3]]), np.array([[0.5], [0.7]]))

    found = sobol_indices(design, np.array([1.0, 3.0, 5.0, 7.0, 5.0, 1.0]), confidence=0.95, seed=1)

    assert found.variance == pytest.approx(5.0)
    _same(found.first.value, [-0.2])
    _same(found.total.value, [1.0])


def test_the_level_and_the_unit_of_an_output_do_not_matter():
    design = sobol(64, 3, seed=1)
    x = design.rows
    output = x[:, 0] + x[:, 1] * x[:, 2]

    found = sobol_indices(design, np.column_stack([output, 1e6 - 50.0 * output]), confidence=0.95, seed=1)

    for part in (*found.first, *found.total):
        assert part[:, 1] == pytest.approx(part[:, 0], abs=1e-7)


def test_failed_outputs_cost_their_base_point():
    """As if the base point had never been there; the other measure keeps it."""
    design, without = _plain(40, 2, seed=1), np.delete(np.arange(40), [3, 8, 20, 31])
    whole = design.rows[:, 0] + design.rows[:, 1] ** 2
    failed = whole.copy()
    failed[[3, 40 + 8, 2 * 40 + 20, 3 * 40 + 31]] = [np.nan, np.inf, np.nan, -np.inf]

    found = sobol_indices(design, np.column_stack([whole, failed]), confidence=0.9, seed=5)

    small = SobolDesign(design.a[without], design.b[without])
    expected = sobol_indices(small, small.rows[:, 0] + small.rows[:, 1] ** 2, confidence=0.9, seed=5)
    _same(found.variance[1], expected.variance)
    for part, other in zip((*found.first, *found.total), (*expected.first, *expected.total), strict=True):
        _same(part[:, 1], other)
    alone = sobol_indices(design, whole, confidence=0.9, seed=5)
    for part, other in zip((*found.first, *found.total), (*alone.first, *alone.total), strict=True):
        _same(part[:, 0], other)


@pytest.mark.parametrize("value", [0.0, 0.1, -1e9])
def test_an_output_that_does_not_vary_has_no_indices(value):
    design = sobol(16, 2, seed=1)
    outputs = value * (1.0 + 1e-15 * design.rows[:, 0])

    found = sobol_indices(design, outputs, confidence=0.95, seed=1)

    assert found.variance == 0.0
    for part in (*found.first, *found.total):
        _same(part, [np.nan, np.nan])


def test_nothing_left_and_one_base_point_left():
    design = sobol(4, 1, seed=1)
    outputs = design.rows[:, 0].copy()
    outputs[:3] = np.nan

    one = sobol_indices(design, outputs, confidence=0.95, seed=1)
    outputs[3] = np.nan
    none = sobol_indices(design, outputs, confidence=0.95, seed=1)

    assert np.isfinite([one.first.value, one.total.value]).all()
    _same([*one.first[1:], *one.total[1:]], np.full((4, 1), np.nan))
    assert np.isnan(none.variance)
    _same([*none.first, *none.total], np.full((6, 1), np.nan))


def test_resamples_that_do_not_vary_are_left_out():
    """One base point of three makes all the variance; a resample without it says nothing."""
    design = _plain(3, 1, seed=1)
    outputs = np.array([0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0])

    found = sobol_indices(design, outputs, confidence=0.95, seed=1, resamples=200)
    only = [sobol_indices(design, outputs, confidence=0.95, seed=seed, resamples=1) for seed in range(40)]

    assert np.isfinite([*found.first, *found.total]).all()
    limits = np.array([each.total.low[0] for each in only])
    assert 0.1 < np.mean(np.isnan(limits)) < 0.5


def test_the_bootstrap_is_that_of_the_estimators(monkeypatch):
    """The estimates of base points drawn anew, one resample after the other; in portions or all at once."""
    design = _plain(20, 2, seed=3)
    outputs = design.rows[:, 0] + 3.0 * design.rows[:, 1] * design.rows[:, 0]

    found = sobol_indices(design, outputs, confidence=0.8, seed=9, resamples=60)
    monkeypatch.setattr(indices, "AT_ONCE", 20 * 15)
    portions = sobol_indices(design, outputs, confidence=0.8, seed=9, resamples=60)

    parts = design.split(outputs)
    first, total = [], []
    for pick in np.random.default_rng(9).integers(20, size=(60, 20)):
        again = np.concatenate([parts.a[pick], parts.b[pick], parts.ab[:, pick].ravel()])
        each = sobol_indices(design, again, confidence=0.8, seed=1, resamples=1)
        first.append(each.first.value)
        total.append(each.total.value)
    _same(found.first[1:], np.quantile(first, [0.1, 0.9], axis=0))
    _same(found.total[1:], np.quantile(total, [0.1, 0.9], axis=0))
    for part, other in zip((*found.first, *found.total), (*portions.first, *portions.total), strict=True):
        _same(part, other)


def test_the_bootstrap_follows_its_seed_and_confidence():
    design = sobol(64, 2, seed=1)
    output = design.rows[:, 0] * (1.0 + design.rows[:, 1])

    narrow, again, other, wide = (
        sobol_indices(design, output, confidence=confidence, seed=seed)
        for confidence, seed in ((0.8, 1), (0.8, 1), (0.8, 2), (0.99, 1))
    )

    assert (narrow.first.low == again.first.low).all()
    assert (narrow.first.low != other.first.low).all()
    assert (wide.total.low < narrow.total.low).all()
    assert (wide.total.high > narrow.total.high).all()


@pytest.mark.parametrize("kind", ["first", "total"])
def test_bootstrap_intervals_hold_as_often_as_they_say(kind):
    """x + 2 y, uniform: shares 1/5 and 4/5; 90 % intervals in 400 studies of 200 random base points."""
    held = []
    for seed in range(400):
        design = _plain(200, 2, seed)
        output = design.rows[:, 0] + 2.0 * design.rows[:, 1]
        index = getattr(sobol_indices(design, output, confidence=0.9, seed=seed, resamples=200), kind)
        held.append((index.low <= [0.2, 0.8]) & (index.high >= [0.2, 0.8]))

    assert np.mean(held, axis=0) == pytest.approx([0.9, 0.9], abs=0.05)


# --- rank correlations ---


def test_rank_correlations_see_order_only():
    """Any rising function of the factor gives 1, any falling one -1; limits as if two neighbours had changed bays."""
    x = latin_hypercube(25, 2, seed=1)

    found = rank_correlations(x, np.column_stack([np.exp(9.0 * x[:, 0]), -(x[:, 1] ** 3)]), 0.95)

    assert found.value.shape == (2, 2)
    _same(np.diag(found.value), [1.0, -1.0])
    assert (found.high[0, 0], found.low[1, 1]) == (1.0, -1.0)
    nearly = 1.0 - 6.0 * 2.0 / (25.0 * 624.0)
    half = 1.959963985 * np.sqrt((1.0 + nearly**2 / 2.0) / 22.0)
    assert found.low[0, 0] == pytest.approx(np.tanh(np.arctanh(nearly) - half), rel=1e-9)
    assert found.low[0, 0] == pytest.approx(-found.high[1, 1], rel=1e-12)


def test_the_interval_by_hand():
    """Ranks 1 3 2 5 4 6 8 7: rho = 1 - 6 x 6/504; z 1.6425, variance (1 + rho²/2)/5, 1.96 standard errors 1.0391."""
    x = np.arange(8.0)[:, None]

    found = rank_correlations(x, np.array([1.0, 3.0, 2.0, 5.0, 4.0, 6.0, 8.0, 7.0]), 0.95)

    rho = 1.0 - 36.0 / 504.0
    half = 1.959963985 * np.sqrt((1.0 + rho**2 / 2.0) / 5.0)
    assert found.value[0] == pytest.approx(rho)
    assert found.low[0] == pytest.approx(np.tanh(np.arctanh(rho) - half), rel=1e-8)
    assert found.high[0] == pytest.approx(np.tanh(np.arctanh(rho) + half), rel=1e-8)


def test_pairs_that_failed_are_left_out():
    x = np.array([[1.0, 9.0], [2.0, 7.0], [np.nan, 8.0], [4.0, 6.0], [5.0, 4.0], [6.0, 5.0], [7.0, 1.0]])
    y = np.array([2.0, 1.0, 3.0, np.nan, 5.0, 4.0, 9.0])

    found = rank_correlations(x, y, 0.9)

    for factor, rows in ((0, [0, 1, 4, 5, 6]), (1, [0, 1, 2, 4, 5, 6])):
        expected = rank_correlations(x[rows][:, [factor]], y[rows], 0.9)
        _same([part[factor] for part in found], [part[0] for part in expected])


def test_what_does_not_vary_has_no_rank_correlation():
    x = np.column_stack([np.arange(6.0), np.full(6, 0.3)])

    found = rank_correlations(x, np.column_stack([np.arange(6.0), np.full(6, 7.0), np.full(6, np.nan)]), 0.95)

    _same(found.value, [[1.0, np.nan, np.nan], [np.nan, np.nan, np.nan]])
    assert np.isnan(found.low).tolist() == np.isnan(found.high).tolist() == np.isnan(found.value).tolist()


def test_three_pairs_have_no_limits():
    found = rank_correlations(np.arange(3.0)[:, None], np.array([1.0, 3.0, 2.0]), 0.95)

    _same([part[0] for part in found], [0.5, np.nan, np.nan])


def test_rank_intervals_hold_about_as_often_as_they_say():
    """Two normal values with correlation 0.6, so that Spearman's is 6/pi asin(0.3); 95 % in 3000 samples of 30."""
    generator, true = np.random.default_rng(4), 6.0 / np.pi * np.arcsin(0.3)
    held = []
    for _ in range(3000):
        x, noise = generator.standard_normal((2, 30))
        found = rank_correlations(x[:, None], 0.6 * x + 0.8 * noise, 0.95)
        held.append(found.low[0] <= true <= found.high[0])

    assert np.mean(held) == pytest.approx(0.95, abs=0.02)


# --- tornado ---


def test_tornado_rows_are_sorted_by_the_length_of_the_bar():
    """The third falls on both sides of the base, so its bar is longer than its ends are apart."""
    rows = tornado(10.0, np.array([9.0, np.nan, 4.0, 8.0]), np.array([10.5, 3.0, 5.0, 13.0]), 0.95)

    assert [row.factor for row in rows] == [2, 3, 0, 1]
    assert [row.swing for row in rows[:3]] == [6.0, 5.0, 1.5]
    assert np.isnan(rows[3].swing)
    assert [row.difference.mean for row in rows[:3]] == [1.0, 5.0, 1.5]
    assert (rows[1].low.mean, rows[1].high.mean) == (-2.0, 3.0)
    assert np.isnan([rows[0].low.low, rows[0].high.high, rows[0].difference.low]).all()


def test_tornado_intervals_are_paired():
    """Replications move together, so the differences vary less than the outputs."""
    base = np.array([10.0, 20.0, 30.0, np.inf])
    low = np.array([base - 1.0, base + np.array([1.0, 2.0, 3.0, 0.0])])
    high = np.array([base + np.array([2.0, 2.0, 2.0, 5.0]), base - 4.0])

    second, first = tornado(base, low, high, 0.9)

    assert (second.factor, first.factor) == (1, 0)
    assert tuple(first.low) == (-1.0, -1.0, -1.0)
    assert tuple(first.difference) == (3.0, 3.0, 3.0)
    _same(second.low, student_interval(np.array([1.0, 2.0, 3.0]), 0.9))
    _same(second.difference, student_interval(np.array([-5.0, -6.0, -7.0]), 0.9))
    assert second.swing == pytest.approx(6.0)


# --- split of variance ---


def test_a_split_by_hand():
    """Means 2, 6, 10: between 2 x 16 = 32, within 2; inputs (32 - 2)/2 = 15, share 15/17, grand mean 32/6."""
    split = split_variance(np.array([[1.0, 3.0], [5.0, 7.0], [9.0, 11.0]]), 0.95)

    assert (split.draws, split.replications) == (3, 2)
    assert split.mean == pytest.approx(6.0)
    assert (split.from_inputs, split.from_noise) == pytest.approx((15.0, 2.0))
    assert split.input_share.mean == pytest.approx(15.0 / 17.0)


def test_draws_with_a_failed_replication_are_left_out():
    values = np.array([[1.0, 3.0], [np.nan, 5.0], [5.0, 7.0], [4.0, np.inf], [9.0, 11.0]])

    split = split_variance(values, 0.95)

    assert split == split_variance(values[[0, 2, 4]], 0.95)


def test_replications_that_differ_more_than_draws_leave_nothing_to_the_inputs():
    split = split_variance(np.array([[1.0, 9.0], [8.0, 2.0], [7.0, 8.0]]), 0.9)

    assert split.from_inputs == 0.0
    assert split.input_share.mean == 0.0
    assert split.input_share.low == 0.0
    assert 0.0 < split.input_share.high < 1.0


def test_equal_draws_leave_all_to_the_noise():
    assert split_variance(np.array([[0.1, 0.3], [0.3, 0.1]]), 0.9).input_share == (0.0, 0.0, 0.0)


@pytest.mark.parametrize("level", [0.1, 7.0, 1e6])
def test_no_noise_leaves_all_to_the_inputs(level):
    split = split_variance(level * np.array([[1.1] * 7, [1.3] * 7, [1.7] * 7]), 0.9)

    assert split.from_noise == 0.0
    assert split.input_share == (1.0, 1.0, 1.0)
    assert split.from_inputs == pytest.approx(level**2 * np.var([1.1, 1.3, 1.7], ddof=1))


@pytest.mark.parametrize("level", [0.0, 0.1, 1e6])
def test_nothing_to_split(level):
    split = split_variance(np.full((4, 3), level), 0.9)

    assert (split.from_inputs, split.from_noise) == (0.0, 0.0)
    assert np.isnan(split.input_share).all()


def test_the_split_finds_known_variances_and_its_interval_holds_as_often_as_it_says():
    """Normal values: inputs 4, noise 6, so a share of 0.4; 1000 studies of 12 draws with 5 replications."""
    generator = np.random.default_rng(6)
    splits = [
        split_variance(generator.normal(0.0, 2.0, (12, 1)) + generator.normal(0.0, 6.0**0.5, (12, 5)), 0.9)
        for _ in range(1000)
    ]

    held = np.mean([each.input_share.low <= 0.4 <= each.input_share.high for each in splits])
    assert held == pytest.approx(0.9, abs=0.03)
    assert np.mean([each.from_noise for each in splits]) == pytest.approx(6.0, rel=0.02)
    assert np.mean([each.from_inputs for each in splits]) == pytest.approx(4.0, rel=0.06)
    of_mean = np.mean([each.from_inputs / 12 + each.from_noise / 60 for each in splits])
    assert of_mean == pytest.approx(np.var([each.mean for each in splits]), rel=0.15)


# --- what is refused ---

DESIGN = sobol(4, 2, seed=1)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (
            lambda: morris_effects(BY_HAND, np.zeros(5), 0.95),
            "outputs must be a value, or a row of values, for each of 6 points (got shape (5,))",
        ),
        (lambda: morris_effects(BY_HAND, np.zeros(6), 1.0), "confidence must be above 0 and below 1 (got 1.0)"),
        (
            lambda: sobol_indices(DESIGN, np.zeros((16, 2, 2)), confidence=0.95, seed=1),
            "outputs must be a value, or a row of values, for each of 16 points (got shape (16, 2, 2))",
        ),
        (
            lambda: sobol_indices(DESIGN, np.zeros(16), confidence=0.0, seed=1),
            "confidence must be above 0 and below 1 (got 0.0)",
        ),
        (
            lambda: sobol_indices(DESIGN, np.zeros(16), confidence=0.95, seed=1, resamples=0),
            "resamples must be 1 or more (got 0)",
        ),
        (
            lambda: rank_correlations(np.zeros((3, 2)), np.zeros(4), 0.95),
            "outputs must be a value, or a row of values, for each of 3 points (got shape (4,))",
        ),
        (
            lambda: rank_correlations(np.zeros((3, 2)), np.zeros(3), 95.0),
            "confidence must be above 0 and below 1 (got 95.0)",
        ),
        (
            lambda: tornado(np.zeros(4), np.zeros((2, 3)), np.zeros((2, 3)), 0.95),
            "low and high must have a row for each factor, each of the shape of the base (got (2, 3), (2, 3) and (4,))",
        ),
        (
            lambda: tornado(1.0, np.zeros(2), np.zeros(3), 0.95),
            "low and high must have a row for each factor, each of the shape of the base (got (2,), (3,) and ())",
        ),
        (lambda: tornado(1.0, np.zeros(2), np.zeros(2), -0.5), "confidence must be above 0 and below 1 (got -0.5)"),
        (lambda: split_variance(np.zeros(4), 0.95), "values must be a table, draws by replications (got shape (4,))"),
        (
            lambda: split_variance(np.array([[1.0, 2.0], [np.nan, 3.0]]), 0.95),
            "draws without a failed replication must be 2 or more (got 1)",
        ),
        (lambda: split_variance(np.zeros((4, 1)), 0.95), "replications must be 2 or more (got 1)"),
        (lambda: split_variance(np.eye(3), 1.5), "confidence must be above 0 and below 1 (got 1.5)"),
    ],
)
def test_what_cannot_be_worked_out_is_refused(make, message):
    with pytest.raises(ValueError, match=_whole(message)):
        make()
