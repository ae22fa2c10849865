"""Constants and allocations for picking the best of several alternatives with a stated probability of being right."""

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from scipy.special import gammainccinv, gammaincinv, gammaln, ndtr, stdtr, stdtrit

from batsim.statistics.intervals import Floats, check_above, check_count, check_share

NODES = 400
"""Points of Rinott's quadrature, in each of two directions: they leave an error of about 1e-9."""

LINE_NODES = 8001
"""Points of Dudewicz and Dalal's, in one direction: about 1e-10, and 1e-5 for a first stage of 2 and 0.99."""

TAIL = 1e-17
"""What the quadratures leave out on either side."""


class Constants(NamedTuple):
    """Constants of a fully sequential procedure: eta of its equation, h² = 2 eta (n0-1)."""

    eta: float
    h2: float


def rinott_constant(confidence: float, first_stage: int, alternatives: int) -> float:
    """Rinott's constant h for picking the best in two stages from independent replications. [-]

    Parameters
    ----------
    confidence
        Probability of picking the best if it is better by the tolerance or more; above 1/alternatives. [-]
    first_stage
        Replications n0 of each alternative in the first stage, two or more. [-]
    alternatives
        Alternatives k, two or more. [-]

    Returns
    -------
    float
        h, so that alternative i takes max(n0, ceil((h S_i/tolerance)²)) replications in all. [-]

    Raises
    ------
    ValueError
        When a count is below 2 or the confidence not above 1/alternatives and below 1.

    Notes
    -----
    Solves E_y[(E_x[Phi(h/sqrt(nu(1/x + 1/y)))])^(k-1)] = confidence with x, y chi-squared on nu = n0-1 degrees of
    freedom, by the trapezoid rule over ln x and ln y.

    References
    ----------
    Rinott, Y. (1978) Communications in Statistics A7, 799-811 (from memory).

    Examples
    --------
    >>> round(rinott_constant(0.95, 10, 2), 3)
    2.614
    """
    _check_selection(confidence, first_stage, alternatives)
    nu = first_stage - 1
    low, high = np.log(2.0 * gammaincinv(nu / 2.0, TAIL)), np.log(2.0 * gammainccinv(nu / 2.0, TAIL))
    log_x, step = np.linspace(low, high, NODES, retstep=True)
    x = np.exp(log_x)
    weights = step * np.exp(nu / 2.0 * (log_x - np.log(2.0)) - x / 2.0 - gammaln(nu / 2.0))
    scale = 1.0 / np.sqrt(nu * (1.0 / x[:, None] + 1.0 / x))

    def chance(h: float) -> float:
        return float(weights @ (ndtr(h * scale) @ weights) ** (alternatives - 1))

    return _root(chance, confidence)


def dudewicz_dalal_constant(confidence: float, first_stage: int, alternatives: int) -> float:
    """Dudewicz and Dalal's constant h1 for picking the best in two stages by weighted means. [-]

    Parameters
    ----------
    confidence
        Probability of picking the best if it is better by the tolerance or more; above 1/alternatives. [-]
    first_stage
        Replications n0 of each alternative in the first stage, two or more. [-]
    alternatives
        Alternatives k, two or more. [-]

    Returns
    -------
    float
        h1, so that alternative i takes max(n0+1, ceil((h1 S_i/tolerance)²)) replications in all. [-]

    Raises
    ------
    ValueError
        When a count is below 2 or the confidence not above 1/alternatives and below 1.

    Notes
    -----
    Solves E[F(t + h)^(k-1)] = confidence with t and F Student's on n0-1 degrees of freedom, by the trapezoid rule over
    arsinh t.

    References
    ----------
    Dudewicz, E. J. & Dalal, S. R. (1975) Sankhya B37, 28-78 (from memory).

    Examples
    --------
    >>> round(dudewicz_dalal_constant(0.90, 20, 5), 3)
    2.747
    """
    _check_selection(confidence, first_stage, alternatives)
    nu = first_stage - 1
    end = float(np.arcsinh(-stdtrit(nu, TAIL)))
    v, step = np.linspace(-end, end, LINE_NODES, retstep=True)
    t = np.sinh(v)
    factor = gammaln((nu + 1) / 2.0) - gammaln(nu / 2.0) - 0.5 * np.log(nu * np.pi)
    weights = step * np.cosh(v) * np.exp(factor - (nu + 1) / 2.0 * np.log1p(t**2 / nu))

    def chance(h: float) -> float:
        return float(weights @ stdtr(nu, t + h) ** (alternatives - 1))

    return _root(chance, confidence)


def kim_nelson_constants(alternatives: int, first_stage: int, alpha: float, independent: bool = False) -> Constants:
    """Constants of Kim and Nelson's fully sequential selection with c = 1. [-]

    Parameters
    ----------
    alternatives
        Alternatives k, two or more. [-]
    first_stage
        Replications n0 of each alternative before the first screening, two or more. [-]
    alpha
        Probability of not picking the best though it is better by the tolerance or more. [-]
    independent
        The alternatives are simulated independently, without common random numbers.

    Returns
    -------
    Constants
        eta = ((2 beta)^(-2/(n0-1)) - 1)/2 with beta = alpha/(k-1), or 1-(1-alpha)^(1/(k-1)) when independent. [-]

    Raises
    ------
    ValueError
        When a count is below 2, or beta not above 0 and below 1/2.

    References
    ----------
    Kim, S.-H. & Nelson, B. L. (2001) ACM Transactions on Modeling and Computer Simulation 11, 251-273.

    Examples
    --------
    >>> [round(constant, 4) for constant in kim_nelson_constants(4, 10, 0.05)]
    [0.5647, 10.1642]
    """
    check_count("alternatives", alternatives, 2)
    check_count("first stage", first_stage, 2)
    check_share("alpha", alpha)
    pairs = alternatives - 1
    beta = -math.expm1(math.log1p(-alpha) / pairs) if independent else alpha / pairs
    if beta >= 0.5:
        msg = f"alpha must leave less than 1/2 for each of the other alternatives (got {alpha} for {pairs})"
        raise ValueError(msg)
    eta = math.expm1(-2.0 / (first_stage - 1) * math.log(2.0 * beta)) / 2.0
    return Constants(eta, 2.0 * eta * (first_stage - 1))


def feasibility_constants(alpha: float, first_stage: int) -> Constants:
    """Constants of the fully sequential test of one mean against a limit, c = 1. [-]

    Parameters
    ----------
    alpha
        Probability of a wrong decision when the mean is the tolerance or more away from the limit; below 1/2. [-]
    first_stage
        Replications n0 before the first decision, two or more. [-]

    Returns
    -------
    Constants
        As for two alternatives, one of which is the limit. [-]

    Raises
    ------
    ValueError
        When the first stage is below 2, or alpha not above 0 and below 1/2.

    Notes
    -----
    A Brownian motion with drift d and variance s² leaves the triangle +-(a - d r/2) on the wrong side with probability
    exp(-a d/s²)/2. With a = eta (n0-1) S²/d the mean of that over S² is (1+2 eta)^(-(n0-1)/2)/2, which is alpha.
    Replications one by one are wrong less often.

    References
    ----------
    Andradóttir, S. & Kim, S.-H. (2010) Naval Research Logistics 57, 403-421, procedure F (from memory); Fabian, V.
    (1974) Annals of Statistics 2, 170-176 (from memory); the notes worked out here.

    Examples
    --------
    >>> [round(constant, 4) for constant in feasibility_constants(0.05, 10)]
    [0.3341, 6.0129]
    """
    return kim_nelson_constants(2, first_stage, alpha)


def ocba_allocation(means: Floats, sds: Floats, total: float) -> Floats:
    """Share out a number of replications so that the least mean is told most surely (OCBA). [-]

    Parameters
    ----------
    means
        Mean of each alternative, smaller is better. Any unit.
    sds
        Standard deviation of one replication's value of each, in the same unit.
    total
        Replications to share out. [-]

    Returns
    -------
    ndarray
        Replications of each alternative, not rounded; even when nothing varies. Alternatives as good as the best share
        all with it, which is the limit of the rule. [-]

    Raises
    ------
    ValueError
        When means and deviations are not as many, or none, or a deviation is negative.

    Notes
    -----
    N_i/N_j = ((s_i/d_i)/(s_j/d_j))² with d_i the distance to the best; N_b = s_b sqrt(sum over the others N_i²/s_i²).

    References
    ----------
    Chen, C.-H., Lin, J., Yücesan, E. & Chick, S. E. (2000) Discrete Event Dynamic Systems 10, 251-270; Chen, C.-H. &
    Lee, L. H., Stochastic Simulation Optimization, 2011.

    Examples
    --------
    >>> [round(float(n), 1) for n in ocba_allocation(np.array([1.0, 2.0, 3.0]), np.array([1.0, 1.0, 1.0]), 100.0)]
    [45.2, 43.8, 11.0]
    """
    if means.size != sds.size or not means.size:
        msg = f"means and deviations must be as many, one or more (got {means.size} and {sds.size})"
        raise ValueError(msg)
    if not (sds >= 0.0).all():
        msg = f"deviations must be 0 or more (got {sds.min()})"
        raise ValueError(msg)
    best = int(np.argmin(means))
    others = np.arange(means.size) != best
    distance = means - means[best]
    nearest = distance[others].min(initial=np.inf)
    closeness = np.divide(nearest, distance, out=np.ones_like(distance), where=distance > 0.0)
    parts: Floats = (sds * closeness) ** 2
    parts[best] = sds[best] * np.sqrt(np.sum((sds * closeness**2)[others] ** 2)) if others.any() else 1.0
    return total * (parts / parts.sum() if parts.any() else np.full(means.size, 1.0 / means.size))


def _check_selection(confidence: float, first_stage: int, alternatives: int) -> None:
    check_count("alternatives", alternatives, 2)
    check_count("first stage", first_stage, 2)
    check_share("confidence", confidence)
    check_above("confidence", confidence, 1.0 / alternatives)


def _root(rising: Callable[[float], float], wanted: float) -> float:
    """Where a rising function of a positive number reaches what is wanted, to 1e-12 of it."""
    low, high = 0.0, 1.0
    while rising(high) < wanted:
        low, high = high, 2.0 * high
    while high - low > 1e-12 * high:
        middle = (low + high) / 2.0
        low, high = (low, middle) if rising(middle) >= wanted else (middle, high)
    return high
