"""Designs of experiments: which points of the unit cube, or which levels, to run.

The caller maps the unit cube to values: a share of the way from the low to the high end of a factor, or the quantile of
its distribution.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np

from batsim.errors import require
from batsim.statistics.intervals import Floats, check_count

Integers = np.ndarray[Any, np.dtype[np.int64]]


def grid(levels: Sequence[int]) -> Integers:
    """Every combination of the levels of all factors.

    Parameters
    ----------
    levels
        How many levels each factor has. [-]

    Returns
    -------
    ndarray
        Level numbers from 0, one row for each combination, one column for each factor; the first factor changes
        slowest, the last one in every row. Shape (product of levels, factors). [-]

    Raises
    ------
    ValueError
        Without a factor, or when one has no level.

    Examples
    --------
    >>> grid([2, 3]).tolist()
    [[0, 0], [0, 1], [0, 2], [1, 0], [1, 1], [1, 2]]
    """
    check_count("factors", len(levels), 1)
    check_count("levels of a factor", min(levels), 1)
    return np.indices(tuple(levels), dtype=np.int64).reshape(len(levels), -1).T


def one_at_a_time(factors: int) -> Integers:
    """Each factor at its low and its high end, all others at their base.

    Parameters
    ----------
    factors
        How many factors there are. [-]

    Returns
    -------
    ndarray
        -1 for low, 0 for base, +1 for high. The first row is the base, then come the low and the high row of the
        first factor, of the second, and so on. Shape (1 + 2 factors, factors). [-]

    Raises
    ------
    ValueError
        Without a factor.

    Examples
    --------
    >>> one_at_a_time(2).tolist()
    [[0, 0], [-1, 0], [1, 0], [0, -1], [0, 1]]
    """
    check_count("factors", factors, 1)
    rows = np.zeros((1 + 2 * factors, factors), dtype=np.int64)
    factor = np.arange(factors)
    rows[1 + 2 * factor, factor] = -1
    rows[2 + 2 * factor, factor] = 1
    return rows


def latin_hypercube(points: int, factors: int, seed: int) -> Floats:
    """Points of which each factor has exactly one in each of its equal slices, at random within it.

    Parameters
    ----------
    points
        How many points, and so slices. [-]
    factors
        How many factors. [-]
    seed
        Seed of the draws.

    Returns
    -------
    ndarray
        Points in the unit cube, shape (points, factors). [-]

    Raises
    ------
    ValueError
        With fewer than two points or without a factor.

    References
    ----------
    McKay, M. D., Beckman, R. J. & Conover, W. J. (1979) Technometrics 21, 239-245.

    Examples
    --------
    >>> sorted((4 * latin_hypercube(4, 1, seed=1)[:, 0]).astype(int).tolist())
    [0, 1, 2, 3]
    """
    from scipy.stats.qmc import LatinHypercube  # noqa: PLC0415 - slow to import

    check_count("points", points, 2)
    check_count("factors", factors, 1)
    drawn: Floats = LatinHypercube(factors, rng=np.random.default_rng(seed)).random(points)
    return drawn


@dataclass(frozen=True, eq=False)
class MorrisDesign:
    """Trajectories: walks through the unit cube in which each factor moves once, one after the other."""

    points: Floats
    """Where each trajectory starts and where each move leads, shape (trajectories, factors + 1, factors). [-]"""
    order: Integers
    """Which factor makes each move, shape (trajectories, factors). [-]"""
    levels: int
    """Levels of the grid on which the points lie. [-]"""

    @property
    def step(self) -> float:
        """Length of each move, levels / (2 (levels - 1)). [-]"""
        return self.levels / (2.0 * (self.levels - 1.0))

    @property
    def rows(self) -> Floats:
        """All points, one trajectory after the other, shape (trajectories (factors + 1), factors). [-]"""
        return self.points.reshape(-1, self.points.shape[2])


def morris(trajectories: int, factors: int, levels: int, seed: int) -> MorrisDesign:
    """Random trajectories for elementary effects.

    Parameters
    ----------
    trajectories
        How many walks, and so effects of each factor. [-]
    factors
        How many factors. [-]
    levels
        Levels of the grid 0, 1/(levels - 1), ... 1; even, so that each level is as likely as every other. [-]
    seed
        Seed of the draws.

    Returns
    -------
    MorrisDesign
        Starts, order of the factors and direction of each move are drawn at random.

    Raises
    ------
    ValueError
        With fewer than two trajectories, without a factor, or with levels that are odd or fewer than two.

    Notes
    -----
    A move joins two levels that lie half of the levels apart: its lower end is drawn from the lower half, its
    direction by a coin.

    References
    ----------
    Morris, M. D. (1991) Technometrics 33, 161-174 (from memory).

    Examples
    --------
    >>> design = morris(5, 3, levels=4, seed=1)
    >>> design.rows.shape, round(design.step, 4)
    ((20, 3), 0.6667)
    """
    check_count("trajectories", trajectories, 2)
    check_count("factors", factors, 1)
    check_count("levels", levels, 2)
    require(levels % 2 == 0, f"levels must be even (got {levels})")
    generator = np.random.default_rng(seed)
    half = levels // 2
    lower = generator.integers(half, size=(trajectories, factors))
    falls = generator.integers(2, size=(trajectories, factors))
    order = generator.permuted(np.tile(np.arange(factors), (trajectories, 1)), axis=1)
    rank = np.argsort(order, axis=1)
    moved = np.arange(factors + 1)[None, :, None] > rank[:, None, :]
    level = lower[:, None, :] + half * (moved ^ falls[:, None, :].astype(bool))
    return MorrisDesign(level / (levels - 1.0), order, levels)


class SobolOutputs(NamedTuple):
    """Outputs of a Sobol design, split into its parts."""

    a: Floats
    """At the points of A, shape (base points, ...)."""
    b: Floats
    """At the points of B, shape (base points, ...)."""
    ab: Floats
    """At A with one column from B, shape (factors, base points, ...)."""


@dataclass(frozen=True, eq=False)
class SobolDesign:
    """Two independent sets of points, and the first with each factor in turn from the second."""

    a: Floats
    """First set, shape (base points, factors). [-]"""
    b: Floats
    """Second set, shape (base points, factors). [-]"""

    @property
    def base_points(self) -> int:
        """Points of each set. [-]"""
        return int(self.a.shape[0])

    @property
    def factors(self) -> int:
        """How many factors. [-]"""
        return int(self.a.shape[1])

    @cached_property
    def rows(self) -> Floats:
        """All points: A, B, then A with its first column from B, with its second, and so on.

        Shape (base points (factors + 2), factors). [-]
        """
        mixed = np.repeat(self.a[None], self.factors, axis=0)
        factor = np.arange(self.factors)
        mixed[factor, :, factor] = self.b.T
        return np.concatenate([self.a, self.b, mixed.reshape(-1, self.factors)])

    def split(self, outputs: Floats) -> SobolOutputs:
        """Outputs of the rows, given back to the sets that they belong to.

        Parameters
        ----------
        outputs
            One value, or one row of values, for each of the rows. Any unit.

        Raises
        ------
        ValueError
            When there are not as many outputs as rows.
        """
        check_rows(outputs, self.base_points * (self.factors + 2))
        parts = outputs.reshape(self.factors + 2, self.base_points, *outputs.shape[1:])
        return SobolOutputs(parts[0], parts[1], parts[2:])


def sobol(base_points: int, factors: int, seed: int) -> SobolDesign:
    """Scrambled Sobol' points for first-order and total indices.

    Parameters
    ----------
    base_points
        Points of each set; a power of two, else the points are not balanced. [-]
    factors
        How many factors; base points x (factors + 2) rows are to be run. [-]
    seed
        Seed of the scrambling.

    Returns
    -------
    SobolDesign
        The first half of the columns makes A, the second B.

    Raises
    ------
    ValueError
        Without a factor, or when the base points are fewer than two or no power of two.

    References
    ----------
    Saltelli, A. et al. (2010) Computer Physics Communications 181, 259-270 (from memory).

    Examples
    --------
    >>> sobol(8, 3, seed=1).rows.shape
    (40, 3)
    """
    from scipy.stats.qmc import Sobol  # noqa: PLC0415 - slow to import

    check_count("factors", factors, 1)
    check_count("base points", base_points, 2)
    below = 1 << (base_points.bit_length() - 1)
    rule = f"base points must be a power of two, such as {below} or {2 * below}"
    require(base_points == below, f"{rule} (got {base_points})")
    drawn = Sobol(2 * factors, rng=np.random.default_rng(seed)).random(base_points)
    return SobolDesign(drawn[:, :factors], drawn[:, factors:])


def check_rows(outputs: Floats, rows: int) -> None:
    """Refuse outputs that are not one for each row of a design.

    Raises
    ------
    ValueError
        When their number is another.
    """
    rule = f"outputs must be a value, or a row of values, for each of {rows} points"
    require(outputs.ndim in (1, 2) and outputs.shape[0] == rows, f"{rule} (got shape {outputs.shape})")
