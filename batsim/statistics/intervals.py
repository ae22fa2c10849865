"""Confidence intervals for means of independent replications."""

from typing import NamedTuple

import numpy as np
from scipy.special import stdtrit


class Interval(NamedTuple):
    """A mean and the interval that holds the true one with the stated confidence."""

    mean: float
    low: float
    high: float

    @property
    def half_width(self) -> float:
        """Half the width of the interval."""
        return (self.high - self.low) / 2.0


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
