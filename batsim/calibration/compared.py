"""A number of the logs beside that of a model: where one stretch of weeks lies, as some runs of it tell."""

from typing import NamedTuple

import numpy as np
from scipy.special import stdtrit

from batsim.calibration.course import LogMeasure, Where, log_measures
from batsim.statistics.intervals import Floats, Interval

INSIDE, ABOVE, BELOW = "inside", "above", "below"
"""How what was measured can lie to what the model gives."""
SAME_SHARE = 0.01
"""What lies so near to what the model gives, as a part of it, is the same."""
LEAST_ROOT = 1e-6
"""Half-width of the cube root of what is nothing in all runs."""


class Predicted(NamedTuple):
    """Where one more value of the same kind as some lies, none of them below nothing."""

    mean: float
    low: float
    high: float
    middle_root: float
    """Mean of the cube roots."""
    half_root: float
    """Half the width between the limits of the cube root."""

    @property
    def interval(self) -> Interval:
        """Mean and limits."""
        return Interval(self.mean, self.low, self.high)

    def half_widths(self, value: float) -> float:
        """How far a value lies from the middle, in half-widths: -1 and 1 at the limits."""
        return (float(np.cbrt(value)) - self.middle_root) / self.half_root


def predicted(values: Floats, confidence: float) -> Predicted:
    """Where one more value of the same kind lies, as some independent ones tell.

    Parameters
    ----------
    values
        Two or more, none below nothing; those that are not numbers are left out. Any unit.
    confidence
        Probability that it lies between the limits, between 0 and 1.

    Returns
    -------
    Predicted
        Their mean, and Student's limits mean -+ t(n-1, (1+confidence)/2) s sqrt(1+1/n) of the cube root, raised again.

    Notes
    -----
    Means of waits over a few weeks are skew; the cube root of what has a gamma law is nearly normal (Wilson & Hilferty
    1931, from memory). Where values vary little it makes no difference.

    Examples
    --------
    >>> [round(each, 2) for each in predicted(np.array([1.0, 8.0, 27.0]), 0.9)]
    [12.0, 0.0, 155.0, 2.0, 3.37]
    """
    seen = values[np.isfinite(values)]
    roots, count = np.cbrt(seen), seen.size
    quantile = float(stdtrit(count - 1, (1.0 + confidence) / 2.0))
    middle = float(np.mean(roots))
    half = quantile * float(np.std(roots, ddof=1)) * float(np.sqrt(1.0 + 1.0 / count))
    half = max(half, SAME_SHARE / 3.0 * middle, LEAST_ROOT)
    return Predicted(float(np.mean(seen)), max(0.0, middle - half) ** 3, (middle + half) ** 3, middle, half)


class Compared(NamedTuple):
    """A number of the logs beside that of the model."""

    measure: str
    """Name of a measure of `course.csv`."""
    where: Where
    measured: float
    simulated: Predicted
    """Mean of the runs, and limits between which one stretch of so many weeks lies."""
    decides: bool
    """Whether it is one of the numbers that decide the verdict."""

    @property
    def gap(self) -> float:
        """Measured less simulated, in its unit."""
        return self.measured - self.simulated.mean

    @property
    def gap_in_half_widths(self) -> float:
        """How far it lies from the middle of the model, in half-widths."""
        return self.simulated.half_widths(self.measured)

    @property
    def verdict(self) -> str:
        """Whether what was measured lies inside the limits, above or below them."""
        if abs(self.gap_in_half_widths) <= 1.0:
            return INSIDE
        return ABOVE if self.gap > 0.0 else BELOW

    @property
    def about(self) -> LogMeasure:
        """What it is."""
        return log_measures()[self.measure]

    def amount(self, *values: float) -> str:
        """Values in its unit, to three digits, the last with the unit; a share in per cent."""
        if self.about.unit == "share":
            return f"{' to '.join(_digits(100.0 * value) for value in values)} %"
        unit = "" if self.about.unit in {"1", "1/day"} else f" {self.about.unit}"
        return f"{' to '.join(map(_digits, values))}{unit}"

    @property
    def title(self) -> str:
        """Such as `wait for an exchange (night shift)`."""
        return f"{self.about.label} ({self.where.text})" if self.where.text else self.about.label

    @property
    def sentence(self) -> str:
        """What was measured, what the model gives, and its limits."""
        low, high = self.simulated.low, self.simulated.high
        return (
            f"{self.title}: {self.amount(self.measured)} measured, {self.amount(self.simulated.mean)} in "
            f"the model ({self.amount(low, high)})"
        )

    @property
    def against(self) -> str:
        """The hours that it is about, what was measured and what the model gives."""
        mean = self.amount(self.simulated.mean)
        return f"{self.where.name.replace('-', ' to ')}, {self.amount(self.measured)} against {mean}"


def _digits(value: float) -> str:
    """A number to three digits, but not beyond the second decimal."""
    return f"{value:,.0f}" if abs(value) >= 100.0 else f"{value:.1f}" if abs(value) >= 10.0 else f"{value:.2f}"
