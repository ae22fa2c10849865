"""Maximum likelihood: where a likelihood is highest, and how far a parameter may be off (profile likelihood)."""

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from scipy.optimize import brentq, minimize, minimize_scalar
from scipy.special import chdtri, stdtrit

from batsim.statistics.intervals import Floats, Interval

Parameters = tuple[float, ...]
Likelihood = Callable[[Parameters], float]
"""Log-likelihood of parameters above zero; minus infinity where they cannot be."""

WORST = -1e12
"""Log-likelihood of what cannot be, so that a search can turn back."""
FIRST_STEP, FURTHEST = 0.02, 12.0
"""First step of the search for a limit, and the furthest one, in the logarithm of a parameter. [-]"""
AROUND = 2.0
"""How far the other parameter is looked for to both sides, in its logarithm. [-]"""


def highest(likelihood: Likelihood, start: Sequence[float]) -> Parameters:
    """Parameters with the highest log-likelihood, all above zero, searched by their logarithms from a start.

    References
    ----------
    Nelder, J. A. & Mead, R. (1965) The Computer Journal 7, 308-313.

    Examples
    --------
    >>> [round(value, 3) for value in highest(lambda p: -((p[0] - 2.0) ** 2) - (p[1] - 3.0) ** 2, [1.0, 1.0])]
    [2.0, 3.0]
    """
    logs: Floats = np.log(np.array(start, dtype=np.float64))

    def below(free: Floats) -> float:
        return -_finite(likelihood, _above_zero(free))

    simplex = np.vstack([logs, logs + 0.1 * np.eye(logs.size)])
    options: dict[str, Any] = {"initial_simplex": simplex, "xatol": 1e-5, "fatol": 1e-6, "maxiter": 600}
    found: Any = minimize(below, logs, method="Nelder-Mead", options=options)  # type: ignore[call-overload]
    return _above_zero(found.x)


def _above_zero(logs: Floats) -> Parameters:
    """Parameters by their logarithms."""
    return tuple(float(value) for value in np.exp(np.clip(logs, -50.0, 50.0)))


def profile_interval(
    likelihood: Likelihood, best: Parameters, which: int, seen: float, confidence: float, least: float = 0.0
) -> Interval:
    """Interval of one of one or two parameters by its profile likelihood.

    Parameters
    ----------
    likelihood
        Log-likelihood of the parameters.
    best
        Parameters at which it is highest.
    which
        Which of them, from 0.
    seen
        Values behind it, those that were cut off left out. [-]
    confidence
        Probability that the interval holds the true one, between 0 and 1. [-]
    least
        Least value that it may have.

    Returns
    -------
    Interval
        Values that the likelihood ratio does not refuse; not numbers below two values seen.

    Notes
    -----
    Twice the log-likelihood ratio may reach n ln(1 + t²/(n - 1)), t being Student's quantile on n - 1 degrees of
    freedom, in place of the quantile of chi-squared, to which it tends from above: exact for the mean of a normal
    distribution, and wider where few values stand behind it.

    References
    ----------
    Venzon, D. J. & Moolgavkar, S. H. (1988) Applied Statistics 37, 87-94, profile likelihood (from memory); Student's
    quantile in it worked out here.
    """
    if seen < 2:
        return Interval(best[which], np.nan, np.nan)
    student = float(stdtrit(seen - 1.0, (1.0 + confidence) / 2.0))
    allowed = max(seen * np.log1p(student**2 / (seen - 1.0)), float(chdtri(1.0, 1.0 - confidence))) / 2.0
    floor: float = likelihood(best) - allowed
    other = 1 - which

    def above(log_value: float) -> float:
        """Profile over what is allowed at a logarithm of the parameter."""
        value = float(np.exp(log_value))
        if len(best) == 1:
            return _finite(likelihood, (value,)) - floor

        def loss(log_other: float) -> float:
            pair = (value, float(np.exp(log_other)))
            return -_finite(likelihood, pair if which == 0 else pair[::-1])

        middle = float(np.log(best[other]))
        found = minimize_scalar(loss, bounds=(middle - AROUND, middle + AROUND), method="bounded")
        return -float(found.fun) - floor

    ends = [_limit(above, float(np.log(best[which])), side) for side in (-1.0, 1.0)]
    low, high = (float(np.exp(end)) if np.isfinite(end) else np.inf if end > 0.0 else 0.0 for end in ends)
    return Interval(best[which], max(least, low), high)


def _limit(above: Callable[[float], float], middle: float, side: float) -> float:
    """Where a profile falls below what is allowed, to one side of its top; infinite where it never does."""
    inner, step = middle, FIRST_STEP
    while step < FURTHEST:
        outer = middle + side * step
        if above(outer) < 0.0:
            return float(brentq(above, inner, outer, xtol=1e-5))
        inner, step = outer, 2.0 * step
    return side * np.inf


def _finite(likelihood: Likelihood, parameters: Parameters) -> float:
    """Log-likelihood, the worst there is where it is not a number."""
    value = likelihood(parameters)
    return value if value > WORST else WORST
