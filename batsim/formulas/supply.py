"""Electrical supply of chargers: what they draw, what a line must carry, and what the peaks cost."""

import math

import numpy as np

from batsim.errors import require
from batsim.statistics.intervals import Floats


def apparent_kva(kw: float, power_factor: float) -> float:
    """Apparent power: power over power factor.

    Parameters
    ----------
    kw
        Power. [kW]
    power_factor
        Power factor, above 0 and at most 1. [-]

    Returns
    -------
    float
        S = P/PF. [kVA]

    Raises
    ------
    ValueError
        If the power factor is not above 0 and at most 1.

    References
    ----------
    Definition of the power factor.

    Examples
    --------
    >>> apparent_kva(9.0, 0.9)
    10.0
    """
    require(0.0 < power_factor <= 1.0, f"power factor must be above 0 and at most 1 (got {power_factor:g})")
    return kw / power_factor


def line_current_a(kva: float, line_v: float, phases: int) -> float:
    """Current in a line.

    Parameters
    ----------
    kva
        Apparent power. [kVA]
    line_v
        Voltage between two lines, or of the single phase. [V]
    phases
        1, or 3 with an even load. [-]

    Returns
    -------
    float
        I = S/(sqrt(3) V) for three phases, S/V for one; the same for two, which are two lines of one winding. [A]

    Raises
    ------
    ValueError
        If the voltage is not above 0, or the phases are not 1, 2 or 3.

    References
    ----------
    Definition of the apparent power.

    Examples
    --------
    >>> line_current_a(11.5, 230.0, 1)
    50.0
    >>> round(line_current_a(math.sqrt(3.0) * 40.0, 400.0, 3), 9)
    100.0
    """
    require(line_v > 0.0, f"voltage must be above 0 (got {line_v:g})")
    require(phases in (1, 2, 3), f"phases must be 1, 2 or 3 (got {phases})")
    return 1000.0 * kva / line_v / (math.sqrt(3.0) if phases == 3 else 1.0)


def continuous_rating_a(continuous_a: float, other_a: float, factor: float) -> float:
    """Least rating of conductor and overcurrent device where a load goes on for 3 h or more.

    Parameters
    ----------
    continuous_a, other_a
        Current that goes on for 3 h or more, and other current. [A]
    factor
        1.25 by the US rule. [-]

    Returns
    -------
    float
        1.25 continuous + other. [A]

    References
    ----------
    NEC art. 100, 210.19(A), 210.20(A), 215.2 and 215.3, by way of a note of 2013. Other countries have other rules.

    Examples
    --------
    >>> continuous_rating_a(80.0, 0.0, 1.25)
    100.0
    """
    return factor * continuous_a + other_a


def load_factor_share(mean_kw: float, peak_kw: float) -> float:
    """Load factor: mean power over peak power. [-]

    Raises
    ------
    ValueError
        If the peak is not above 0.

    Examples
    --------
    >>> load_factor_share(30.0, 120.0)
    0.25
    """
    require(peak_kw > 0.0, f"peak must be above 0 (got {peak_kw:g})")
    return mean_kw / peak_kw


def coincidence_share(peak_of_sum_kw: float, peaks_kw: Floats) -> float:
    """Coincidence: peak of the sum over the sum of the peaks; its inverse is the diversity factor.

    Parameters
    ----------
    peak_of_sum_kw
        Peak of all together. [kW]
    peaks_kw
        Peak of each; shape (n,). [kW]

    Returns
    -------
    float
        At most 1 for peaks that are means over the same interval. [-]

    Raises
    ------
    ValueError
        If the peaks do not come to more than 0.

    Examples
    --------
    >>> coincidence_share(15.0, np.array([10.0, 10.0]))
    0.75
    """
    together = float(np.sum(peaks_kw))
    require(together > 0.0, f"peaks must come to more than 0 (got {together:g})")
    return peak_of_sum_kw / together
