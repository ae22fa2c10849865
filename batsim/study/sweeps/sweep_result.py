"""What came out of a sweep: tidy frames, means with their intervals."""

import json
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np

from batsim.display import Frame, Shows, frame_of
from batsim.errors import StudyError, require
from batsim.measures.names import POOLED, RARE
from batsim.statistics.intervals import Floats, Interval
from batsim.statistics.rare_events import Count
from batsim.study.running.estimates import counted, estimate, few_events
from batsim.study.running.jobs import measure_names
from batsim.study.running.runs import ESTIMATE_COLUMNS, UNITS, estimate_json
from batsim.study.sweeps.agenda import Agenda
from batsim.study.sweeps.sensitivity import Sensitivity, Table, sensitivity_of
from batsim.study.sweeps.store import FailureRow, Store, measures_at

ENDS = (0.05, 0.95)
"""Parts of the points, or draws, below the ends of what a measure is told to spread over."""


class Spread(Interval):
    """A measure over all points: its mean, and what 5 % and 95 % of the points lie below."""

    __slots__ = ()

    @classmethod
    def of(cls, values: Table) -> "Spread":
        """Spread of what the replications of each point have as their mean."""
        means = values.mean(axis=1)
        seen = means[np.isfinite(means)]
        return cls(float(seen.mean()), *np.quantile(seen, ENDS).tolist()) if seen.size else cls(np.nan, np.nan, np.nan)


class Tally(NamedTuple):
    """What became of the cases of a run."""

    cases: int
    """In all."""
    found: int
    """Finished before."""
    run: int
    """Finished in this run."""
    failed: int
    """Without a result."""
    wall_s: float


@dataclass(frozen=True, repr=False)
class Sweep(Shows):
    """Results of a study."""

    agenda: Agenda
    tally: Tally
    failures: tuple[FailureRow, ...]
    """Cases of this study without a result."""
    missing: int
    """Cases that were not run; with shards they are elsewhere."""
    values: dict[str, dict[str, Table]]
    """By layout and measure: a row for each point, a column for each replication; not a number without a result.

    The measures that are shown, and those by which they are counted.
    """
    manifest: dict[str, Any]
    """What made it: versions, inputs, seeds, design, command and wall time."""

    @property
    def in_short(self) -> str:
        """What it is, in a few words."""
        return f"{self.agenda.study.question or self.agenda.study.file}: {len(self.agenda.points)} points"

    @property
    def layouts(self) -> tuple[str, ...]:
        """Names of the layouts."""
        return self.agenda.schedule.layouts

    @property
    def measures(self) -> tuple[str, ...]:
        """Names of the measures that are shown."""
        return self.agenda.study.measures

    @property
    def paths(self) -> tuple[str, ...]:
        """What varies."""
        return tuple(factor.path for factor in self.agenda.points.factors)

    def interval(self, layout: str, measure: str, point: int) -> Interval:
        """Mean of a measure at a point and its interval over the replications; no limits where events are few."""
        return estimate(self._at(layout, point), measure, self.agenda.schedule.confidence)

    def few_events(self, layout: str, measure: str, point: int) -> tuple[Count, bool] | None:
        """Count told in place of an interval, and whether of misses; None where events are enough for one."""
        return few_events(self._at(layout, point), measure, self.agenda.schedule.confidence)

    def _at(self, layout: str, point: int) -> dict[str, Floats]:
        """Values at a point of the replications that have a result."""
        values = {measure: table[point] for measure, table in self.values[layout].items()}
        there = np.any([np.isfinite(each) for each in values.values()], axis=0)
        return {measure: each[there] for measure, each in values.items()}

    @cached_property
    def frame(self) -> Frame:
        """Tidy table: point, a column for each path that varies, layout, measure, mean, low, high, unit, events, of."""
        rows = [
            (
                number,
                *(point.get(path) for path in self.paths),
                layout,
                measure,
                *self.interval(layout, measure, number),
                UNITS[measure],
                *counted(self.few_events(layout, measure, number)),
            )
            for number, point in enumerate(self.agenda.points.all)
            for layout in self.layouts
            for measure in self.measures
        ]
        return frame_of(rows, columns=["point", *self.paths, "layout", "measure", *ESTIMATE_COLUMNS])

    def spread(self, layout: str, measure: str) -> Spread:
        """Mean of a measure over all points, and the values below which it lies at 5 % and at 95 % of them."""
        return Spread.of(self.values[layout][measure])

    def sensitivity(self, layout: str | None = None, measure: str | None = None) -> Sensitivity:
        """Which inputs matter for a measure in a layout; the first of each when not given.

        Raises
        ------
        StudyError
            When the layout or the measure is not in the sweep.
        """
        layout, measure = layout or self.layouts[0], measure or self.measures[0]
        rule = f"the study has no measure '{measure}' of layout '{layout}'"
        require(layout in self.values and measure in self.measures, rule, StudyError)
        return sensitivity_of(self.agenda, self.values[layout][measure], layout, measure)

    def as_json(self) -> dict[str, Any]:
        """Everything as plain data for `json.dump`."""
        return {
            **self.agenda.record,
            "cases": {**self.tally._asdict(), "missing": self.missing},
            "failures": [
                {
                    "layout": failure.layout,
                    "changes": json.loads(failure.changes or "{}"),
                    "replication": failure.replication,
                    "kind": failure.kind,
                    "message": failure.message,
                }
                for failure in self.failures
            ],
            "points": [
                {
                    "point": number,
                    "changes": point,
                    "layouts": {
                        layout: {
                            measure: {**self._interval_json(layout, measure, number), "unit": UNITS[measure]}
                            for measure in self.measures
                        }
                        for layout in self.layouts
                    },
                }
                for number, point in enumerate(self.agenda.points.all)
            ],
            "sensitivity": {
                layout: {measure: self.sensitivity(layout, measure).as_json() for measure in self.measures}
                for layout in self.layouts
            },
            "manifest": self.manifest,
        }

    def _interval_json(self, layout: str, measure: str, point: int) -> dict[str, Any]:
        return estimate_json(self._at(layout, point), measure, self.agenda.schedule.confidence)


def values_of(agenda: Agenda, store: Store) -> dict[str, dict[str, Table]]:
    """Read the shown measures of every point from a store, with those by which they are counted."""
    names, measures = measure_names(agenda.study.scenario), agenda.study.measures
    behind = [(POOLED.get(measure), *RARE.get(measure, ())) for measure in measures]
    shown = [*measures, *{name: None for each in behind for name in each if name and name not in measures}]
    places = [names.index(name) for name in shown]
    shape = (len(shown), len(agenda.points), agenda.schedule.replications)
    tables = {layout: np.full(shape, np.nan) for layout in agenda.schedule.layouts}
    for number, _, job, found in store.finished(agenda.record, agenda.points.all):
        tables[job.layout][:, number, job.replication] = measures_at(found, places)
    return {layout: dict(zip(shown, table, strict=True)) for layout, table in tables.items()}
