"""Which inputs matter: effects, indices, rank correlations or swings, as the design of a study allows."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np

from batsim.display import Frame, Shows, frame_of
from batsim.scenario.study_file import LATIN_HYPERCUBE, ONE_AT_A_TIME
from batsim.statistics.designs import MorrisDesign, SobolDesign
from batsim.statistics.designs import grid as grid_of
from batsim.statistics.indices import Estimates, morris_effects, rank_correlations, sobol_indices, tornado
from batsim.statistics.intervals import Floats
from batsim.study.running.runs import UNITS, plain
from batsim.study.sweeps.agenda import Agenda
from batsim.study.sweeps.inputs import Input, inputs_of
from batsim.study.sweeps.points import Points

Table = np.ndarray[tuple[int, int], np.dtype[np.float64]]
LOW_END, HIGH_END = "at low end", "at high end"
MEANINGS = {
    "mean size of effect": "mean change of the measure, whatever its sign, when the input goes over its whole range",
    "mean effect": "the same with its sign; effects of both signs cancel",
    "spread of effect": "standard deviation of the effect: interactions and curvature",
    "first order": "share of the variance of the measure that the input accounts for by itself",
    "total": "share of the variance that it accounts for together with the others",
    "rank correlation": "Spearman's, from -1 to 1: does the measure rise with the input?",
    LOW_END: "measure at the low end of the input less measure with all inputs as the scenario states them",
    HIGH_END: "the same at its high end",
    "high less low": "measure at the high end less measure at the low end",
}
"""What each index says."""


class Index(NamedTuple):
    """One index of one input."""

    path: str
    kind: str
    """One of `MEANINGS`."""
    value: float
    low: float
    high: float


@dataclass(frozen=True, repr=False)
class Sensitivity(Shows):
    """Which inputs matter for a measure in a layout, what matters most first."""

    layout: str
    measure: str
    rows: tuple[Index, ...]
    confidence: float
    left_out: int
    """Points that were left out because a case of theirs has no result."""
    inputs: Mapping[str, Input] = field(default_factory=dict)
    """What each input is, and its ends, by its path."""

    @property
    def in_short(self) -> str:
        """What it is, in a few words."""
        return f"{self.measure} in {self.layout}: {', '.join(row.path for row in self.rows)}"

    def words_of(self, path: str) -> str:
        """What an input is, in words; its path where nobody says."""
        return self.inputs[path].words if path in self.inputs else path

    def value_at(self, row: Index) -> str:
        """Value of the input of a row at its low or high end; empty for any other index."""
        ends = {LOW_END: "low", HIGH_END: "high"}
        known = row.path in self.inputs and row.kind in ends
        return str(getattr(self.inputs[row.path], ends[row.kind])) if known else ""

    @property
    def unit(self) -> str:
        """Unit of the rows that are not shares or correlations: that of the measure."""
        return UNITS[self.measure]

    @property
    def frame(self) -> Frame:
        """Tidy table: input, index, value, low, high; what matters most first."""
        return frame_of(self.rows, columns=["input", "index", "value", "low", "high"])

    def as_json(self) -> list[dict[str, Any]]:
        """Rows as plain data for `json.dump`."""
        return [
            {**row._asdict(), "value": plain(row.value), "low": plain(row.low), "high": plain(row.high)}
            for row in self.rows
        ]


def sensitivity_of(agenda: Agenda, values: Table, layout: str, measure: str) -> Sensitivity:
    """Say which inputs matter.

    Parameters
    ----------
    agenda
        What the study comes to; all points share their random numbers, so that chance does not pass for an effect.
    values, shape (points, replications)
        The measure in the layout. [its unit]
    layout, measure
        What is looked at.

    Returns
    -------
    Sensitivity
        Morris effects, Sobol indices, swings (one at a time) or rank correlations (grid, Latin hypercube), each with
        an interval of the study's confidence.
    """
    outputs = values.mean(axis=1)
    points, confidence = agenda.points, agenda.schedule.confidence
    paths = tuple(factor.path for factor in points.factors)
    inputs = inputs_of(agenda.study.scenario, points.factors, layout)
    design, left_out = points.made, int(np.count_nonzero(~np.isfinite(outputs)))
    parts: dict[str, Estimates]
    if isinstance(design, MorrisDesign):
        effects = morris_effects(design, outputs, confidence)
        bare = {"mean effect": _bare(effects.mu), "spread of effect": _bare(effects.sigma)}
        parts = {"mean size of effect": effects.mu_star, **bare}
    elif isinstance(design, SobolDesign):
        indices = sobol_indices(design, outputs, confidence=confidence, seed=agenda.schedule.seed)
        parts = {"total": indices.total, "first order": indices.first}
    elif points.design.kind == ONE_AT_A_TIME:
        return Sensitivity(layout, measure, _swings(values, paths, confidence), confidence, left_out, inputs)
    else:
        parts = {"rank correlation": rank_correlations(_inputs(points), outputs, confidence)}
    return Sensitivity(layout, measure, _sorted(parts, paths), confidence, left_out, inputs)


def _bare(values: Floats) -> Estimates:
    """Estimates without limits."""
    return Estimates(values, np.full_like(values, np.nan), np.full_like(values, np.nan))


def _sorted(estimates: dict[str, Estimates], paths: tuple[str, ...]) -> tuple[Index, ...]:
    """Rows of all inputs, by the size of the first index; what is not a number comes last."""
    first = np.abs(next(iter(estimates.values())).value)
    order = np.argsort(-np.where(np.isnan(first), -1.0, first), kind="stable")
    return tuple(
        Index(paths[number], name, *(float(column[number]) for column in columns))
        for number in order
        for name, columns in estimates.items()
    )


def _swings(table: Table, paths: tuple[str, ...], confidence: float) -> tuple[Index, ...]:
    """Rows of a study that changes one thing at a time: its points are the base, then low and high of each input."""
    bars = tornado(table[0], table[1::2], table[2::2], confidence)
    return tuple(
        Index(paths[bar.factor], name, *interval)
        for bar in bars
        for name, interval in (("high less low", bar.difference), (LOW_END, bar.low), (HIGH_END, bar.high))
    )


def _inputs(points: Points) -> Table:
    """Inputs of all points as numbers that rise with their values, the same for the same value."""
    factors = points.factors
    if points.design.kind == LATIN_HYPERCUBE:
        counts = np.array([factor.count for factor in factors])
        return np.where(counts > 0, np.floor(points.cube * counts), points.cube)
    places = grid_of([len(factor.levels) for factor in factors]).T
    return np.column_stack([np.array(factor.numbers)[place] for factor, place in zip(factors, places, strict=True)])
