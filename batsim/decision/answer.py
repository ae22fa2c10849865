"""What a decision found for a layout: the answer, what lies around it, and what it took."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType
from typing import Any, NamedTuple

import numpy as np

from batsim.decision.counts import CountRange
from batsim.display import Frame, frame_of
from batsim.scenario.settings import Schedule
from batsim.statistics.intervals import Floats, Interval
from batsim.statistics.rare_events import Count
from batsim.study.cost import CostLine
from batsim.study.limits import Limit
from batsim.study.running.counts import BATTERIES, CHARGERS
from batsim.study.running.estimates import Table, estimate, few_events, judged, pooled
from batsim.study.running.runs import estimate_json, plain

MISSED_BY_SHARE = 0.2
"""A cheaper combination that misses its targets by at most this part of what is allowed is a near miss."""
DECIDING = "downtime_min_per_truck_shift"
MEETS, MISSES, TOO_NEAR = "meets", "misses", "too near to tell"
"""What can be said of a combination."""


class Trial(NamedTuple):
    """A combination of counts on trial, and what came of it."""

    counts: tuple[int, ...]
    """One for each range."""
    cost_per_year: float
    """[currency/year]"""
    meets: bool
    missed: tuple[str, ...]
    """Names of the targets that it misses."""
    refused: str
    """Rule of the scenario that it breaks; empty when it was simulated."""
    values: dict[str, Floats]
    """By measure: one value for each replication."""
    sure: bool = True
    """Whether the tests decided; False where the most replications were spent and its means had to."""
    too_many: tuple[int, ...] = ()
    """Where it breaks a rule because there are too many of something: counts from which on they do."""
    parts: Mapping[tuple[str, str], Table] = MappingProxyType({})
    """By weeks of a season and truck group, the same as `values`, which are of all groups in normal weeks; either may
    be empty."""

    def of(self, part: tuple[str, str]) -> Table:
        """Values of a season and a truck group; of the normal weeks, of all groups, when empty."""
        return self.parts[part] if any(part) else self.values

    def interval(self, measure: str, confidence: float, part: tuple[str, str] = ("", "")) -> Interval:
        """Mean of a measure and its interval, of which no more is told than its events carry."""
        return estimate(self.of(part), measure, confidence) if self.values else Interval(np.nan, np.nan, np.nan)

    def judged(self, limit: Limit, confidence: float) -> Interval:
        """Interval by which a target is judged, which has limits also where events are few."""
        if not self.values:
            return Interval(np.nan, np.nan, np.nan)
        return judged(self.of(limit.part), limit.measure, confidence)

    def few_events(
        self, measure: str, confidence: float, part: tuple[str, str] = ("", "")
    ) -> tuple[Count, bool] | None:
        """Count told in place of an interval, and whether of misses; None where events are enough for one."""
        return few_events(self.of(part), measure, confidence) if self.values else None

    @property
    def replications(self) -> int:
        """How often it was simulated."""
        return len(next(iter(self.values.values()), ()))


@dataclass(frozen=True)
class Answer:
    """What a layout needs to meet the targets."""

    schedule: Schedule
    layout: str
    ranges: tuple[CountRange, ...]
    limits: tuple[Limit, ...]
    chosen: Trial | None
    """Cheapest combination that meets the targets; None when none does."""
    best: Trial | None
    """Where none meets them: the one that comes nearest."""
    tested: tuple[Trial, ...]
    """All that were simulated, in their order."""
    frontier: tuple[Trial, ...]
    """The answer with fewer and more batteries."""
    equally_dear: tuple[Trial, ...]
    """Those that met the targets at nearly the same cost, among which the one with the least downtime was picked."""
    cost_lines: tuple[CostLine, ...]
    """What the answer, or what comes nearest, costs in a year, thing by thing."""
    placeholders: bool
    """Whether any price is the catalogue's and not the site's."""
    combinations: int
    """Of the counts in all."""
    runs: int
    """Replications simulated, those of the frontier included."""
    reached_confidence: float
    """Probability that no decision was wrong by more than the indifference, as far as there were decisions to make."""
    same_cost_share: float
    """Part of the cost within which counts are equally dear. [-]"""

    @property
    def counts(self) -> dict[str, int]:
        """Chosen count by name; empty when the targets cannot be met."""
        return {} if self.chosen is None else self._by_name(self.chosen)

    @property
    def cost_per_year(self) -> float:
        """Cost of the answer. [currency/year]"""
        return np.nan if self.chosen is None else self.chosen.cost_per_year

    @property
    def confidence(self) -> float:
        """Of the intervals, and what was wanted of the decisions."""
        return self.schedule.confidence

    @property
    def full_grid_runs(self) -> int:
        """Replications that all combinations would have taken."""
        return self.combinations * self.schedule.replications

    def interval(self, measure: str = DECIDING) -> Interval:
        """Mean of a measure of the answer, and its Student interval."""
        tested = self.chosen or self.best
        return Interval(np.nan, np.nan, np.nan) if tested is None else tested.interval(measure, self.confidence)

    def surely_missed(self, tested: Trial) -> tuple[str, ...]:
        """Names of the targets that a combination misses by its intervals; its own `missed` go by the means."""
        return tuple(name for name, verdict in self._by_target(tested).items() if verdict == "missed")

    def verdict(self, tested: Trial) -> str:
        """Say whether a combination meets the targets, as far as its intervals tell; the answer does.

        Returns
        -------
        str
            `MEETS`, `MISSES` or `TOO_NEAR`.
        """
        if self.chosen is not None and tested.counts == self.chosen.counts:
            return MEETS
        verdicts = set(self._by_target(tested).values())
        if "missed" in verdicts:
            return MISSES
        return MEETS if verdicts == {"met"} else TOO_NEAR

    def _by_target(self, tested: Trial) -> dict[str, str]:
        """Whether a combination keeps each limit, as far as its intervals tell."""
        return {limit.label: limit.verdict(tested.judged(limit, self.confidence)) for limit in self.limits}

    @property
    def frontier_column(self) -> int:
        """Position of the count that changes along the frontier."""
        return frontier_column(self.ranges)

    @cached_property
    def near_misses(self) -> tuple[Trial, ...]:
        """Cheaper combinations that miss the targets by little, the nearest first."""
        if self.chosen is None:
            return ()
        most = self.chosen.cost_per_year
        cheaper = [trial for trial in self.tested if not trial.meets and trial.cost_per_year < most]
        near = [(worst_miss(trial, self.limits), trial) for trial in cheaper]
        return tuple(trial for by, trial in sorted(near, key=lambda pair: pair[0]) if by <= MISSED_BY_SHARE)

    @property
    def frame(self) -> Frame:
        """Tidy table of all that were simulated: counts, cost, downtime with interval, target by target, meets."""
        rows = []
        for tested in self.tested:
            if not tested.refused:
                ends = [end for name in self.measures for end in tested.interval(name, self.confidence)]
                rows.append((*tested.counts, tested.cost_per_year, *ends, tested.replications, tested.meets))
        columns = [count_range.name for count_range in self.ranges]
        names = [f"{name}{end}" for name in self.measures for end in ("", "_low", "_high")]
        return frame_of(rows, columns=[*columns, "cost_per_year", *names, "replications", "meets"])

    @property
    def measures(self) -> tuple[str, ...]:
        """Downtime, and what the targets are about."""
        return tuple(dict.fromkeys([DECIDING, *(limit.measure for limit in self.limits)]))

    def as_json(self) -> dict[str, Any]:
        """Everything as plain data for `json.dump`."""
        return {
            "layout": self.layout,
            "met": self.chosen is not None,
            "counts": self.counts,
            "confidence": self.reached_confidence,
            "targets": [limit.text + limit.when for limit in self.limits],
            "indifference": {limit.name: limit.indifference for limit in self.limits},
            "cost_per_year": plain(self.cost_per_year),
            "currency": self.schedule.scenario.site.currency,
            "answer": None if self.chosen is None else self._tested_json(self.chosen),
            "nearest": None if self.best is None else self._tested_json(self.best),
            "frontier": [self._tested_json(tested) for tested in self.frontier],
            "near_misses": [self._tested_json(tested) for tested in self.near_misses],
            "combinations": self.combinations,
            "simulated": len(self.tested),
            "runs": self.runs,
            "full_grid_runs": self.full_grid_runs,
        }

    def _by_name(self, tested: Trial) -> dict[str, int]:
        """Counts by the names of their ranges."""
        return {count_range.name: number for count_range, number in zip(self.ranges, tested.counts, strict=True)}

    def _tested_json(self, tested: Trial) -> dict[str, Any]:
        """A combination as plain data."""
        seasons: dict[str, Any] = {}
        groups: dict[str, Any] = {}
        for (season, group), values in tested.parts.items():
            found = {"measures": self._measures_json(values)}
            of_season = seasons.setdefault(season, {}) if season else None
            if not group:
                seasons[season] = {**found, **seasons[season]}
            else:
                (groups if of_season is None else of_season.setdefault("groups", {}))[group] = found
        return {
            "counts": self._by_name(tested),
            "cost_per_year": tested.cost_per_year,
            "meets": tested.meets,
            "missed": list(tested.missed),
            "refused": tested.refused,
            "sure": tested.sure,
            "replications": tested.replications,
            "measures": self._measures_json(tested.values),
            **({"groups": groups} if groups else {}),
            **({"seasons": seasons} if seasons else {}),
        }

    def _measures_json(self, values: Table) -> dict[str, Any]:
        """Downtime and what the targets are about, as plain data."""
        return {name: estimate_json(values, name, self.confidence) for name in self.measures if name in values}


def frontier_column(ranges: tuple[CountRange, ...]) -> int:
    """Position of the count that changes along the frontier: batteries, else chargers, else the first."""
    kinds = [count_range.kind for count_range in ranges]
    return next((kinds.index(kind) for kind in (BATTERIES, CHARGERS) if kind in kinds), 0)


def worst_miss(tested: Trial, limits: tuple[Limit, ...]) -> float:
    """How far a combination is from its targets: the worst of them, as a part of what is allowed. [-]"""
    if tested.refused:
        return float("inf")
    worst = 0.0
    for limit in limits:
        mean = limit.sign * float(np.mean(pooled(tested.of(limit.part), limit.measure)))
        if mean > limit.most:
            worst = max(worst, (mean - limit.most) / limit.allowed if limit.allowed else float("inf"))
    return worst


def other(counts: tuple[int, ...], column: int, number: int) -> tuple[int, ...]:
    """Combination with another count of one thing."""
    return (*counts[:column], number, *counts[column + 1 :])
