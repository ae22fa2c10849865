"""What sizing found: the answer, what lies around it, and what it took."""

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from batsim.decision.counts import BATTERIES, CHARGERS, Dimension
from batsim.scenario.settings import Schedule
from batsim.statistics.intervals import Interval, student_interval
from batsim.study.cost import CostLine
from batsim.study.limits import Limit
from batsim.study.running.replications import UNITS, plain

if TYPE_CHECKING:
    import pandas as pd

    Floats = np.ndarray[tuple[int], np.dtype[np.float64]]

MISSED_BY_SHARE = 0.2
"""A cheaper cell that misses its targets by at most this part of what is allowed is a near miss."""
DECIDING = "downtime_min_per_truck_shift"
MEETS, MISSES, TOO_NEAR = "meets", "misses", "too near to tell"
"""What can be said of a cell."""


class Tested(NamedTuple):
    """A cell that was simulated."""

    cell: tuple[int, ...]
    cost_per_year: float
    """[currency/year]"""
    meets: bool
    missed: tuple[str, ...]
    """Names of the targets that it misses."""
    refused: str
    """Rule of the scenario that it breaks; empty when it was simulated."""
    values: dict[str, "Floats"]
    """By measure: one value for each replication."""
    sure: bool = True
    """Whether the tests decided; False where the most replications were spent and its means had to."""

    def interval(self, measure: str, confidence: float) -> Interval:
        """Mean of a measure and its Student interval."""
        return student_interval(self.values.get(measure, np.array([])), confidence)

    @property
    def replications(self) -> int:
        """How often it was simulated."""
        return len(next(iter(self.values.values()), ()))


@dataclass(frozen=True)
class Answer:
    """What a layout needs to meet the targets."""

    schedule: Schedule
    layout: str
    dimensions: tuple[Dimension, ...]
    limits: tuple[Limit, ...]
    chosen: Tested | None
    """Cheapest cell that meets the targets; None when none does."""
    best: Tested | None
    """Where none meets them: the cell that comes nearest."""
    tested: tuple[Tested, ...]
    """All cells that were simulated, in their order."""
    frontier: tuple[Tested, ...]
    """The answer with fewer and more batteries."""
    equally_dear: tuple[Tested, ...]
    """Cells that met the targets at nearly the same cost, among which the one that loses least was picked."""
    cost_lines: tuple[CostLine, ...]
    """What the answer, or what comes nearest, costs in a year, thing by thing."""
    placeholders: bool
    """Whether any price is the catalogue's and not the site's."""
    cells: int
    """In the grid."""
    runs: int
    """Replications simulated, those of the frontier included."""
    confidence: float
    """Of the intervals, and what was wanted of the decisions."""
    reached_confidence: float
    """Probability that no decision was wrong by more than the indifference, as far as there were decisions to make."""
    same_cost_share: float
    """Part of the cost within which counts are equally dear. [-]"""
    grid_replications: int
    """Replications that each cell of a full grid would have taken."""

    @property
    def counts(self) -> dict[str, int]:
        """Chosen count by dimension; empty when the targets cannot be met."""
        if self.chosen is None:
            return {}
        return {each.name: number for each, number in zip(self.dimensions, self.chosen.cell, strict=True)}

    @property
    def cost_per_year(self) -> float:
        """Cost of the answer. [currency/year]"""
        return np.nan if self.chosen is None else self.chosen.cost_per_year

    @property
    def full_grid_runs(self) -> int:
        """Replications that all cells would have taken."""
        return self.cells * self.grid_replications

    def interval(self, measure: str = DECIDING) -> Interval:
        """Mean of a measure of the answer, and its Student interval."""
        cell = self.chosen or self.best
        return Interval(np.nan, np.nan, np.nan) if cell is None else cell.interval(measure, self.confidence)

    def surely_missed(self, cell: Tested) -> tuple[str, ...]:
        """Names of the targets that a cell misses by its intervals; its own `missed` go by the means."""
        return tuple(
            limit.name
            for limit in self.limits
            if limit.verdict(cell.interval(limit.measure, self.confidence)) == "missed"
        )

    def verdict(self, cell: Tested) -> str:
        """Say whether a cell meets the targets, as far as its intervals tell; the answer does.

        Returns
        -------
        str
            `MEETS`, `MISSES` or `TOO_NEAR`.
        """
        if self.chosen is not None and cell.cell == self.chosen.cell:
            return MEETS
        if self.surely_missed(cell):
            return MISSES
        verdicts = [limit.verdict(cell.interval(limit.measure, self.confidence)) for limit in self.limits]
        return MEETS if all(verdict == "met" for verdict in verdicts) else TOO_NEAR

    @property
    def frontier_dimension(self) -> int:
        """Number of the dimension that changes along the frontier: batteries, else chargers, else the first."""
        kinds = [each.kind for each in self.dimensions]
        return next((kinds.index(kind) for kind in (BATTERIES, CHARGERS) if kind in kinds), 0)

    @cached_property
    def near_misses(self) -> tuple[Tested, ...]:
        """Cheaper cells that miss the targets by little, the nearest first."""
        if self.chosen is None:
            return ()
        most = self.chosen.cost_per_year
        near = [
            (worst_miss(each, self.limits), each)
            for each in self.tested
            if not each.meets and each.cost_per_year < most
        ]
        return tuple(each for by, each in sorted(near, key=lambda pair: pair[0]) if by <= MISSED_BY_SHARE)

    @property
    def frame(self) -> "pd.DataFrame":
        """Tidy table of all simulated cells: counts, cost, downtime with interval, target by target, meets."""
        import pandas as pd  # noqa: PLC0415 - heavy, and only people need it

        rows = [self._row(each) for each in self.tested if not each.refused]
        columns = [each.name for each in self.dimensions]
        wanted = dict.fromkeys([DECIDING, *(limit.measure for limit in self.limits)])
        names = [f"{name}{end}" for name in wanted for end in ("", "_low", "_high")]
        return pd.DataFrame(rows, columns=[*columns, "cost_per_year", *names, "replications", "meets"])

    def _row(self, cell: Tested) -> tuple[object, ...]:
        wanted = dict.fromkeys([DECIDING, *(limit.measure for limit in self.limits)])
        intervals = [value for name in wanted for value in cell.interval(name, self.confidence)]
        return (*cell.cell, cell.cost_per_year, *intervals, cell.replications, cell.meets)

    def as_json(self) -> dict[str, Any]:
        """Everything as plain data for `json.dump`."""
        return {
            "layout": self.layout,
            "met": self.chosen is not None,
            "counts": self.counts,
            "confidence": self.reached_confidence,
            "targets": [each.text for each in self.limits],
            "indifference": {each.name: each.indifference for each in self.limits},
            "cost_per_year": None if self.chosen is None else self.chosen.cost_per_year,
            "currency": self.schedule.scenario.site.currency,
            "answer": None if self.chosen is None else self.cell_json(self.chosen),
            "nearest": None if self.best is None else self.cell_json(self.best),
            "frontier": [self.cell_json(each) for each in self.frontier],
            "near_misses": [self.cell_json(each) for each in self.near_misses],
            "cells": self.cells,
            "simulated": len(self.tested),
            "runs": self.runs,
            "full_grid_runs": self.full_grid_runs,
        }

    def cell_json(self, cell: Tested) -> dict[str, Any]:
        """A simulated cell as plain data."""
        measures = dict.fromkeys([DECIDING, *(limit.measure for limit in self.limits)])
        return {
            "counts": {each.name: number for each, number in zip(self.dimensions, cell.cell, strict=True)},
            "cost_per_year": cell.cost_per_year,
            "meets": cell.meets,
            "missed": list(cell.missed),
            "refused": cell.refused,
            "sure": cell.sure,
            "replications": cell.replications,
            "measures": {
                name: {
                    **{
                        key: plain(value)
                        for key, value in zip(
                            ("mean", "low", "high"), cell.interval(name, self.confidence), strict=True
                        )
                    },
                    "unit": UNITS[name],
                }
                for name in measures
            },
        }


def worst_miss(cell: Tested, limits: tuple[Limit, ...]) -> float:
    """How far a cell is from its targets: the worst of them, as a part of what is allowed. [-]"""
    if cell.refused:
        return float("inf")
    worst = 0.0
    for limit in limits:
        mean = limit.sign * float(np.mean(cell.values[limit.measure]))
        allowed = abs(limit.most) if limit.sign > 0.0 else 1.0 + limit.most
        if mean > limit.most:
            worst = max(worst, (mean - limit.most) / allowed if allowed else float("inf"))
    return worst
