"""Quantiles and their distribution-free intervals from independent values."""

from bisect import bisect_left
from typing import NamedTuple

import numpy as np
from scipy.special import bdtr

from batsim.statistics.intervals import ROUNDING, Floats, Interval, check_count, check_share


class Ranks(NamedTuple):
    """Which values, counted from 1 in ascending order, bound a quantile, and how surely."""

    low: int
    high: int
    coverage: float


def quantile_ranks(n: int, share: float, confidence: float) -> Ranks | None:
    """Ranks of the two values that bound a quantile, whatever the distribution is.

    Parameters
    ----------
    n
        Independent values that there are. [-]
    share
        Share of the distribution below the quantile, between 0 and 1. [-]
    confidence
        Least probability that the bounds hold the true quantile, between 0 and 1. [-]

    Returns
    -------
    Ranks or None
        The closest two ranks that cover the quantile surely enough; of several such pairs the one that covers it most
        surely, of equal ones the lowest. None when the smallest and the largest value do not do. [-]

    Raises
    ------
    ValueError
        When there is no value, or the share or the confidence is not between 0 and 1.

    Notes
    -----
    The values with ranks r and s bound the quantile when at least r and fewer than s of the values lie below it, and
    that number is binomial: coverage = sum over i from r to s-1 of C(n,i) share^i (1-share)^(n-i). A discrete
    distribution is covered at least as surely.

    References
    ----------
    Hahn, G. J. & Meeker, W. Q., Statistical Intervals (from memory); Conover, W. J., Practical Nonparametric
    Statistics (from memory).

    Examples
    --------
    >>> quantile_ranks(6, 0.5, 0.95)
    Ranks(low=1, high=6, coverage=0.96875)
    """
    check_count("number of values", n, 1)
    check_share("share", share)
    check_share("confidence", confidence)
    below = bdtr(np.arange(n, dtype=np.float64), n, share)

    def coverages(apart: int) -> Floats:
        """Coverage of each pair of ranks so far apart, by its lower rank."""
        return below[apart:] - below[:-apart]

    def enough(apart: int) -> bool:
        """Whether ranks so far apart can cover the quantile surely enough."""
        return bool(coverages(apart).max() >= confidence - ROUNDING)

    if n < 2 or not enough(n - 1):
        return None
    apart = 1 + bisect_left(range(1, n - 1), True, key=enough)
    shares = coverages(apart)
    low = int(np.argmax(shares >= shares.max() - ROUNDING))
    return Ranks(low + 1, low + 1 + apart, float(shares[low]))


def quantile_interval(values: Floats, share: float, confidence: float) -> Interval:
    """Quantile of independent values and its distribution-free interval.

    Parameters
    ----------
    values
        Independent values, for example one for each replication; those that are not numbers are left out. Any unit.
    share
        Share of the distribution below the quantile, between 0 and 1. [-]
    confidence
        Least probability that the interval holds the true quantile, between 0 and 1. [-]

    Returns
    -------
    Interval
        Its `mean` is the sample quantile (linear between values), in the unit of the values. Limits are not numbers
        when there are too few values.

    Raises
    ------
    ValueError
        When the share or the confidence is not between 0 and 1.

    References
    ----------
    As `quantile_ranks`. Sample quantile: Hyndman, R. J. & Fan, Y. (1996) The American Statistician 50, 361-365,
    definition 7 (from memory).

    Examples
    --------
    >>> quantile_interval(np.array([3.0, 1.0, 2.0, 6.0, 5.0, 4.0]), 0.5, 0.95)
    Interval(mean=3.5, low=1.0, high=6.0)
    """
    check_share("share", share)
    check_share("confidence", confidence)
    seen = np.sort(values[~np.isnan(values)])
    if not seen.size:
        return Interval(np.nan, np.nan, np.nan)
    quantile = float(np.quantile(seen, share))
    ranks = quantile_ranks(seen.size, share, confidence)
    if ranks is None:
        return Interval(quantile, np.nan, np.nan)
    return Interval(quantile, float(seen[ranks.low - 1]), float(seen[ranks.high - 1]))
