"""Which factors matter: elementary effects, Sobol indices, rank correlations, tornado rows.

Outputs are one column (one measure) or several, one row for each point of the design; results then have one value for
each factor, or one row for each factor and one column for each measure. Outputs that are not finite count as failed.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.special import ndtri

from batsim.errors import require
from batsim.statistics.designs import MorrisDesign, SobolDesign, SobolOutputs, check_rows
from batsim.statistics.intervals import ROUNDING, Floats, Interval, check_count, check_share, student_interval

RESAMPLES = 1000
"""Resamples behind a bootstrap interval. Common practice, no source."""

AT_ONCE = 2**22
"""Numbers drawn in one go by the bootstrap, so that its memory stays small."""


class Estimates(NamedTuple):
    """Estimates with their limits, each of shape (factors,) or (factors, measures)."""

    value: Floats
    low: Floats
    high: Floats


@dataclass(frozen=True, eq=False)
class MorrisEffects:
    """Elementary effects over trajectories, in the unit of the output for the whole range of a factor."""

    mu: Floats
    """Mean effect; effects of both signs cancel."""
    mu_star: Estimates
    """Mean size of the effect: how much a factor matters."""
    sigma: Floats
    """Standard deviation of the effect (divisor n - 1): interactions and curvature."""


@dataclass(frozen=True, eq=False)
class SobolIndices:
    """Shares of the variance of an output that factors account for; not numbers where the output does not vary."""

    first: Estimates
    """By the factor alone. [-]"""
    total: Estimates
    """By the factor and everything it takes part in. [-]"""
    variance: Floats
    """Variance of the output (divisor n), one for each measure, in the squared unit of the output."""


class TornadoRow(NamedTuple):
    """What one factor does to an output, from its low to its high end, all others at their base."""

    factor: int
    """Number of the factor, from 0."""
    low: Interval
    """Output at the low end less that at the base."""
    high: Interval
    """Output at the high end less that at the base."""
    difference: Interval
    """Output at the high end less that at the low end."""
    swing: float
    """Length of the bar: largest less smallest of the outputs at the low end, base and high end."""


def morris_effects(design: MorrisDesign, outputs: Floats, confidence: float) -> MorrisEffects:
    """Elementary effects of each factor.

    Parameters
    ----------
    design
        Trajectories that were run.
    outputs
        One value, or one row of values, for each of `design.rows`. Any unit.
    confidence
        Probability that an interval holds the true mean size of the effect, between 0 and 1. [-]

    Returns
    -------
    MorrisEffects
        Limits by Student's interval over trajectories, cut at zero; not numbers below two effects.

    Raises
    ------
    ValueError
        When there are not as many outputs as rows, or the confidence is not between 0 and 1.

    References
    ----------
    Morris, M. D. (1991) Technometrics 33, 161-174; Campolongo, F., Cariboni, J. & Saltelli, A. (2007) Environmental
    Modelling & Software 22, 1509-1518 for the mean size (from memory).

    Examples
    --------
    >>> from batsim.statistics.designs import morris
    >>> design = morris(4, 2, levels=4, seed=1)
    >>> effects = morris_effects(design, 5.0 - 3.0 * design.rows[:, 1], 0.95)
    >>> effects.mu.round(6).tolist(), effects.mu_star.value.round(6).tolist()
    ([0.0, -3.0], [0.0, 3.0])
    """
    check_share("confidence", confidence)
    trajectories, points, factors = design.points.shape
    check_rows(outputs, trajectories * points)
    effects = _effects(design, _columns(outputs)).reshape(trajectories, -1)
    shape = (factors, *outputs.shape[1:])
    moments = np.array([_morris_of(column, confidence) for column in effects.T]).T.reshape(5, *shape)
    return MorrisEffects(moments[0], Estimates(*moments[1:4]), moments[4])


def sobol_indices(
    design: SobolDesign, outputs: Floats, *, confidence: float, seed: int, resamples: int = RESAMPLES
) -> SobolIndices:
    """First-order and total Sobol indices of each factor.

    Parameters
    ----------
    design
        Points that were run.
    outputs
        One value, or one row of values, for each of `design.rows`. Any unit.
    confidence
        Probability that an interval holds the true index, between 0 and 1. [-]
    seed
        Seed of the bootstrap; the measures of one call share their resamples.
    resamples
        Resamples of the bootstrap. [-]

    Returns
    -------
    SobolIndices
        Limits are percentiles over resampled base points; an index near zero may be estimated below it. A base point
        is left out of a measure where any of its outputs failed. Not numbers where the outputs at A and B do not vary
        by more than rounding; limits are not numbers below two base points.

    Raises
    ------
    ValueError
        When there are not as many outputs as rows, the confidence is not between 0 and 1, or without resamples.

    Notes
    -----
    The outputs must be those of one function: simulate all rows with the same random numbers, or take means of enough
    replications. Noise that differs from row to row is counted in every total index.

    References
    ----------
    First order: Saltelli, A. et al. (2010) Computer Physics Communications 181, 259-270, table 2 (b), about the mean
    of A and B. Total: Jansen, M. J. W. (1999) Computer Physics Communications 117, 35-43 (from memory).

    Examples
    --------
    >>> from batsim.statistics.designs import sobol
    >>> design = sobol(256, 2, seed=1)
    >>> indices = sobol_indices(design, 2.0 * design.rows[:, 0] + design.rows[:, 1], confidence=0.95, seed=1)
    >>> indices.first.value.round(1).tolist(), indices.total.value.round(1).tolist()
    ([0.8, 0.2], [0.8, 0.2])
    """
    check_share("confidence", confidence)
    check_count("resamples", resamples, 1)
    check_rows(outputs, design.base_points * (design.factors + 2))
    a, b, ab = design.split(_columns(outputs))
    measures = range(a.shape[1])
    by_measure = [_sobol_of(SobolOutputs(a[:, m], b[:, m], ab[:, :, m]), confidence, seed, resamples) for m in measures]
    parts, variance = zip(*by_measure, strict=True)
    shape = outputs.shape[1:]
    indices = np.stack(parts, axis=-1).reshape(6, design.factors, *shape)
    first, total = Estimates(*indices[:3]), Estimates(*indices[3:])
    return SobolIndices(first, total, np.array(variance).reshape(shape))


def rank_correlations(points: Floats, outputs: Floats, confidence: float) -> Estimates:
    """Spearman's rank correlation of each factor with the output.

    Parameters
    ----------
    points
        Values or levels of the factors, shape (points, factors). Any unit.
    outputs
        One value, or one row of values, for each point. Any unit.
    confidence
        Probability that an interval holds the true correlation, between 0 and 1. [-]

    Returns
    -------
    Estimates
        Correlations with limits. Points where one of the pair is not finite are left out of it; not numbers where
        either does not vary by more than rounding, limits not below four pairs. [-]

    Raises
    ------
    ValueError
        When there are not as many outputs as points, or the confidence is not between 0 and 1.

    Notes
    -----
    Ties have their mean rank. Fisher's z with variance (1 + rho²/2)/(n - 3); for its limits an order without any
    exception is taken as one with a single exchange of neighbours, as z is infinite there.

    References
    ----------
    Bonett, D. G. & Wright, T. A. (2000) Psychometrika 65, 23-28 (from memory).

    Examples
    --------
    >>> ranks = rank_correlations(np.arange(5.0)[:, None], np.array([1.0, 3.0, 2.0, 5.0, 4.0]), 0.95)
    >>> [round(float(part[0]), 2) for part in ranks]
    [0.8, -0.46, 0.99]
    """
    check_share("confidence", confidence)
    check_rows(outputs, points.shape[0])
    columns, factors = _columns(outputs), _columns(points)
    correlations = [_correlation(factor, output, confidence) for factor in factors.T for output in columns.T]
    return Estimates(*np.array(correlations).T.reshape(3, points.shape[1], *outputs.shape[1:]))


def tornado(base: float | Floats, low: Floats, high: Floats, confidence: float) -> list[TornadoRow]:
    """What each factor does alone, the one with the longest bar first.

    Parameters
    ----------
    base
        Output with all factors at their base; with replications one value for each. Any unit.
    low, high
        Output with one factor at its low and at its high end, one value for each factor; with replications shape
        (factors, replications), paired with those of the base. Unit of the base.
    confidence
        Probability that an interval holds the true difference, between 0 and 1. [-]

    Returns
    -------
    list
        One row for each factor, sorted by swing; factors whose swing is not a number come last. Limits by Student's
        interval over paired differences; not numbers below two pairs.

    Raises
    ------
    ValueError
        When the shapes do not fit, or the confidence is not between 0 and 1.

    Examples
    --------
    >>> rows = tornado(10.0, np.array([9.0, 14.0]), np.array([11.5, 8.0]), 0.95)
    >>> [(row.factor, row.swing, row.difference.mean) for row in rows]
    [(1, 6.0, -6.0), (0, 2.5, 2.5)]
    """
    check_share("confidence", confidence)
    middle = np.asarray(base, dtype=float)
    shapes = f"{low.shape}, {high.shape} and {middle.shape}"
    fits = low.ndim == middle.ndim + 1 and low.shape == high.shape == (*low.shape[:1], *middle.shape)
    require(fits, f"low and high must have a row for each factor, each of the shape of the base (got {shapes})")
    middle = _columns(np.atleast_1d(middle))[:, 0]
    ends = zip(_columns(low), _columns(high), strict=True)
    rows = []
    for factor, (at_low, at_high) in enumerate(ends):
        below, above = student_interval(at_low - middle, confidence), student_interval(at_high - middle, confidence)
        swing = float(np.ptp([below.mean, 0.0, above.mean]))
        rows.append(TornadoRow(factor, below, above, student_interval(at_high - at_low, confidence), swing))
    return sorted(rows, key=lambda row: (np.isnan(row.swing), -row.swing))


def _columns(values: Floats) -> Floats:
    """Values as a table, what is not finite as nan."""
    table = values.reshape(values.shape[0], -1)
    whole: Floats = np.where(np.isfinite(table), table, np.nan)
    return whole


def _constant(values: Floats) -> bool:
    """Whether values differ by no more than rounding."""
    return bool(values.size == 0 or np.ptp(values) <= ROUNDING * np.max(np.abs(values)))


def _effects(design: MorrisDesign, outputs: Floats) -> Floats:
    """Elementary effects, shape (trajectories, factors, measures)."""
    trajectories, points, factors = design.points.shape
    order = design.order[:, :, None]
    moves = np.take_along_axis(np.diff(design.points, axis=1), order, axis=2)
    gains = np.diff(outputs.reshape(trajectories, points, -1), axis=1) / moves
    effects = np.empty((trajectories, factors, outputs.shape[1]))
    np.put_along_axis(effects, order, gains, axis=1)
    return effects


def _morris_of(effects: Floats, confidence: float) -> tuple[float, float, float, float, float]:
    """Mean, mean size with its limits, and standard deviation of the effects of one factor on one measure."""
    seen = effects[~np.isnan(effects)]
    size = student_interval(np.abs(seen), confidence)
    mean = float(np.mean(seen)) if seen.size else np.nan
    sigma = float(np.std(seen, ddof=1)) if seen.size > 1 else np.nan
    return mean, size.mean, float(np.maximum(0.0, size.low)), size.high, sigma


def _sobol_of(outputs: SobolOutputs, confidence: float, seed: int, resamples: int) -> tuple[Floats, float]:
    """Indices of one measure (first, low, high, total, low, high), and its variance."""
    whole = ~(np.isnan(outputs.a) | np.isnan(outputs.b) | np.isnan(outputs.ab).any(axis=0))
    a, b, ab = outputs.a[whole], outputs.b[whole], outputs.ab[:, whole]
    indices = np.full((6, ab.shape[0]), np.nan)
    if _constant(np.concatenate([a, b])):
        return indices, 0.0 if a.size else np.nan
    centre = (np.mean(a) + np.mean(b)) / 2.0
    a, b, change = a - centre, b - centre, (ab - a).T
    terms = np.column_stack([b[:, None] * change, change, change**2, (a + b) / 2.0, (a**2 + b**2) / 2.0])
    means = terms.mean(axis=0)
    (indices[0], indices[3]), variance = _ratios(means), float(means[-1])
    if a.size > 1:
        drawn = _resampled(terms, resamples, np.random.default_rng(seed))
        varied = drawn[:, -1] - drawn[:, -2] ** 2 > ROUNDING * variance
        if varied.any():
            tails = [(1.0 - confidence) / 2.0, (1.0 + confidence) / 2.0]
            first, total = _ratios(drawn[varied])
            indices[1:3], indices[4:6] = np.quantile(first, tails, axis=0), np.quantile(total, tails, axis=0)
    return indices, variance


def _ratios(means: Floats) -> tuple[Floats, Floats]:
    """First-order and total indices from means of the terms of `_sobol_of`, which may have leading axes."""
    product, change, square = np.split(means[..., :-2], 3, axis=-1)
    middle, power = means[..., -2, None], means[..., -1, None]
    variance = power - middle**2
    return (product - middle * change) / variance, square / (2.0 * variance)


def _resampled(terms: Floats, resamples: int, generator: np.random.Generator) -> Floats:
    """Means of the terms over rows drawn with replacement, shape (resamples, columns of terms)."""
    count = terms.shape[0]
    most = max(1, AT_ONCE // count)
    means = []
    for size in [most] * (resamples // most) + [resamples % most]:
        picks = generator.integers(count, size=(size, count)) + count * np.arange(size)[:, None]
        times = np.bincount(picks.ravel(), minlength=size * count).reshape(size, count)
        means.append(times @ terms / count)
    return np.concatenate(means)


def _correlation(factor: Floats, output: Floats, confidence: float) -> tuple[float, float, float]:
    """Rank correlation of one pair of columns, with limits."""
    from scipy.stats import rankdata  # noqa: PLC0415 - slow to import

    whole = ~(np.isnan(factor) | np.isnan(output))
    factor, output = factor[whole], output[whole]
    count = factor.size
    if _constant(factor) or _constant(output):
        return np.nan, np.nan, np.nan
    rho = float(np.clip(np.corrcoef(rankdata(factor), rankdata(output))[0, 1], -1.0, 1.0))
    if count < 4:
        return rho, np.nan, np.nan
    most = 1.0 - 12.0 / (count * (count**2 - 1.0))
    inside = float(np.clip(rho, -most, most))
    half = float(ndtri((1.0 + confidence) / 2.0)) * np.sqrt((1.0 + inside**2 / 2.0) / (count - 3.0))
    low, high = np.tanh(np.arctanh(inside) - half), np.tanh(np.arctanh(inside) + half)
    return rho, float(min(rho, low)), float(max(rho, high))
