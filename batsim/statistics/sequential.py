"""A fully sequential procedure: replication by replication, whether a mean keeps a limit."""

import math
from collections.abc import Sequence
from typing import Literal, NamedTuple

import numpy as np

from batsim.errors import require
from batsim.statistics.intervals import Floats, check_above_zero, check_count, check_share

Decision = Literal["feasible", "infeasible"]


class Constants(NamedTuple):
    """Constants of a fully sequential procedure: eta of its equation, h² = 2 eta (n0-1)."""

    eta: float
    h2: float


def kim_nelson_constants(alternatives: int, first_stage: int, alpha: float) -> Constants:
    """Constants of Kim and Nelson's fully sequential selection with c = 1. [-]

    Parameters
    ----------
    alternatives
        Alternatives k, two or more. [-]
    first_stage
        Replications n0 of each alternative before the first screening, two or more. [-]
    alpha
        Probability of not picking the best though it is better by the tolerance or more. [-]

    Returns
    -------
    Constants
        eta = ((2 beta)^(-2/(n0-1)) - 1)/2 with beta = alpha/(k-1). [-]

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
    beta = alpha / pairs
    rule = "alpha must leave less than 1/2 for each of the other alternatives"
    require(beta < 0.5, f"{rule} (got {alpha} for {pairs})")
    eta = math.expm1(-2.0 / (first_stage - 1) * math.log(2.0 * beta)) / 2.0
    return Constants(eta, 2.0 * eta * (first_stage - 1))


class Feasibility:
    """Tells whether a mean keeps a limit, replication by replication.

    Call `add` until `decision` is not None. It is wrong with probability alpha at most when the mean is the tolerance
    or more away from the limit; closer to it either decision is right enough.

    Parameters
    ----------
    limit
        Largest mean that is feasible. Any unit.
    tolerance
        Distance from the limit at which the decision is to be right, above zero, in the same unit.
    alpha
        Probability of a wrong decision, below 1/2. [-]
    first_stage
        Replications before the first decision, two or more. [-]

    Raises
    ------
    ValueError
        As `kim_nelson_constants`; when the tolerance is not above zero.

    Notes
    -----
    The sum of value - limit over r replications decides, "feasible" at or below -R(r), "infeasible" at or above R(r),
    R(r) = max(0, h² S²/(2 tolerance) - tolerance r/2), S² the variance over the first stage. Without variance it
    decides after the first stage. A sum of zero when R is zero is feasible.

    The constants are those of two alternatives, one of which is the limit: a Brownian motion with drift d and variance
    s² leaves the triangle +-(a - d r/2) on the wrong side with probability exp(-a d/s²)/2. With a = eta (n0-1) S²/d the
    mean of that over S² is (1+2 eta)^(-(n0-1)/2)/2, which is alpha. Replications one by one are wrong less often.

    References
    ----------
    Andradóttir, S. & Kim, S.-H. (2010) Naval Research Logistics 57, 403-421, procedure F (from memory); Fabian, V.
    (1974) Annals of Statistics 2, 170-176 (from memory); the constants worked out here.

    Examples
    --------
    >>> test = Feasibility(limit=10.0, tolerance=1.0, alpha=0.05, first_stage=4)
    >>> test.add([8.0, 9.0, 8.0]), test.add(9.0)
    (None, 'feasible')
    """

    def __init__(self, limit: float, tolerance: float, alpha: float, first_stage: int) -> None:
        self.constants = kim_nelson_constants(2, first_stage, alpha)
        check_above_zero("tolerance", tolerance)
        self.limit = limit
        self.tolerance = tolerance
        self.first_stage = first_stage
        self.replications = 0
        self.decision: Decision | None = None
        self._first: list[float] = []
        self._sum = 0.0
        self._allowance = 0.0

    def add(self, values: float | Sequence[float] | Floats) -> Decision | None:
        """Take one value or several in their order and tell the decision, or None; after it nothing is looked at.

        Raises
        ------
        ValueError
            When a value is not a finite number.
        """
        for value in np.atleast_1d(np.asarray(values, dtype=np.float64)).tolist():
            if self.decision is not None:
                break
            require(math.isfinite(value), f"value must be a finite number (got {value})")
            self.replications += 1
            self._sum += value - self.limit
            if self.replications <= self.first_stage:
                self._first.append(value - self.limit)
            if self.replications == self.first_stage:
                self._allowance = self.constants.h2 * float(np.var(self._first, ddof=1))
            if self.replications >= self.first_stage:
                far = max(0.0, self._allowance / self.tolerance - self.tolerance * self.replications) / 2.0
                if abs(self._sum) >= far:
                    self.decision = "feasible" if self._sum <= 0.0 else "infeasible"
        return self.decision
