"""Layouts against each other: paired differences from common random numbers, and a verdict that they carry."""

from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from batsim.statistics.intervals import Interval, simultaneous, student_interval
from batsim.study.limits import Limit, limits_of
from batsim.study.replications import UNITS, Runs, plain, run

if TYPE_CHECKING:
    import pandas as pd

    from batsim.scenario.site import Scenario
    from batsim.study.executors import Progress

COMPARED = ("downtime_min_per_truck_shift", "labour_min_per_day")
"""Measures whose differences are stated for every pair of layouts, all of them together."""
DECIDING = COMPARED[0]


class Difference(NamedTuple):
    """One layout less another in one measure, replication by replication."""

    measure: str
    layout: str
    other: str
    interval: Interval
    correlation: float
    """Between the two layouts' replications: what common random numbers have brought."""
    unit: str

    @property
    def clear(self) -> bool:
        """True when the interval leaves out zero."""
        return self.interval.low > 0.0 or self.interval.high < 0.0


class TargetResult(NamedTuple):
    """How a layout stands to one target."""

    name: str
    """downtime, waits, none ready or cut-out."""
    target: str
    """What is wanted, in words."""
    verdict: str
    """met, missed or not sure."""


@dataclass(frozen=True)
class Comparison:
    """Layouts of a scenario, compared."""

    runs: Runs

    @property
    def layouts(self) -> tuple[str, ...]:
        """Names of the layouts."""
        return self.runs.layouts

    @property
    def frame(self) -> "pd.DataFrame":
        """Tidy table: layout, measure, mean, low, high, unit."""
        return self.runs.frame

    @cached_property
    def differences(self) -> tuple[Difference, ...]:
        """Every pair of layouts in the compared measures; the intervals hold together (Bonferroni)."""
        pairs = list(combinations(self.layouts, 2))
        each = simultaneous(self.runs.confidence, len(pairs) * len(COMPARED))
        found = []
        for measure in COMPARED:
            for layout, other in pairs:
                mine, theirs = self.runs.values[layout][measure], self.runs.values[other][measure]
                found.append(
                    Difference(
                        measure,
                        layout,
                        other,
                        student_interval(mine - theirs, each),
                        correlation(mine, theirs),
                        UNITS[measure],
                    )
                )
        return tuple(found)

    def difference(self, measure: str, layout: str, other: str) -> Difference:
        """One layout less another, in either order."""
        for each in self.differences:
            if each.measure == measure and {each.layout, each.other} == {layout, other}:
                if each.layout == layout:
                    return each
                turned = Interval(-each.interval.mean, -each.interval.high, -each.interval.low)
                return each._replace(layout=layout, other=other, interval=turned)
        msg = f"no difference of '{layout}' and '{other}' in {measure}"
        raise KeyError(msg)

    @cached_property
    def ranking(self) -> tuple[str, ...]:
        """Layouts by mean downtime, least first."""
        return tuple(sorted(self.layouts, key=lambda layout: self.runs.interval(layout, DECIDING).mean))

    @property
    def verdict(self) -> str:
        """Sentence on downtime: who loses least, said only when the intervals carry it against all others."""
        confidence = f"{100 * self.runs.confidence:g} % simultaneous"
        best, *others = self.ranking
        if not others:
            return ""
        if self.runs.replications < 2:
            return "One replication carries no verdict; take at least two."
        near = [other for other in others if not self.difference(DECIDING, best, other).interval.high < 0.0]
        if near:
            least = self.difference(DECIDING, best, near[0]).interval
            names = " and ".join([best, *near]) if len(near) == 1 else ", ".join([best, *near])
            return (
                f"No clear winner in downtime: {names} cannot be told apart; {best} less {near[0]} is "
                f"{signed(least)} min per truck-shift ({confidence}). More replications would narrow this."
            )
        gain = self.difference(DECIDING, others[0], best).interval
        return (
            f"{best} loses least: {signed(gain).lstrip('+')} min per truck-shift less than {others[0]}, the next best "
            f"({confidence})."
        )

    def targets(self, layout: str) -> tuple[TargetResult, ...]:
        """How a layout stands to each target of the scenario."""
        if not any(value is not None for _, value in self.runs.scenario.targets):
            return ()
        return tuple(
            TargetResult(
                each.name, each.text, _at_most(_signed(self.runs.interval(layout, each.measure), each), each.most)
            )
            for each in limits_of(self.runs.scenario)
        )

    def as_json(self) -> dict[str, Any]:
        """Everything as plain data for `json.dump`."""
        data = self.runs.as_json()
        for layout in self.layouts:
            data["layouts"][layout]["targets"] = {each.target: each.verdict for each in self.targets(layout)}
        data["differences"] = [
            {
                "measure": each.measure,
                "layout": each.layout,
                "other": each.other,
                "mean": plain(each.interval.mean),
                "low": plain(each.interval.low),
                "high": plain(each.interval.high),
                "unit": each.unit,
                "correlation": plain(each.correlation),
            }
            for each in self.differences
        ]
        data["verdict"] = self.verdict
        return data

    def _repr_html_(self) -> str:
        """Table for notebooks."""
        frame = self.frame
        frame = frame[~frame["mean"].isna()]
        return str(frame.to_html(index=False, float_format=lambda value: f"{value:.4g}"))


def signed(interval: Interval) -> str:
    """Write a difference with its half width, to the digits that the half width carries."""
    digits = 1 if not np.isfinite(interval.half_width) or interval.half_width >= 0.05 else 2
    return f"{interval.mean:+.{digits}f} ± {interval.half_width:.{digits}f}"


def _signed(interval: Interval, limit: Limit) -> Interval:
    """Interval with the sign of a limit, so that the limit is always the most that is allowed."""
    if limit.sign > 0.0:
        return interval
    return Interval(-interval.mean, -interval.high, -interval.low)


def _at_most(interval: Interval, limit: float) -> str:
    """Tell whether a mean is at most a limit, as far as its interval can tell."""
    if not np.isfinite(interval.mean):
        return "not sure"
    if not np.isfinite(interval.low):
        return "met" if interval.mean <= limit else "missed"
    if interval.high <= limit:
        return "met"
    return "missed" if interval.low > limit else "not sure"


def correlation(
    first: "np.ndarray[Any, np.dtype[np.float64]]", second: "np.ndarray[Any, np.dtype[np.float64]]"
) -> float:
    """Correlation of paired values; not a number when one does not vary."""
    if first.size < 3 or np.std(first) == 0.0 or np.std(second) == 0.0:
        return float("nan")
    return float(np.corrcoef(first, second)[0, 1])


def compare(
    scenario: "Scenario",
    layouts: "list[str] | tuple[str, ...] | None" = None,
    *,
    replications: int | None = None,
    weeks: float | None = None,
    warm_up_weeks: float | None = None,
    seed: int | None = None,
    workers: int | None = None,
    progress: "Progress | None" = None,
) -> Comparison:
    """Compare layouts of a scenario under common random numbers; parameters as for `run`."""
    return Comparison(
        run(
            scenario,
            layouts,
            replications=replications,
            weeks=weeks,
            warm_up_weeks=warm_up_weeks,
            seed=seed,
            workers=workers,
            progress=progress,
        )
    )
