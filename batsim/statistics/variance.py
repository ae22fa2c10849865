"""How much of the variance comes from inputs that are not known, how much from chance between replications?"""

from typing import NamedTuple

import numpy as np
from scipy.special import fdtri

from batsim.errors import require
from batsim.statistics.intervals import ROUNDING, Floats, Interval, check_count, check_share


class VarianceSplit(NamedTuple):
    """Variance of an output of replications made at random draws of the inputs, in two parts."""

    draws: int
    """Draws of the inputs that were used. [-]"""
    replications: int
    """Replications of each draw. [-]"""
    mean: float
    """Grand mean, in the unit of the values."""
    from_inputs: float
    """Variance between draws, what replications add to it taken off; in the squared unit of the values."""
    from_noise: float
    """Variance between replications of one draw, in the squared unit of the values."""
    input_share: Interval
    """Share of the inputs in the variance of a single replication; not a number when nothing varies. [-]"""


def split_variance(values: Floats, confidence: float) -> VarianceSplit:
    """Split the variance of an output into that of the inputs and that of chance.

    Parameters
    ----------
    values
        One row for each random draw of the inputs, one column for each of its replications. Replications must be
        independent of one another, those of different draws too. Any unit.
    confidence
        Probability that the interval of the share holds the true one, between 0 and 1. [-]

    Returns
    -------
    VarianceSplit
        Estimates, cut at zero where they would be negative. A draw with a value that is not finite is left out.

    Raises
    ------
    ValueError
        When the values are not a table, when fewer than two whole draws or two replications are left, or the
        confidence is not between 0 and 1.

    Notes
    -----
    Balanced one-way random effects: with MB and MW the mean squares between and within draws, MB = n var(means of
    draws), the noise is MW, the inputs (MB - MW)/n. With F = MB/MW and f(p) the p-quantile of F on (N - 1, N(n - 1))
    degrees of freedom, the limits of the share are (F/f - 1)/(F/f + n - 1) at f((1+confidence)/2) and
    f((1-confidence)/2). They are exact when both parts are normal. Both are zero when the draws differ far less than
    noise alone would make them, which points to replications that are not independent.

    Where replication r of every draw has the same random numbers, the noise is shared between draws: it is then partly
    missed here, and more draws do not reduce it. Give each draw its own.

    References
    ----------
    Searle, S. R., Casella, G. & McCulloch, C. E., Variance Components, 1992, chapter 3 (from memory).

    Examples
    --------
    >>> split = split_variance(np.array([[1.0, 3.0], [5.0, 7.0], [9.0, 11.0]]), 0.95)
    >>> split.from_noise, split.from_inputs, round(split.input_share.mean, 4)
    (2.0, 15.0, 0.8824)
    """
    check_share("confidence", confidence)
    require(values.ndim == 2, f"values must be a table, draws by replications (got shape {values.shape})")
    seen = values[np.isfinite(values).all(axis=1)]
    draws, replications = seen.shape
    check_count("draws without a failed replication", draws, 2)
    check_count("replications", replications, 2)
    means = seen.mean(axis=1)
    between, within = float(replications * np.var(means, ddof=1)), float(np.mean(np.var(seen, axis=1, ddof=1)))
    rounding = (ROUNDING * float(np.max(np.abs(seen)))) ** 2
    between, within = (part if part > rounding else 0.0 for part in (between, within))
    return VarianceSplit(
        draws,
        replications,
        float(np.mean(means)),
        max(0.0, (between - within) / replications),
        within,
        _share(between, within, draws, replications, confidence),
    )


def _share(between: float, within: float, draws: int, replications: int, confidence: float) -> Interval:
    """Share of the inputs with its exact limits, from the mean squares."""
    if between == within == 0.0:
        return Interval(np.nan, np.nan, np.nan)
    tails = ((1.0 + confidence) / 2.0, (1.0 - confidence) / 2.0)
    quantiles = [float(fdtri(draws - 1, draws * (replications - 1), tail)) for tail in tails]
    parts = [(between - f * within) / (between + (replications - 1) * f * within) for f in (1.0, *quantiles)]
    return Interval(*(max(0.0, part) for part in parts))
