"""How many replications, or how long a run, a stated precision takes."""

import math
from bisect import bisect_left
from dataclasses import asdict, dataclass

import numpy as np
from scipy.special import stdtrit

from batsim.errors import require
from batsim.statistics.intervals import Floats, Interval, check_above_zero, check_count, check_share

MOST = 2**53
"""No count of replications is looked for above this; it stands for never."""


@dataclass(frozen=True)
class Precision:
    """How wide an interval may be at most. Where both are stated, the wider one is enough.

    So "5 %, but no finer than 0.1 minutes" can be said, which ends also where the mean is close to zero.

    Raises
    ------
    ValueError
        When neither is stated, or one is not above zero.
    """

    absolute: float | None = None
    """Largest half width, in the unit of the values."""
    relative: float | None = None
    """Largest error of the mean as a share of the true mean. [-]"""

    def __post_init__(self) -> None:
        stated = {name: width for name, width in asdict(self).items() if width is not None}
        require(stated, "precision needs an absolute or a relative half width (got neither)")
        for name, width in stated.items():
            check_above_zero(f"{name} precision", width)

    def half_width_at(self, mean: float) -> float:
        """Largest half width that is precise enough about a mean, in its unit.

        The relative error g is against the true mean, the half width stands against the estimate: g/(1+g) of it.

        References
        ----------
        Law, A. M., Simulation Modeling and Analysis, 5th ed. 2015, section 9.4.1 (from memory).

        Examples
        --------
        >>> round(Precision(relative=0.10).half_width_at(2.2), 6)
        0.2
        """
        of_mean = 0.0 if self.relative is None else self.relative / (1.0 + self.relative) * abs(mean)
        return max(self.absolute or 0.0, of_mean)

    def reached(self, interval: Interval) -> bool:
        """Whether an interval is narrow enough; one without limits is not."""
        return bool(interval.half_width <= self.half_width_at(interval.mean))

    def next_count(self, values: Floats, confidence: float, most: int) -> int:
        """Replications to have in all before it is worth looking again.

        Parameters
        ----------
        values
            One value for each replication so far; some may be not a number. Any unit.
        confidence
            Probability that the interval holds the true mean, between 0 and 1. [-]
        most
            Replications that there may be at most. [-]

        Returns
        -------
        int
            What this precision takes if the variance stays as it is; but at least one more than so far, at most twice
            as many, and never above the most. [-]

        Raises
        ------
        ValueError
            When the confidence is not between 0 and 1.

        Examples
        --------
        >>> Precision(absolute=0.4).next_count(np.array([1.20, 1.50, 1.68, 1.89, 0.95]), 0.90, most=100)
        6
        """
        check_share("confidence", confidence)
        seen = values[~np.isnan(values)]
        needed = 2 * values.size
        if seen.size > 1:
            half = self.half_width_at(float(np.mean(seen)))
            count = _least_count(float(np.var(seen, ddof=1)), confidence, half, seen.size, 2 * seen.size)
            needed = math.ceil(count * values.size / seen.size)
        return min(max(needed, values.size + 1), most)


def replications_needed(
    variance: float, confidence: float, precision: Precision, *, n0: int, mean: float | None = None
) -> int:
    """Replications that a precision takes if variance and mean stay as they were estimated. [-]

    Parameters
    ----------
    variance
        Variance of one replication's value, in the unit of the values squared.
    confidence
        Probability that the interval holds the true mean, between 0 and 1. [-]
    precision
        What is wanted; a relative one needs the mean.
    n0
        Replications that there are already, two or more. [-]
    mean
        Estimated mean, in the unit of the values.

    Returns
    -------
    int
        Smallest i of n0 or more with t(i-1, (1+confidence)/2) sqrt(variance/i) at most the half width: the absolute
        one, or relative/(1+relative) of the mean. [-]

    Raises
    ------
    ValueError
        When a relative precision alone has no mean or a mean of zero, n0 is below 2, the variance is negative, or the
        confidence is not between 0 and 1.

    References
    ----------
    Law, A. M., Simulation Modeling and Analysis, 5th ed. 2015, section 9.4.1 (from memory).

    Examples
    --------
    >>> replications_needed(0.31, 0.90, Precision(absolute=0.25), n0=10)
    16
    >>> replications_needed(0.31, 0.90, Precision(relative=0.10), n0=10, mean=2.03)
    27
    """
    check_share("confidence", confidence)
    check_count("replications so far", n0, 2)
    require(0.0 <= variance < math.inf, f"variance must be 0 or more (got {variance})")
    require(precision.absolute or mean, f"relative precision alone needs a mean other than zero (got {mean})")
    return _least_count(variance, confidence, precision.half_width_at(mean or 0.0), n0)


def _least_count(variance: float, confidence: float, half_width: float, least: int, most: int = MOST) -> int:
    """Smallest count from the least one on whose interval is narrow enough, the most at most."""

    def narrow(count: int) -> bool:
        return bool(stdtrit(count - 1, (1.0 + confidence) / 2.0) * math.sqrt(variance / count) <= half_width)

    if narrow(least):
        return least
    short, enough = least, 2 * least
    while enough < most and not narrow(enough):
        short, enough = enough, 2 * enough
    between = range(short + 1, min(enough, most))
    return between.start + bisect_left(between, True, key=narrow)
