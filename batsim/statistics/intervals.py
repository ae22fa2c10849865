"""Confidence intervals for means, differences and probabilities from independent replications; who is best."""

from typing import Any, NamedTuple

import numpy as np
from scipy.special import betaincinv, stdtrit

from batsim.errors import require

Floats = np.ndarray[Any, np.dtype[np.float64]]

DRAWS = 40_000
"""Draws behind `chance_best`: its standard error is 0.0025 at most."""

SEED = 20_000
"""Where the draws of `chance_best` begin, so that the same values give the same chances."""

ROUNDING = 1e-12
"""What is closer than this share of the largest value counts as equal."""


class Interval(NamedTuple):
    """A mean and the interval that holds the true one with the stated confidence."""

    mean: float
    low: float
    high: float

    @property
    def half_width(self) -> float:
        """Half the width of the interval."""
        return (self.high - self.low) / 2.0

    @property
    def turned(self) -> "Interval":
        """Interval of the same with the other sign: of a difference the other way round."""
        return Interval(-self.mean, -self.high, -self.low)


def student_interval(values: "np.ndarray[tuple[int], np.dtype[np.float64]]", confidence: float) -> Interval:
    """Student's interval for the mean of independent values.

    Parameters
    ----------
    values
        One value for each replication; those that are not numbers are left out. Any unit.
    confidence
        Probability that the interval holds the true mean, between 0 and 1.

    Returns
    -------
    Interval
        Mean and limits, mean -+ t(n-1, (1+confidence)/2) s/sqrt(n); limits are not numbers below two values.

    References
    ----------
    Law, A. M., Simulation Modeling and Analysis, 5th ed. 2015, section 4.5 (from memory).

    Examples
    --------
    >>> [round(limit, 2) for limit in student_interval(np.array([1.20, 1.50, 1.68, 1.89, 0.95]), 0.90)]
    [1.44, 1.09, 1.8]
    """
    seen = values[~np.isnan(values)]
    if not seen.size:
        return Interval(np.nan, np.nan, np.nan)
    mean = float(np.mean(seen))
    if seen.size < 2:
        return Interval(mean, np.nan, np.nan)
    quantile = float(stdtrit(seen.size - 1, (1.0 + confidence) / 2.0))
    half = quantile * float(np.std(seen, ddof=1)) / float(np.sqrt(seen.size))
    return Interval(mean, mean - half, mean + half)


def simultaneous(confidence: float, statements: int) -> float:
    """Confidence of each of several statements so that all hold together (Bonferroni).

    Examples
    --------
    >>> round(simultaneous(0.95, 5), 4)
    0.99
    """
    return 1.0 - (1.0 - confidence) / max(1, statements)


def check_share(name: str, value: float) -> None:
    """Refuse a probability or a share that is not between 0 and 1.

    Raises
    ------
    ValueError
        When the value is not above 0 and below 1.
    """
    require(0.0 < value < 1.0, f"{name} must be above 0 and below 1 (got {value})")


def check_above_zero(name: str, value: float) -> None:
    """Refuse a number that is not above zero.

    Raises
    ------
    ValueError
        When the value is not finite or not above zero.
    """
    require(0.0 < value < np.inf, f"{name} must be above 0 (got {value})")


def check_count(name: str, value: int, least: int) -> None:
    """Refuse a count that is too small.

    Raises
    ------
    ValueError
        When the value is below the least one.
    """
    require(value >= least, f"{name} must be {least} or more (got {value})")


def probability_interval(hits: int, trials: int, confidence: float) -> Interval:
    """Exact interval for a probability from how often something happened in independent trials.

    Parameters
    ----------
    hits
        Trials in which it happened. [-]
    trials
        Trials in all. [-]
    confidence
        Least probability that the interval holds the true one, between 0 and 1. [-]

    Returns
    -------
    Interval
        Share of hits and limits. No hit gives a low limit of 0, hits alone a high limit of 1, no trial all from 0 to 1
        (and a mean that is not a number). [-]

    Raises
    ------
    ValueError
        When the hits are negative or more than the trials, or the confidence is not between 0 and 1.

    Notes
    -----
    Right for rare events as well, where the normal approximation is not. It covers more often than stated, the more so
    the fewer the hits.

    References
    ----------
    Clopper, C. J. & Pearson, E. S. (1934) Biometrika 26, 404-413 (from memory): limits are quantiles of beta
    distributions.

    Examples
    --------
    >>> [round(limit, 4) for limit in probability_interval(0, 20, 0.95)]
    [0.0, 0.0, 0.1684]
    """
    check_share("confidence", confidence)
    require(0 <= hits <= trials, f"hits must be between 0 and the number of trials, {trials} (got {hits})")
    tail = (1.0 - confidence) / 2.0
    low = float(betaincinv(hits, trials - hits + 1, tail)) if hits else 0.0
    high = float(betaincinv(hits + 1, trials - hits, 1.0 - tail)) if hits < trials else 1.0
    return Interval(hits / trials if trials else np.nan, low, high)


def variance_reduction(first: Floats, second: Floats) -> float:
    """How many times as many independent replications a comparison would need that paired ones make. [-]

    Parameters
    ----------
    first, second
        Paired values of equal length; pairs with a value that is not a number are left out. Any unit.

    Returns
    -------
    float
        (var first + var second)/var(first - second); below 1 when pairing backfires, infinite when the difference
        never varies by more than rounding, not a number below two pairs. [-]

    Raises
    ------
    ValueError
        When the two are not of equal length.

    References
    ----------
    Variance of a difference under common random numbers; any text on simulation (from memory).

    Examples
    --------
    >>> round(variance_reduction(np.array([1.0, 2.0, 3.0]), np.array([1.0, 2.5, 3.0])), 4)
    25.0
    """
    got = f"{first.size} and {second.size}"
    require(first.size == second.size, f"paired values must be as many of the one as of the other (got {got})")
    whole = ~(np.isnan(first) | np.isnan(second))
    first, second = first[whole], second[whole]
    if first.size < 2:
        return float("nan")
    difference = first - second
    if np.ptp(difference) <= ROUNDING * max(np.max(np.abs(first)), np.max(np.abs(second))):
        return float("inf")
    return float((np.var(first) + np.var(second)) / np.var(difference))


def chance_best(values: Floats, seed: int = SEED) -> Floats:
    """Probability that each alternative has the least true mean, after what paired replications have shown.

    Parameters
    ----------
    values
        One row for each replication, one column for each alternative, smaller is better; rows with a value that is
        not a number are left out. Any unit.
    seed
        Seed of the draws; the same seed and values give the same chances.

    Returns
    -------
    ndarray
        One probability for each alternative; they sum to 1. Alternatives that cannot be told apart share theirs
        evenly. Not numbers below two replications. [-]

    Raises
    ------
    ValueError
        When the values are not a table with one column or more.

    Notes
    -----
    The true means are drawn from a multivariate Student distribution about the sample means with the sample
    covariance/n and n-1 degrees of freedom (vague prior), so that the chance of one pair agrees with the paired
    t test. Draws come in mirrored pairs. The covariance enters by the triangular factor of the centred values, so it
    may be singular: constant or equal columns, more alternatives than replications.

    References
    ----------
    Chick, S. E. & Inoue, K. (2001) Management Science 47, 1133-1149, selection with common random numbers (from
    memory); the common n-1 degrees of freedom worked out here.

    Examples
    --------
    >>> table = np.array([[1.0, 1.0, 3.0], [2.0, 2.0, 2.0], [3.0, 3.0, 5.0]])
    >>> [round(float(chance), 2) for chance in chance_best(table)]
    [0.45, 0.45, 0.09]
    """
    is_table = values.ndim == 2 and values.shape[1]
    require(is_table, f"values must be a table, replications by alternatives (got shape {values.shape})")
    seen = values[~np.isnan(values).any(axis=1)]
    count, alternatives = seen.shape
    if count < 2:
        return np.full(alternatives, np.nan)
    means = seen.mean(axis=0)
    factor = np.linalg.qr(seen - means, mode="r") / np.sqrt(count)
    generator = np.random.default_rng(seed)
    normal = generator.standard_normal((DRAWS // 2, factor.shape[0]))
    shifts = normal @ factor / np.sqrt(generator.chisquare(count - 1, DRAWS // 2))[:, None]
    draws = means + np.concatenate([shifts, -shifts])
    equal = ROUNDING * (np.abs(seen).max() + np.abs(draws).max(axis=1, keepdims=True))
    least = draws <= draws.min(axis=1, keepdims=True) + equal
    chances: Floats = np.mean(least / least.sum(axis=1, keepdims=True), axis=0)
    return chances
