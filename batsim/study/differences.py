"""Differences of layouts, replication by replication: their intervals, and how they are written."""

from typing import NamedTuple

import numpy as np

from batsim.statistics.intervals import ROUNDING, Floats, Interval, simultaneous
from batsim.study.running.runs import Runs


class Difference(NamedTuple):
    """One layout less another in one measure, replication by replication."""

    measure: str
    layout: str
    other: str
    interval: Interval
    correlation: float
    """Between the two layouts' replications: what common random numbers have brought."""
    unit: str
    variance_reduction: float = np.nan
    """Variance of the difference with independent runs over that with common random numbers, as these runs tell. [-]"""

    @property
    def clear(self) -> bool:
        """True when the interval leaves out zero."""
        return self.interval.low > 0.0 or self.interval.high < 0.0


def signed(interval: Interval) -> str:
    """Write a difference with its half width, to the digits that the half width carries."""
    digits = 1 if not np.isfinite(interval.half_width) or interval.half_width >= 0.05 else 2
    return f"{interval.mean:+.{digits}f} ± {interval.half_width:.{digits}f}"


def difference_of(first: Floats, second: Floats) -> Floats:
    """Difference of paired values; what is rounding is nothing."""
    difference: Floats = first - second
    small = np.abs(difference) <= ROUNDING * np.maximum(np.abs(first), np.abs(second))
    return np.where(small, 0.0, difference)


def correlation(first: Floats, second: Floats) -> float:
    """Correlation of paired values; not a number when one does not vary."""
    if first.size < 3 or np.std(first) == 0.0 or np.std(second) == 0.0:
        return float("nan")
    return float(np.corrcoef(first, second)[0, 1])


def confidence_of_differences(runs: Runs, measures: tuple[str, ...]) -> float:
    """Confidence of each interval, so that those of all pairs of layouts in all measures hold together (Bonferroni)."""
    layouts = len(runs.layouts)
    return simultaneous(runs.confidence, layouts * (layouts - 1) // 2 * len(measures))
