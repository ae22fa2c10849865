"""Where the warm-up of a series ends: the marginal standard error rule (MSER), and how much of its cut is chance."""

from typing import NamedTuple

import numpy as np
from scipy.special import stdtrit

from batsim.errors import require
from batsim.statistics.intervals import Floats, check_count

BATCH = 5
"""Observations in a batch of the rule MSER-5."""
CONFIDENCE = 0.99
"""Probability that nothing is cut off a series without a warm-up, where its batches are independent and normal."""
MARGIN_SHARE = 0.01
"""Distance from the level, as a part of it, that makes no difference. [-]"""


class Truncation(NamedTuple):
    """How much of the beginning of a series to leave out."""

    batches: int
    """Batches before the least marginal standard error, whether they are left out or not."""
    observations: int
    """Observations to leave out; 0 when the series is too short."""
    least: float
    """Least marginal standard error, squared, in the unit of the series squared."""
    mean: float
    """Mean of what is kept of the whole batches, in the unit of the series."""
    too_short: bool
    """The least lies at the half-way limit: simulate longer, nothing can be said of the warm-up."""


def mser(series: Floats, batch: int = BATCH) -> Truncation:
    """Beginning of a series to leave out, so that the mean of the rest is known best.

    Parameters
    ----------
    series
        Observations in order of time, equally spaced. Any unit.
    batch
        Observations averaged into one before the rule is used; 1 takes them as they are. What is left over after the
        last whole batch is not looked at. [-]

    Returns
    -------
    Truncation
        Of several equal least ones the first.

    Raises
    ------
    ValueError
        When the batch is below 1, the series shorter than one batch, or a value not a finite number.

    Notes
    -----
    MSER(d) = sum over the n-d batches kept of (Z - their mean)²/(n-d)², for d from 0 to n/2. Divided by (n-d)², not
    by (n-d)(n-d-1). A least at d = n/2 says that the series is still on its way.

    References
    ----------
    White, K. P. (1997) Simulation 69(6), 323-334; White, K. P., Cobb, M. J. & Spratt, S. C. (2000), Winter Simulation
    Conference; Hoad, K., Robinson, S. & Davies, R. (2010) Journal of the Operational Research Society 61, 1632-1644
    (all from memory).

    Examples
    --------
    >>> mser(np.array([0.0, 4.0, 5.0, 5.0, 5.0, 5.0]), batch=1)
    Truncation(batches=2, observations=2, least=0.0, mean=5.0, too_short=False)
    """
    check_count("batch", batch, 1)
    check_count("length of the series", series.size, batch)
    finite = np.isfinite(series)
    bad = int(np.argmin(finite))
    require(finite.all(), f"series must hold finite numbers (got {series[bad]} at {bad})")
    count = series.size // batch
    means = series[: count * batch].reshape(count, batch).mean(axis=1)
    half = count // 2
    kept = np.arange(count, count - half - 1, -1)
    from_last = means - means[-1]
    sums = np.cumsum(from_last[::-1])[::-1][: half + 1]
    squares = np.cumsum(from_last[::-1] ** 2)[::-1][: half + 1]
    errors = np.maximum(squares - sums**2 / kept, 0.0) / kept**2
    best = int(np.argmin(errors))
    too_short = best == half
    out = 0 if too_short else best
    return Truncation(best, out * batch, float(errors[best]), float(means[out:].mean()), too_short)


class Settled(NamedTuple):
    """From where on a series is at its level."""

    batches: int
    """Batches to leave out; half of them when the series is too short."""
    too_short: bool
    """Its second half is still on its way: nothing can be said but that it takes longer."""


def settled(series: Floats, batch: int = BATCH) -> Settled:
    """Batches at the beginning of a series that lie apart from its level by more than chance.

    MSER cuts where the rest is known best. In a flat series that is anywhere, so what it cuts is given back from the
    first batch on from which no stretch up to the cut lies apart from what it keeps.

    Parameters
    ----------
    series
        Observations in order of time, equally spaced, best the mean of several replications. Any unit.
    batch
        Observations averaged into one. [-]

    Returns
    -------
    Settled
        Too short when the cut is at the half-way limit, and the second half by itself is not flat.

    Raises
    ------
    ValueError
        As `mser`.

    Notes
    -----
    A stretch of k batches lies apart when its mean differs from that of the m kept by more than
    t(m-1) s (1/k + 1/m)^(1/2), all stretches together at `CONFIDENCE` (Bonferroni). s² is half the mean square of
    successive differences of those kept, which a trend hardly widens.

    References
    ----------
    Control limits from the later part of averaged replications: Robinson, S. (2007) A statistical process control
    approach to selecting a warm-up period for a discrete-event simulation, European Journal of Operational Research
    176, 332-346; successive differences: von Neumann, J. (1941) Annals of Mathematical Statistics 12, 367-395 (both
    from memory). Stretches in place of run rules are worked out here. Cut: as `mser`.

    Examples
    --------
    >>> settled(np.array([0.0, 4.0, 5.1, 4.9, 5.0, 5.1, 4.9, 5.0]), batch=1)
    Settled(batches=2, too_short=False)
    """
    cut = mser(series, batch)
    count = series.size // batch
    means = series[: count * batch].reshape(count, batch).mean(axis=1)
    second = means[count // 2 :]
    if cut.too_short and (second.size < 2 or _apart(second, mser(second, 1).batches)):
        return Settled(count // 2, too_short=True)
    return Settled(_apart(means, cut.batches), too_short=False)


def _apart(means: Floats, cut: int) -> int:
    """Batches before the first one from which no stretch up to the cut lies apart from what is kept."""
    kept = means[cut:]
    if kept.size < 2 or not cut:
        return cut
    level, alpha = float(np.mean(kept)), (1.0 - CONFIDENCE) / 2.0 / cut
    chance = float(stdtrit(kept.size - 1, 1.0 - alpha)) * float(np.sqrt(np.mean(np.diff(kept) ** 2) / 2.0))
    for first in range(cut):
        lengths = np.arange(1, cut - first + 1)
        gaps = np.abs(np.cumsum(means[first:cut] - level)) / lengths
        if np.all(gaps <= chance * np.sqrt(1.0 / lengths + 1.0 / kept.size) + MARGIN_SHARE * abs(level)):
            return first
    return cut
