"""Designs: which points, in which order, and what is refused."""

import re
from itertools import product

import numpy as np
import pytest

from batsim.statistics.designs import SobolDesign, grid, latin_hypercube, morris, one_at_a_time, sobol


def _whole(message):
    return f"^{re.escape(message)}$"


@pytest.mark.parametrize("levels", [[2], [1, 1], [2, 3], [3, 1, 4], [2, 2, 2, 2]])
def test_a_grid_is_every_combination_the_first_factor_slowest(levels):
    found = grid(levels)

    assert found.tolist() == [list(each) for each in product(*(range(count) for count in levels))]
    assert found.dtype == np.int64


@pytest.mark.parametrize("factors", [1, 2, 7])
def test_one_at_a_time_moves_one_factor_off_the_base(factors):
    rows = one_at_a_time(factors)

    assert rows.shape == (1 + 2 * factors, factors)
    assert not rows[0].any()
    for factor in range(factors):
        others = np.delete(np.arange(factors), factor)
        assert rows[1 + 2 * factor : 3 + 2 * factor, factor].tolist() == [-1, 1]
        assert not rows[1 + 2 * factor : 3 + 2 * factor, others].any()


@pytest.mark.parametrize(("points", "factors"), [(2, 1), (10, 3), (37, 8)])
def test_a_latin_hypercube_has_one_point_in_each_slice(points, factors):
    drawn = latin_hypercube(points, factors, seed=5)

    slices = np.sort(np.floor(points * drawn), axis=0)
    assert drawn.shape == (points, factors)
    assert (slices == np.arange(points)[:, None]).all()


@pytest.mark.parametrize(("factors", "levels"), [(1, 2), (3, 4), (6, 6), (4, 10)])
def test_trajectories_move_each_factor_once_by_one_step_on_the_grid(factors, levels):
    design = morris(400, factors, levels, seed=3)

    moves = np.diff(design.points, axis=1)
    assert design.points.shape == (400, factors + 1, factors)
    assert design.rows.tolist() == design.points.reshape(-1, factors).tolist()
    assert design.step == pytest.approx(levels / (2 * (levels - 1)))
    assert design.points.min() == 0.0
    assert design.points.max() == 1.0
    on_grid = design.points * (levels - 1)
    assert np.abs(on_grid - np.round(on_grid)).max() < 1e-12
    assert ((np.abs(moves) > 0.0).sum(axis=2) == 1).all()
    assert (np.argmax(np.abs(moves), axis=2) == design.order).all()
    assert np.abs(np.abs(moves).sum(axis=2) - design.step).max() < 1e-12
    assert (np.sort(design.order, axis=1) == np.arange(factors)).all()


def test_trajectories_favour_no_level_direction_or_order():
    """Each of 4 levels, 2 directions and 3 first movers equally often, within four standard errors."""
    count = 6000
    design = morris(count, 3, 4, seed=11)

    def even(shares):
        expected = 1.0 / len(shares)
        return np.abs(np.array(shares) - expected).max() < 4.0 * np.sqrt(expected * (1.0 - expected) / count)

    rising = np.diff(design.points, axis=1).sum(axis=2) > 0.0
    for factor in range(3):
        for visit in range(4):
            levels = np.round(3.0 * design.points[:, visit, factor])
            assert even([np.mean(levels == level) for level in range(4)])
        up = rising[design.order == factor]
        assert even([np.mean(up), np.mean(~up)])
        assert even([np.mean(design.order[:, bay] == factor) for bay in range(3)])


@pytest.mark.parametrize(("base_points", "factors"), [(2, 1), (16, 3), (64, 12)])
def test_a_sobol_design_is_a_then_b_then_a_with_each_column_from_b(base_points, factors):
    design = sobol(base_points, factors, seed=7)

    assert (design.base_points, design.factors) == (base_points, factors)
    assert design.rows.shape == (base_points * (factors + 2), factors)
    assert ((design.rows >= 0.0) & (design.rows <= 1.0)).all()
    blocks = design.rows.reshape(factors + 2, base_points, factors)
    assert (blocks[0] == design.a).all()
    assert (blocks[1] == design.b).all()
    for factor in range(factors):
        expected = design.a.copy()
        expected[:, factor] = design.b[:, factor]
        assert (blocks[2 + factor] == expected).all()


def test_sobol_points_are_balanced():
    """2^m scrambled points in 2^m slices of each column: one each."""
    design = sobol(32, 4, seed=2)

    for part in (design.a, design.b):
        assert (np.sort(np.floor(32 * part), axis=0) == np.arange(32)[:, None]).all()
    assert not (design.a == design.b).any()


@pytest.mark.parametrize("extra", [(), (5,)])
def test_outputs_go_back_to_the_points_they_belong_to(extra):
    design = sobol(8, 3, seed=1)
    outputs = design.rows @ np.array([1.0, 10.0, 100.0])
    outputs = outputs if not extra else outputs[:, None] * np.arange(5.0)

    parts = design.split(outputs)

    assert parts.a.shape == parts.b.shape == (8, *extra)
    assert parts.ab.shape == (3, 8, *extra)
    one = parts if not extra else type(parts)(parts.a[:, 1], parts.b[:, 1], parts.ab[:, :, 1])
    assert one.a == pytest.approx(design.a @ np.array([1.0, 10.0, 100.0]))
    assert one.b == pytest.approx(design.b @ np.array([1.0, 10.0, 100.0]))
    change = (one.ab - one.a).T
    assert change == pytest.approx((design.b - design.a) * np.array([1.0, 10.0, 100.0]))


def test_own_points_make_a_sobol_design():
    design = SobolDesign(np.array([[0.1, 0.2], [0.3, 0.4]]), np.array([[0.5, 0.6], [0.7, 0.8]]))

    assert design.rows.tolist() == [
        *([0.1, 0.2], [0.3, 0.4]),
        *([0.5, 0.6], [0.7, 0.8]),
        *([0.5, 0.2], [0.7, 0.4]),
        *([0.1, 0.6], [0.3, 0.8]),
    ]


@pytest.mark.parametrize(
    "make",
    [
        lambda seed: latin_hypercube(20, 3, seed),
        lambda seed: morris(20, 3, 4, seed).rows,
        lambda seed: sobol(16, 3, seed).rows,
    ],
    ids=["latin_hypercube", "morris", "sobol"],
)
def test_a_seed_settles_the_points(make):
    assert (make(1) == make(1)).all()
    assert (make(1) != make(2)).any()


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: grid([]), "factors must be 1 or more (got 0)"),
        (lambda: grid([2, 0]), "levels of a factor must be 1 or more (got 0)"),
        (lambda: one_at_a_time(0), "factors must be 1 or more (got 0)"),
        (lambda: latin_hypercube(1, 3, 1), "points must be 2 or more (got 1)"),
        (lambda: latin_hypercube(10, 0, 1), "factors must be 1 or more (got 0)"),
        (lambda: morris(1, 3, 4, 1), "trajectories must be 2 or more (got 1)"),
        (lambda: morris(10, 0, 4, 1), "factors must be 1 or more (got 0)"),
        (lambda: morris(10, 3, 0, 1), "levels must be 2 or more (got 0)"),
        (lambda: morris(10, 3, 5, 1), "levels must be even (got 5)"),
        (lambda: sobol(16, 0, 1), "factors must be 1 or more (got 0)"),
        (lambda: sobol(1, 2, 1), "base points must be 2 or more (got 1)"),
        (lambda: sobol(1000, 2, 1), "base points must be a power of two, such as 512 or 1024 (got 1000)"),
        (
            lambda: sobol(4, 2, 1).split(np.zeros(15)),
            "outputs must be a value, or a row of values, for each of 16 points (got shape (15,))",
        ),
    ],
)
def test_what_makes_no_design_is_refused(make, message):
    with pytest.raises(ValueError, match=_whole(message)):
        make()
