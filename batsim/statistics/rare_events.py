"""Ratios and events that are rare: pooled over replications, intervals of skewed values, counts of few events."""

from typing import NamedTuple

import numpy as np
from scipy.special import chdtri, ndtri, stdtrit

from batsim.errors import require
from batsim.statistics.intervals import Floats, Interval, check_share, probability_interval, student_interval

FEWEST_EVENTS = 20
"""Independent events on which an interval must rest; below them a count is told. The relative standard error of 20 is
22 % (technical notes of the US National Vital Statistics Reports: rates on fewer than 20 events are not reliable, from
memory)."""


class Count(NamedTuple):
    """How often something happened over all replications; told in place of an interval where that is seldom."""

    events: int
    of: int
    """Times that it could have happened."""
    replications_with: int
    """Replications in which it happened at all."""
    replications: int
    chance: Interval
    """Probability that it happens at all in a replication: the exact interval, since replications are independent."""


def pooled_values(values: Floats, weights: Floats) -> Floats:
    """Values whose mean is the ratio of sums over replications, and whose variance is that of the ratio.

    Parameters
    ----------
    values
        A ratio, or a mean, of each replication; what is not a number has no weight. Any unit.
    weights
        What it was divided by in each replication, such as the exchanges that a mean wait is over; 0 or more. Any unit.

    Returns
    -------
    array, one entry for each replication
        R + w (value - R)/mean w with R = sum w value/sum w; the values themselves when all weigh alike, not numbers
        when nothing weighs.

    Raises
    ------
    ValueError
        When the two are not of equal length.

    References
    ----------
    Ratio estimator, linearised: Cochran, W. G., Sampling Techniques, 3rd ed. 1977, chapter 6 (from memory).

    Examples
    --------
    >>> pooled_values(np.array([0.5, 0.0]), np.array([2.0, 8.0])).tolist()
    [0.26, -0.06]
    """
    got = f"{values.size} and {weights.size}"
    require(values.size == weights.size, f"there must be a weight for each value (got {got})")
    weighs = np.where(np.isnan(values), 0.0, weights)
    if not np.any(weighs > 0.0):
        return np.full_like(values, np.nan)
    if not np.isnan(values).any() and np.ptp(weighs) == 0.0:
        return values
    seen = np.where(weighs > 0.0, values, 0.0)
    ratio = float(np.sum(weighs * seen) / np.sum(weighs))
    linear: Floats = ratio + weighs * (seen - ratio) / np.mean(weighs)
    return linear


def skewed_interval(values: Floats, confidence: float) -> Interval:
    """Interval for the mean of independent values that are skewed, such as minutes of waits that are mostly none.

    Parameters
    ----------
    values
        One value for each replication; those that are not numbers are left out. Any unit.
    confidence
        Probability that the interval holds the true mean, between 0 and 1. [-]

    Returns
    -------
    Interval
        Mean and limits, on each side the further one of Hall's and Student's; Student's below three values and for
        values without skewness, not numbers below two.

    Notes
    -----
    With S = (mean - true mean)/s and the sample's skewness g, S + g S²/3 + g² S³/27 + g/(6n) is nearly normal with
    variance 1/n; its inverse gives Hall's limits, which reach further to the side of the long tail. Student's quantile
    stands in place of the normal one, which is more cautious, as is the further limit (worked out here).

    References
    ----------
    Hall, P. (1992) On the removal of skewness by transformation, Journal of the Royal Statistical Society B 54,
    221-228 (from memory).

    Examples
    --------
    >>> [round(limit, 2) for limit in skewed_interval(np.array([0.0, 0.0, 1.0, 0.0, 4.0, 1.0]), 0.95)]
    [1.0, -0.63, 5.9]
    """
    seen = values[~np.isnan(values)]
    usual, count = student_interval(seen, confidence), seen.size
    deviation = float(np.std(seen, ddof=1)) if count >= 3 else 0.0
    if deviation == 0.0:
        return usual
    third = float(np.mean((seen - usual.mean) ** 3))
    skewness = third / deviation**3 * count**2 / ((count - 1) * (count - 2))
    quantile = float(stdtrit(count - 1, (1.0 + confidence) / 2.0)) / np.sqrt(count)
    if abs(skewness) * quantile < 1e-6:
        return usual
    ends = np.array([quantile, -quantile])
    back = 3.0 / skewness * (np.cbrt(1.0 + skewness * (ends - skewness / (6.0 * count))) - 1.0)
    low, high = usual.mean - deviation * back
    return Interval(usual.mean, min(usual.low, float(low)), max(usual.high, float(high)))


def independent_events(values: Floats) -> float:
    """Independent events of equal weight on which a mean would rest that is known as well: n mean²/s². [-]

    Events that come in clusters, or differ in weight, count for fewer than there are. Infinite where nothing varies.

    Parameters
    ----------
    values
        One for each replication, two or more: a count, an amount, or what `pooled_values` returns. Any unit.

    References
    ----------
    Kish, L., Survey Sampling, 1965 (from memory): a number divided by its design effect.

    Examples
    --------
    >>> independent_events(np.array([3.0, 5.0, 4.0]))
    48.0
    """
    deviation, mean = float(np.std(values, ddof=1)), float(np.mean(values))
    if deviation == 0.0:
        return float("inf") if mean else 0.0
    return float(values.size) * (mean / deviation) ** 2


def events_interval(events: Floats, confidence: float) -> Interval:
    """Interval for the mean number of events in a replication, also where they are few and come in clusters.

    Parameters
    ----------
    events
        Number in each replication, two or more; 0 or more. What `pooled_values` returns may stand in place of one. [-]
    confidence
        Probability that the interval holds the true mean, between 0 and 1. [-]

    Returns
    -------
    Interval
        Exact limits of a Poisson mean for as many events as are independent, at most as many as there are. [-]

    Raises
    ------
    ValueError
        When the confidence is not between 0 and 1.

    Notes
    -----
    Without any event nothing tells whether they come in clusters; they are taken for single ones then.

    References
    ----------
    Garwood, F. (1936) Biometrika 28, 437-442; effective number as Korn, E. L. & Graubard, B. I. (1998) Survey
    Methodology 24, 193-201 (both from memory).

    Examples
    --------
    >>> [round(limit, 4) for limit in events_interval(np.zeros(20), 0.95)]
    [0.0, 0.0, 0.1844]
    """
    check_share("confidence", confidence)
    tail, total = (1.0 - confidence) / 2.0, float(np.sum(events))
    few = float(ndtri(tail) / stdtrit(events.size - 1, tail)) ** 2
    known = min(total, independent_events(events) * few) if total > 0.0 else 0.0
    low = float(chdtri(2.0 * known, 1.0 - tail)) / 2.0 if known else 0.0
    high = float(chdtri(2.0 * known + 2.0, tail)) / 2.0
    each = (total / known if known else 1.0) / events.size
    return Interval(total / events.size, low * each, high * each)


def count_of(events: Floats, of: Floats, confidence: float) -> Count:
    """Count events over replications.

    Parameters
    ----------
    events, of
        Number in each replication, and of how many. [-]
    confidence
        Least probability that the interval holds the chance of a replication with an event, between 0 and 1. [-]

    Raises
    ------
    ValueError
        When the confidence is not between 0 and 1.

    Examples
    --------
    >>> count_of(np.array([0.0, 7.0]), np.array([241.0, 240.0]), 0.95)[:4]
    (7, 481, 1, 2)
    """
    found = int(np.count_nonzero(events))
    chance = probability_interval(found, events.size, confidence)
    return Count(round(float(np.sum(events))), round(float(np.sum(of))), found, int(events.size), chance)
