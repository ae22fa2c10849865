"""Samples that laws are fitted to: values seen to their end, those cut off before it, and what they are rounded to."""

from functools import cached_property
from typing import NamedTuple

import numpy as np

from batsim.statistics.intervals import Floats

LEAST_CV = 1e-4
"""Least coefficient of variation of a law that varies. [-]"""


class Grid(NamedTuple):
    """What values are rounded to."""

    width: float
    """Unit of the values."""
    coarse: bool
    """Whether that is much beside their spread, so that a value counts as anything that is rounded to it."""


class Cells(NamedTuple):
    """What rounded values may have been."""

    low: Floats
    high: Floats
    values: Floats
    """Values in each. [-]"""


class Sample:
    """Values that were seen to their end, and those that were cut off before it (censored to the right).

    Parameters
    ----------
    seen, cut
        Values in rising order, all of one unit.
    grid
        What they are rounded to; none where they are not.
    """

    def __init__(self, seen: Floats, cut: Floats, grid: Grid | None = None) -> None:
        self.seen, self.cut, self.grid = seen, cut, grid
        self.events = seen.size
        self.total = float(np.sum(seen))

    @cached_property
    def cells(self) -> Cells:
        """What the rounded values may have been; asked only where there is a grid."""
        width = self.grid.width if self.grid else 0.0
        at, count = np.unique(np.rint(self.seen / width) * width, return_counts=True)
        return Cells(np.maximum(0.0, at - width / 2.0), at + width / 2.0, count.astype(np.float64))

    @cached_property
    def different(self) -> int:
        """Different values that were seen."""
        return int(np.unique(self.seen).size)

    @property
    def grouped(self) -> bool:
        """Whether its values count as anything that is rounded to them."""
        return self.grid is not None and self.grid.coarse

    @cached_property
    def logs(self) -> Floats:
        """Logarithms of what was seen."""
        logs: Floats = np.log(self.seen)
        return logs

    @cached_property
    def log_total(self) -> float:
        """Sum of the logarithms."""
        return float(np.sum(self.logs))

    @cached_property
    def log_rest_total(self) -> float:
        """Sum of the logarithms of what is left to 1."""
        return float(np.sum(np.log1p(-self.seen)))

    @cached_property
    def log_variance(self) -> float:
        """Mean squared deviation of the logarithms."""
        return float(np.var(self.logs))

    @cached_property
    def cv(self) -> float:
        """Coefficient of variation of what was seen; above zero."""
        return max(LEAST_CV, float(np.std(self.seen)) * self.events / self.total)

    @property
    def positive(self) -> bool:
        """Whether all values are above zero."""
        return bool(self.seen[0] > 0.0)
