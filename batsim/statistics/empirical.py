"""What was measured, as it is: the share that is over by each value, with a band, cut-off values counted as such."""

from typing import NamedTuple

import numpy as np

from batsim.errors import require
from batsim.statistics.intervals import Floats, check_share


class Steps(NamedTuple):
    """Share that is over by each value: it rises at the values in `at`, and holds from one to the next."""

    at: Floats
    """Values that were seen, each once, in rising order."""
    share: Floats
    """Share at or below each. [-]"""
    low: Floats
    """Lower edge of the band that holds the whole true curve. [-]"""
    high: Floats
    """Upper edge. [-]"""
    middle: Floats
    """Share half-way up each step: where a law's quantile belongs beside the value. [-]"""


def empirical(values: Floats, censored: "np.ndarray[tuple[int], np.dtype[np.bool_]]", confidence: float) -> Steps:
    """Share that is over by each value, with a simultaneous band.

    Parameters
    ----------
    values
        Independent values. Any unit.
    censored
        Which of them were cut off: the true one is longer.
    confidence
        Probability that the band holds the whole true curve, between 0 and 1. [-]

    Returns
    -------
    Steps
        One entry for each different value that was seen to its end; none where all were cut off.

    Raises
    ------
    ValueError
        When there is no mark for each value, or the confidence is not between 0 and 1.

    Notes
    -----
    Kaplan and Meier's estimate, which without cut-off values is the plain share. The band reaches h (1 + n v) S/sqrt(n)
    to both sides, S being the share above and v Greenwood's sum over d/(r (r - d)); with nothing cut off, (1 + n v) S
    is 1, and the band is that of Dvoretzky, Kiefer and Wolfowitz, h = sqrt(ln(2/(1 - confidence))/2).

    References
    ----------
    Kaplan, E. L. & Meier, P. (1958) Journal of the American Statistical Association 53, 457-481; Hall, W. J. & Wellner,
    J. A. (1980) Biometrika 67, 133-143; Massart, P. (1990) Annals of Probability 18, 1269-1283 (all from memory).

    Examples
    --------
    >>> steps = empirical(np.array([1.0, 2.0, 2.0, 4.0]), np.array([False, False, True, False]), 0.95)
    >>> steps.share.tolist()
    [0.25, 0.5, 1.0]
    """
    check_share("confidence", confidence)
    require(values.size == censored.size, f"there must be a mark for each value (got {values.size}, {censored.size})")
    at, ended = np.unique(values[~censored], return_counts=True)
    under_way = values.size - np.searchsorted(np.sort(values), at)
    factors = 1.0 - ended / under_way
    above = np.cumprod(factors)
    with np.errstate(divide="ignore", invalid="ignore"):
        widening = (1.0 + values.size * np.cumsum(ended / (under_way * (under_way - ended)))) * above
    if at.size and above[-1] == 0.0:
        widening[-1] = widening[-2] if at.size > 1 else 1.0
    half = np.sqrt(np.log(2.0 / (1.0 - confidence)) / 2.0 / max(1, values.size)) * widening
    share: Floats = np.asarray(1.0 - above, dtype=np.float64)
    middle: Floats = share - (np.append(1.0, above[:-1]) - above)[: at.size] / 2.0
    return Steps(at, share, np.clip(share - half, 0.0, 1.0), np.clip(share + half, 0.0, 1.0), middle)


def quantiles_of(steps: Steps, shares: Floats) -> Floats:
    """Values by which shares are over; the greatest one seen where a share is never reached."""
    return steps.at[np.minimum(np.searchsorted(steps.share, shares - 1e-12), steps.at.size - 1)]
