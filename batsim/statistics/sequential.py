"""Fully sequential procedures: replication by replication, which alternative is best, and whether one keeps a limit."""

import math
from collections.abc import Sequence
from typing import Literal

import numpy as np

from batsim.statistics.intervals import Floats, check_above
from batsim.statistics.selection import feasibility_constants, kim_nelson_constants

Decision = Literal["feasible", "infeasible"]


class KimNelson:
    """Picks the best of several alternatives, replication by replication; common random numbers are welcome.

    Call `add` with one replication of all alternatives that are still in until `selected` is not None. It is the best
    with probability 1-alpha or more if the best is better than every other by the tolerance or more. Alternatives that
    are closer to the best than that may be picked in its place.

    Parameters
    ----------
    alternatives
        Alternatives, two or more. [-]
    first_stage
        Replications of each before the first screening, two or more. [-]
    alpha
        Probability of not picking the best. [-]
    tolerance
        Difference of means that is worth telling, above zero, in the unit of the values.
    larger_is_better
        Look for the largest mean instead of the least.
    independent
        The alternatives are simulated independently, without common random numbers.

    Raises
    ------
    ValueError
        As `kim_nelson_constants`; when the tolerance is not above zero.

    Notes
    -----
    After each replication r from the first stage on, alternative i goes when another one that is still in is better
    in the sum of r values by more than max(0, h² S²/(2 tolerance) - tolerance r/2), S² the variance of the difference
    of the two over the first stage.

    References
    ----------
    Kim, S.-H. & Nelson, B. L. (2001) ACM Transactions on Modeling and Computer Simulation 11, 251-273, procedure KN.
    """

    def __init__(
        self,
        alternatives: int,
        first_stage: int,
        alpha: float,
        tolerance: float,
        *,
        larger_is_better: bool = False,
        independent: bool = False,
    ) -> None:
        self.constants = kim_nelson_constants(alternatives, first_stage, alpha, independent)
        check_above("tolerance", tolerance)
        self.first_stage = first_stage
        self.tolerance = tolerance
        self.sign = 1.0 if larger_is_better else -1.0
        self.replications = 0
        self.still_in = tuple(range(alternatives))
        self.eliminated: dict[int, int] = {}
        """Replications after which each alternative went, in the order in which they went."""
        self.selected: int | None = None
        self._first: list[Floats] = []
        self._sums = np.zeros(alternatives)
        self._allowance = np.zeros((alternatives, alternatives))

    @property
    def variances(self) -> Floats | None:
        """Variance of the difference of each pair, in the unit of the values squared; None in the first stage."""
        if self.replications < self.first_stage:
            return None
        return self._allowance / self.constants.h2

    @property
    def at_most(self) -> int | None:
        """Replications in all that those still in could need at most; None in the first stage."""
        if self.replications < self.first_stage:
            return None
        if self.selected is not None:
            return self.replications
        pairs = self._allowance[np.ix_(self.still_in, self.still_in)] / self.tolerance**2
        return max(self.replications, math.floor(float(pairs.max())) + 1)

    def add(self, values: Floats) -> int | None:
        """Take one replication and tell which alternative is picked, or None.

        Parameters
        ----------
        values
            One value for each alternative, those that are out included, whose values are not looked at. Any unit.
            Once one is picked nothing is looked at.

        Raises
        ------
        ValueError
            When the values are not one for each alternative, or one that is still in has no finite value.
        """
        if self.selected is not None:
            return self.selected
        inside = list(self.still_in)
        if values.shape != self._sums.shape:
            msg = f"values must be one for each of {self._sums.size} alternatives (got shape {values.shape})"
            raise ValueError(msg)
        if not np.isfinite(values[inside]).all():
            msg = f"alternatives still in, {inside}, must have finite values (got {values[inside].tolist()})"
            raise ValueError(msg)
        self.replications += 1
        self._sums[inside] += self.sign * values[inside]
        if self.replications <= self.first_stage:
            self._first.append(values)
        if self.replications == self.first_stage:
            table = np.array(self._first)
            self._allowance = self.constants.h2 * np.var(table[:, :, None] - table[:, None, :], axis=0, ddof=1)
        return self._screen(inside) if self.replications >= self.first_stage else None

    def _screen(self, inside: list[int]) -> int | None:
        """Let go who is behind by more than the allowance; pick when one is left or time is up."""
        pairs = self._allowance[np.ix_(inside, inside)]
        slack = np.maximum(0.0, pairs / self.tolerance - self.tolerance * self.replications) / 2.0
        sums = self._sums[inside]
        behind = (sums[None, :] - sums[:, None] > slack).any(axis=1)
        if self.replications > math.floor(pairs.max() / self.tolerance**2):
            behind = np.arange(len(inside)) != int(np.argmax(sums))
        for alternative in np.array(inside)[behind].tolist():
            self.eliminated[alternative] = self.replications
        self.still_in = tuple(np.array(inside)[~behind].tolist())
        if len(self.still_in) == 1:
            self.selected = self.still_in[0]
        return self.selected


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
        As `feasibility_constants`; when the tolerance is not above zero.

    Notes
    -----
    The sum of value - limit over r replications decides, "feasible" at or below -R(r), "infeasible" at or above R(r),
    R(r) = max(0, h² S²/(2 tolerance) - tolerance r/2), S² the variance over the first stage. Without variance it
    decides after the first stage. A sum of zero when R is zero is feasible.

    References
    ----------
    As `feasibility_constants`.

    Examples
    --------
    >>> test = Feasibility(limit=10.0, tolerance=1.0, alpha=0.05, first_stage=4)
    >>> test.add([8.0, 9.0, 8.0]), test.add(9.0), test.at_most_more
    (None, 'feasible', 0)
    """

    def __init__(self, limit: float, tolerance: float, alpha: float, first_stage: int) -> None:
        self.constants = feasibility_constants(alpha, first_stage)
        check_above("tolerance", tolerance)
        self.limit = limit
        self.tolerance = tolerance
        self.first_stage = first_stage
        self.replications = 0
        self.decision: Decision | None = None
        self._first: list[float] = []
        self._sum = 0.0
        self._allowance = 0.0

    @property
    def at_most_more(self) -> int | None:
        """Replications that a decision could still take at most; None in the first stage."""
        if self.decision is not None:
            return 0
        if self.replications < self.first_stage:
            return None
        return max(1, math.ceil(self._allowance / self.tolerance**2) - self.replications)

    def add(self, values: float | Sequence[float] | Floats) -> Decision | None:
        """Take one value or several in their order and tell the decision, or None; after it nothing is looked at.

        Raises
        ------
        ValueError
            When a value is not a finite number.
        """
        for value in np.atleast_1d(np.asarray(values, dtype=np.float64)).tolist():
            if self.decision is None:
                self._take(value)
        return self.decision

    def _take(self, value: float) -> None:
        if not math.isfinite(value):
            msg = f"value must be a finite number (got {value})"
            raise ValueError(msg)
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
