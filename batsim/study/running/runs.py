"""Runs of layouts as results: intervals of each measure, of the site and of its parts, as tables and as plain data."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple

import numpy as np

from batsim.display import Frame, Shows, frame_of
from batsim.errors import require
from batsim.measures import MEASURES, WITHIN_TARGET
from batsim.measures.names import RARE
from batsim.scenario.settings import Schedule
from batsim.scenario.site import Scenario
from batsim.statistics.intervals import Floats, Interval, probability_interval
from batsim.statistics.precision import Precision, replications_needed
from batsim.statistics.quantiles import quantile_interval
from batsim.statistics.rare_events import Count
from batsim.study.running.estimates import Table, counted, estimate, few_events, judged, pooled

UNITS = {name: measure.unit for name, measure in (*MEASURES.items(), (WITHIN_TARGET.name, WITHIN_TARGET))}
"""Unit of each measure."""


ESTIMATE_COLUMNS = ("mean", "low", "high", "unit", "events", "of")
"""What tables say of a measure; events of how many where they are too few for limits."""


FRAME_COLUMNS = ["layout", "measure", *ESTIMATE_COLUMNS]


PARTS = ("areas", "groups", "battery_types")
"""Kinds of part of a site of which there are runs."""


DOWNTIME = "downtime_min_per_truck_shift"
"""Measure that decides where no other is named."""


MOST_REPLICATIONS = 1000
"""Replications of each layout that are spent at most on a precision, unless another budget is stated."""


class PrecisionGoal(NamedTuple):
    """How wide the interval of a measure may be."""

    precision: Precision
    measure: str
    most: int = MOST_REPLICATIONS
    """Replications of each layout that may be spent."""

    @classmethod
    def read(cls, within: str, measure: str, most: int | None = None) -> "PrecisionGoal":
        """Read such as `0.3`, in the unit of the measure, or `5 %` of its mean.

        Raises
        ------
        ValueError
            When it is neither, or not above zero.
        """
        text = within.strip()
        try:
            value = float(text.removesuffix("%"))
        except ValueError:
            value = 0.0
        needs = "needs a half width in the unit of the measure, such as 0.3, or of its mean, such as 5%"
        require(0.0 < value < float("inf"), f"{needs} (got {within})")
        relative = text.endswith("%")
        precision = Precision(relative=value / 100.0) if relative else Precision(absolute=value)
        return cls(precision, measure, most or MOST_REPLICATIONS)

    @property
    def text(self) -> str:
        """Such as `± 0.3 min` or `± 5 %`."""
        if self.precision.relative is not None:
            return f"± {100.0 * self.precision.relative:g} %"
        unit = UNITS[self.measure]
        return f"± {self.precision.absolute:g}{'' if unit == '1' else f' {unit}'}"


@dataclass(frozen=True, repr=False)
class Runs(Shows):
    """Replications of one or more layouts of a scenario, all from the same random streams."""

    schedule: Schedule
    """What was run; its replications are those that were simulated."""
    values: dict[str, dict[str, Floats]]
    """By layout and measure: one value for each replication."""
    goal: PrecisionGoal | None = None
    """Precision that the runs were to reach; None when their number was stated."""
    areas: Mapping[str, "Runs"] = field(default_factory=dict)
    """Of the same runs what concerns each area, by its name; the layouts are those that have it."""
    groups: Mapping[str, "Runs"] = field(default_factory=dict)
    """The same of each truck group."""
    battery_types: Mapping[str, "Runs"] = field(default_factory=dict)
    """The same of each battery type; the layouts are those that have it."""
    lots: Mapping[tuple[str, str], "Runs"] = field(default_factory=dict)
    """The same of each lot of batteries, by type and lot."""

    @property
    def scenario(self) -> Scenario:
        """The site."""
        return self.schedule.scenario

    @property
    def layouts(self) -> tuple[str, ...]:
        """Names of the layouts."""
        return self.schedule.layouts

    @property
    def replications(self) -> int:
        """Replications of each layout."""
        return self.schedule.replications

    @property
    def confidence(self) -> float:
        """Confidence of the intervals, a share."""
        return self.schedule.confidence

    @property
    def in_short(self) -> str:
        """What it is, in a few words."""
        return f"{self.scenario.site.name}: {', '.join(self.layouts)}; {self.replications} replications"

    @property
    def measures(self) -> tuple[str, ...]:
        """Names of the measures taken."""
        return tuple(self.values[self.layouts[0]])

    def interval(self, layout: str, measure: str) -> Interval:
        """Mean of a measure, of a ratio pooled over replications, and its interval; no limits where events are few."""
        return estimate(self.values[layout], measure, self.confidence)

    def judged(self, layout: str, measure: str) -> Interval:
        """Interval by which a target is judged, which has limits also where events are few."""
        return judged(self.values[layout], measure, self.confidence)

    def count(self, layout: str, measure: str) -> tuple[Count, bool] | None:
        """Count told in place of an interval, and whether of misses; None where events are enough for an interval."""
        return few_events(self.values[layout], measure, self.confidence)

    def pooled(self, layout: str, measure: str) -> Floats:
        """Values of a measure whose mean is its ratio pooled over replications; for differences."""
        return pooled(self.values[layout], measure)

    def quantile(self, layout: str, measure: str, share: float) -> Interval:
        """Value that a measure does not exceed in a share of the replications, with an interval free of any law."""
        return quantile_interval(self.values[layout][measure], share, self.confidence)

    def probability(self, layout: str, measure: str, above: float = 0.0) -> Interval:
        """Probability that a measure of a replication is above a value: the exact interval, also for what is rare."""
        values = self.values[layout][measure]
        seen = values[np.isfinite(values)]
        return probability_interval(int(np.count_nonzero(seen > above)), int(seen.size), self.confidence)

    def replications_needed(self, layout: str, measure: str, precision: Precision) -> int:
        """Replications in all that a precision of the mean would take, as far as these tell."""
        values = self.pooled(layout, measure)
        seen = values[np.isfinite(values)]
        variance, mean = float(np.var(seen, ddof=1)), float(np.mean(seen))
        return replications_needed(variance, self.confidence, precision, n0=self.replications, mean=mean)

    def parts_of(self, layout: str) -> dict[str, dict[str, "Runs"]]:
        """Areas, truck groups and battery types that a layout has, by kind and name."""
        return {
            kind: {name: runs for name, runs in getattr(self, kind).items() if layout in runs.layouts} for kind in PARTS
        }

    @property
    def by_area(self) -> "Runs":
        """Areas of all layouts side by side, each as if it were a layout called `LAYOUT, AREA`."""
        values = {
            f"{layout}, {name}": runs.values[layout]
            for layout in self.layouts
            for name, runs in self.parts_of(layout)["areas"].items()
        }
        return Runs(replace(self.schedule, layouts=tuple(values)), values)

    @property
    def frame_by_area(self) -> Frame:
        """The same table of each area, with a column for its name; empty where no layout has areas."""
        return _frame_of_parts("area", self.areas)

    @property
    def frame_by_group(self) -> Frame:
        """The same table of each truck group, with a column for its name."""
        return _frame_of_parts("group", self.groups)

    @property
    def frame_by_battery_type(self) -> Frame:
        """The same table of each battery type, with a column for its name."""
        return _frame_of_parts("battery_type", self.battery_types)

    @property
    def frame_by_lot(self) -> Frame:
        """The same table of each lot of batteries, with columns for its type and name; empty where there are none."""
        if not self.lots:
            return frame_of([], columns=["battery_type", "lot", "layout", "measure", *ESTIMATE_COLUMNS])
        frame = _frame_of_parts("battery_type", self.lots)
        frame.insert(1, "lot", [lot for _, lot in frame["battery_type"]])
        frame["battery_type"] = [name for name, _ in frame["battery_type"]]
        return frame

    def _lots_of(self, name: str) -> "dict[str, Runs]":
        """Results of the lots of a battery type."""
        return {lot: runs for (battery_type, lot), runs in self.lots.items() if battery_type == name}

    @property
    def frame(self) -> Frame:
        """Tidy table: layout, measure, mean, low, high, unit; where events are few, how many of how many."""
        return frame_of(
            [
                (
                    layout,
                    measure,
                    *self.interval(layout, measure),
                    UNITS[measure],
                    *counted(self.count(layout, measure)),
                )
                for layout in self.layouts
                for measure in self.measures
            ],
            columns=FRAME_COLUMNS,
        )

    def as_json(self) -> dict[str, Any]:
        """Everything as plain data for `json.dump`; what is not a number becomes null.

        Beside the `measures` of a layout stand those of its parts, `areas`, `groups` and `battery_types`, each by name
        with `measures` of its own; a layout that states no areas has none. A measure has `mean`, `low`, `high` and
        `unit`. Where events are too few for an interval, `low` and `high` are null and `count` has `events` of `of`
        (`what`: events, or misses where those are rarer; `whole`: the measure that is `of`), `replications_with` any
        of `replications`, and `low` and `high` of the chance that one has any.
        """
        return {
            **self.schedule.as_json(),
            "layouts": {
                layout: {
                    "measures": self._measures_json(layout),
                    "areas": _parts_json(layout, self.areas),
                    "groups": _parts_json(layout, self.groups),
                    "battery_types": {
                        name: measures | self._lots_json(layout, name)
                        for name, measures in _parts_json(layout, self.battery_types).items()
                    },
                }
                for layout in self.layouts
            },
            "differences": [],
        }

    def _lots_json(self, layout: str, name: str) -> dict[str, Any]:
        """Measures of the lots of a battery type as plain data; nothing where lots are not told apart."""
        lots = _parts_json(layout, self._lots_of(name))
        return {"lots": lots} if lots else {}

    def _measures_json(self, layout: str) -> dict[str, Any]:
        """Measures of a layout as plain data."""
        return {
            measure: estimate_json(self.values[layout], measure, self.confidence) for measure in self.values[layout]
        }


def _parts_json(layout: str, parts: Mapping[str, Runs]) -> dict[str, dict[str, Any]]:
    """Measures of the parts that a layout has as plain data, by name."""
    return {name: {"measures": runs._measures_json(layout)} for name, runs in parts.items() if layout in runs.layouts}


def _frame_of_parts(kind: str, parts: Mapping[Any, Runs]) -> Frame:
    """Tables of parts, one below the other, with a first column that names the part."""
    import pandas as pd  # noqa: PLC0415 - only when a person asks for a table

    if not parts:
        return frame_of([], columns=[kind, *FRAME_COLUMNS])
    frames = [runs.frame for runs in parts.values()]
    for name, frame in zip(parts, frames, strict=True):
        frame.insert(0, kind, [name] * len(frame))
    return pd.concat(frames, ignore_index=True)


def plain(value: float) -> float | None:
    """Return a number that JSON can hold, or None."""
    return float(value) if np.isfinite(value) else None


def estimate_json(values: Table, measure: str, confidence: float) -> dict[str, Any]:
    """Mean, low, high and unit as plain data; where events are few also how many, and how many replications had any.

    `low` and `high` of the count are the exact limits of the chance that a replication has any.
    """
    data = {**interval_json(estimate(values, measure, confidence)), "unit": UNITS[measure]}
    if (found := few_events(values, measure, confidence)) is None:
        return data
    count, misses = found
    chance = interval_json(count.chance)
    numbers = {key: value for key, value in count._asdict().items() if key != "chance"}
    counted = {"what": "misses" if misses else "events", "whole": RARE[measure].of}
    return data | {"count": numbers | counted | {"low": chance["low"], "high": chance["high"]}}


def interval_json(interval: Interval) -> dict[str, float | None]:
    """Mean, low and high as plain data."""
    return {key: plain(value) for key, value in zip(("mean", "low", "high"), interval, strict=True)}
