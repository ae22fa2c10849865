"""What a decision found for a layout: its best plan, what lies around it, and what it took."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np

from batsim.decision.counts import ranges_of
from batsim.decision.space import Point, Space
from batsim.decision.testing import Tested
from batsim.decision.trials import DECIDING, Trial
from batsim.display import Frame, frame_of
from batsim.plan.money import YearlyCost
from batsim.scenario.settings import Schedule
from batsim.statistics.intervals import Interval
from batsim.study.levers import Lever
from batsim.study.limits import Limit
from batsim.study.running.runs import estimate_json, plain

MISSED_BY_SHARE = 0.2
"""A cheaper plan that misses its targets by at most this part of what is allowed is a near miss."""
LEVELS = (0.5, 0.8, 1.2, 1.5, 2.0)
"""What is allowed by a target at the levels for which the cheapest plan is told, as parts of what is allowed now."""
MEETS, NOT_THE_MARGIN, MISSES = "meets", "meets the target, not the margin", "misses"
"""What can be said of a plan: by its means, of every plan in the same way."""


class Level(NamedTuple):
    """The cheapest of all plans that were looked at, for another level of one target."""

    limit: Limit
    trial: Trial
    saves: float
    """Cost of the best plan less its own, on the replications of both; below zero where it costs more. [per year]"""


@dataclass(frozen=True)
class Answer:
    """The best plan of a layout."""

    schedule: Schedule
    space: Space
    limits: tuple[Limit, ...]
    objective: str
    chosen: Trial | None
    """Best plan that meets the targets by test; None when none does."""
    best: Trial | None
    """Where none meets them: the one that comes nearest."""
    sure: bool
    """Whether tests decided that it meets the targets; False where its means had to."""
    given_up: bool
    """Whether the search ended early, since another layout is cheaper by far."""
    tests: tuple[Tested, ...]
    """Plans that were tested, in their order; the last one is the answer."""
    searched: Mapping[Point, Trial]
    """All plans that the search looked at, on replications of its own."""
    runs: int
    """Runs in all."""
    search_runs: int
    """Of these, by the search for counts and levers."""
    same_cost_share: float
    """Part of the cost within which plans are equally dear. [-]"""

    @property
    def layout(self) -> str:
        """Name of the layout."""
        return self.space.layout

    @property
    def trial(self) -> Trial | None:
        """The plan that is told: that meets the targets, or comes nearest."""
        return self.chosen or self.best

    @property
    def told(self) -> Trial:
        """The same where there is one."""
        assert self.trial is not None  # who asks has made sure
        return self.trial

    @property
    def point(self) -> Point:
        """Its point."""
        return self.told.point

    @property
    def confidence(self) -> float:
        """Of the intervals, and that no plan is named that misses a target."""
        return self.schedule.confidence

    @property
    def counts(self) -> dict[str, int]:
        """Counts of the best plan by name; empty when the targets cannot be met."""
        return {} if self.chosen is None else self.counts_at(self.chosen.point)

    def counts_at(self, point: Point) -> dict[str, int]:
        """Counts of a plan by the names of their ranges; no attendants where drivers do it all."""
        numbers = dict(self.space.changes(point).numbers)
        return {each.name: int(numbers.get(each.counted, 0)) for each in self.space.ranges}

    @property
    def levers(self) -> tuple[Lever, ...]:
        """What the best plan does otherwise than stated."""
        return () if self.trial is None else self.space.levers(self.trial.point)

    @cached_property
    def money(self) -> YearlyCost | None:
        """What the plan that is told costs in a year."""
        return None if self.trial is None or self.trial.refused else self.trial.money()

    @property
    def cost_per_year(self) -> float:
        """Cost of the plan that is told, by which plans are compared. [currency/year]"""
        return np.nan if self.trial is None or self.trial.refused else self.trial.cost()

    def interval(self, measure: str = DECIDING, part: tuple[str, str] = ("", "")) -> Interval:
        """Mean of a measure of the plan that is told, and its interval."""
        nothing = Interval(np.nan, np.nan, np.nan)
        return nothing if self.trial is None else self.trial.interval(measure, self.confidence, part)

    def verdict(self, trial: Trial) -> str:
        """Say how a plan stands to the targets by its means: `MEETS`, `NOT_THE_MARGIN` or `MISSES`."""
        if trial.miss(self.limits, tested=False) > 0.0:
            return MISSES
        return NOT_THE_MARGIN if trial.miss(self.limits) > 0.0 else MEETS

    def missed(self, trial: Trial) -> tuple[Limit, ...]:
        """Targets that a plan does not meet with their margin, by its means."""
        return tuple(limit for limit in self.limits if trial.miss([limit]) > 0.0)

    @property
    def at_ends(self) -> tuple[str, ...]:
        """Names of given ranges on whose end the answer lies, though there could be fewer or more of it."""
        point = () if self.trial is None else self.trial.point
        every = {each.name: each for each in ranges_of(self.space.scenario, self.layout, {})}
        return tuple(
            each.name
            for each, number in zip(self.space.ranges, point, strict=False)
            if each.given and each.low < each.high and (could := every.get(each.name)) is not None
            if could.low < each.low == number or number == each.high < could.high
        )

    @cached_property
    def near_misses(self) -> tuple[Trial, ...]:
        """Cheaper plans that do not meet a target with its margin, by little, the cheapest first."""
        mine = self._as_searched
        if self.chosen is None or mine is None:
            return ()
        near = [
            trial
            for trial in self._compared
            if 0.0 < trial.miss(self.limits) <= MISSED_BY_SHARE and _saves(mine, trial) > 0.0
        ]
        return tuple(sorted(near, key=lambda trial: -_saves(mine, trial)))

    @cached_property
    def rivals(self) -> tuple[tuple[Trial, float], ...]:
        """Other plans that meet the targets, each with the chance that it is cheaper by more than what is the same.

        By the paired differences of the search (Student's law); the likeliest first.
        """
        from scipy.stats import t as student  # noqa: PLC0415 - slow to import

        mine = self._as_searched
        if self.chosen is None or mine is None:
            return ()
        found = []
        for trial in self._compared:
            if trial is not mine and trial.miss(self.limits) == 0.0 and trial.replications > 1:
                count = min(trial.replications, mine.replications)
                less = mine.cost_values(count) - trial.cost_values(count)
                short = self.same_cost_share * mine.cost(count) - float(np.mean(less))
                spread = float(np.std(less, ddof=1)) / np.sqrt(count)
                found.append((trial, float(student.sf(short / spread, count - 1)) if spread else float(short < 0.0)))
        return tuple(sorted(found, key=lambda pair: -pair[1]))

    @cached_property
    def levels(self) -> tuple[Level, ...]:
        """What other levels of each target would save or cost, all else as wanted."""
        mine = self._as_searched
        return () if self.chosen is None or mine is None else tuple(self._levels(mine))

    def _levels(self, mine: Trial) -> Iterator[Level]:
        """The cheapest plan at each level of each target that any of them keeps."""
        for limit in self.limits:
            if not limit.allowed:
                continue
            others = [each for each in self.limits if each is not limit]
            for level in LEVELS:
                at_level = limit.at(level)
                keeping = [each for each in self._compared if each.miss([at_level, *others]) == 0.0]
                if keeping:
                    cheapest = max(keeping, key=lambda each: _saves(mine, each))
                    yield Level(at_level, cheapest, _saves(mine, cheapest))

    @cached_property
    def _as_searched(self) -> Trial | None:
        """The answer as the search saw it."""
        return None if self.chosen is None else self.searched.get(self.chosen.point)

    @cached_property
    def _compared(self) -> tuple[Trial, ...]:
        """Plans that the search looked at more than once."""
        return tuple(trial for trial in self.searched.values() if trial.replications > 1)

    @property
    def plans(self) -> int:
        """Plans that the search simulated."""
        return sum(trial.replications > 0 for trial in self.searched.values())

    @property
    def measures(self) -> tuple[str, ...]:
        """Downtime, and what the targets are about."""
        return tuple(dict.fromkeys([DECIDING, *(limit.measure for limit in self.limits)]))

    @property
    def frame(self) -> Frame:
        """Tidy table of all plans that the search looked at: counts, levers, cost, downtime, targets, verdict."""
        rows = []
        for trial in self.searched.values():
            if not trial.refused and trial.replications:
                labels = "; ".join(lever.label(self.space.scenario) for lever in self.space.levers(trial.point))
                means = [trial.of(("", ""))[name].mean() for name in self.measures]
                rows.append(
                    (*self.counts_at(trial.point).values(), labels, trial.cost(), *means, trial.replications,
                     self.verdict(trial))
                )  # fmt: skip
        names = [each.name for each in self.space.ranges]
        return frame_of(rows, columns=[*names, "levers", "cost_per_year", *self.measures, "replications", "verdict"])

    def as_json(self) -> dict[str, Any]:
        """Everything as plain data for `json.dump`."""
        chosen, best = self.chosen, self.best
        return {
            "layout": self.layout,
            "met": chosen is not None,
            "sure": self.sure,
            "given_up": self.given_up,
            "counts": self.counts,
            "levers": [lever.label(self.space.scenario) for lever in self.levers],
            "objective": self.objective,
            "confidence": self.confidence,
            "targets": [{"target": limit.text + limit.when, "tested": limit.tested_text} for limit in self.limits],
            "cost_per_year": plain(self.cost_per_year),
            "currency": self.schedule.scenario.site.currency,
            "answer": None if chosen is None else self._trial_json(chosen),
            "nearest": None if best is None or best.refused else self._trial_json(best),
            "levels": [
                {"target": level.limit.text + level.limit.when, "saves": level.saves, **self._trial_json(level.trial)}
                for level in self.levels
            ],
            "near_misses": [self._trial_json(trial) for trial in self.near_misses],
            "likeliest_rival": self._rival_json(),
            "at_ends": list(self.at_ends),
            "plans": self.plans,
            "runs": self.runs,
        }

    def _trial_json(self, trial: Trial) -> dict[str, Any]:
        """A plan as plain data."""
        seasons = {season: self._weeks_json(trial, season) for season in self.schedule.seasons}
        return {
            "counts": self.counts_at(trial.point),
            "levers": [lever.label(self.space.scenario) for lever in self.space.levers(trial.point)],
            "cost_per_year": trial.cost(),
            "verdict": self.verdict(trial),
            "missed": [limit.label for limit in self.missed(trial)],
            "replications": trial.replications,
            **self._weeks_json(trial, ""),
            **({"seasons": seasons} if seasons else {}),
        }

    def _rival_json(self) -> dict[str, Any] | None:
        """The other plan that is likeliest to be cheaper, with the chance of that; None where there is none."""
        if not self.rivals:
            return None
        trial, chance = self.rivals[0]
        return {"chance": chance, **self._trial_json(trial)}

    def _weeks_json(self, trial: Trial, season: str) -> dict[str, Any]:
        """What a plan measures in a season, or in the normal weeks, of all and of each group with a target."""
        names = dict.fromkeys(limit.group for limit in self.limits if limit.group)
        groups = {name: {"measures": self._measures_json(trial, (season, name))} for name in names}
        return {"measures": self._measures_json(trial, (season, "")), **({"groups": groups} if groups else {})}

    def _measures_json(self, trial: Trial, part: tuple[str, str]) -> dict[str, Any]:
        """Downtime and what the targets are about, as plain data."""
        values = trial.of(part)
        return {name: estimate_json(values, name, self.confidence) for name in self.measures if name in values}


def _saves(mine: Trial, other: Trial) -> float:
    """How much cheaper another plan is, on the replications of both. [currency/year]"""
    count = min(mine.replications, other.replications)
    return mine.cost(count) - other.cost(count)
