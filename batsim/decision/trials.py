"""Combinations of counts on trial: each is simulated until tests decide whether it meets the targets."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from batsim.decision.answer import Trial, other
from batsim.decision.counts import Grid
from batsim.errors import ScenarioError, SimulationError
from batsim.scenario.settings import Schedule
from batsim.statistics.intervals import Floats
from batsim.statistics.sequential import Feasibility
from batsim.study.limits import Limit
from batsim.study.running.counts import with_counts
from batsim.study.running.estimates import Table, judged, pooled
from batsim.study.running.executors import Runner
from batsim.study.running.jobs import REFUSED, Failure, Results, jobs_of

Verdict = Literal["feasible", "infeasible"]
Values = dict[tuple[str, str], dict[str, list[float]]]
"""By weeks of a season, truck group, and measure: one value for each replication.

No season for the normal weeks, no group for all of them.
"""
ALL = ("", "")
"""All groups in normal weeks."""

EARLY_LOOKS, EARLY_SHARE = (4, 8), 0.1
"""Replications after which a combination that meets or misses its targets by far is decided, and the part of all chance
of a wrong decision that these looks may use."""
EARLY_VERDICTS: dict[str, Verdict] = {"met": "feasible", "missed": "infeasible"}
FIRST_STAGE = 16
"""Replications of a combination before its targets are first decided on by the sequential test."""
MOST_REPLICATIONS, AT_ONCE = 200, 2
"""Replications of one combination, and how many follow at a time; what is undecided after the most is decided by its
means, and said."""
LOOKS = (*EARLY_LOOKS, *range(FIRST_STAGE, MOST_REPLICATIONS + 1, AT_ONCE))
"""Replications after which it is looked whether a combination is decided."""
NEAR_DECISIONS, FAR_DECISIONS = 10, 60
"""Combinations near their targets, and others, over which the chance of a wrong decision is spread (Bonferroni); when
there are more of the first, the confidence that is reached is less, and is told."""


@dataclass
class Trials:
    """Simulates combinations of a grid, and keeps what was found."""

    schedule: Schedule
    """Scenario, seed, length and warm-up of a run, and confidence."""
    grid: Grid
    """Layout, and what its counts cost."""
    limits: tuple[Limit, ...]
    """Targets."""
    runner: Runner
    """Runs jobs that carry counts."""
    progress: Callable[[str], None] | None
    """Called with a line of text for each combination that is decided."""
    tested: dict[tuple[int, ...], Trial] = field(default_factory=dict)
    runs: int = 0
    near_decisions: int = 0
    """Combinations that took the sequential test."""

    @property
    def groups(self) -> tuple[str, ...]:
        """Truck groups that targets are about."""
        return tuple(dict.fromkeys(limit.group for limit in self.limits if limit.group))

    @property
    def confidence(self) -> float:
        """Probability that no decision was wrong by more than the indifference."""
        near = max(1.0, self.near_decisions / NEAR_DECISIONS)
        far = max(1.0, len(self.tested) / FAR_DECISIONS)
        return max(0.0, 1.0 - (1.0 - self.schedule.confidence) * ((1.0 - EARLY_SHARE) * near + EARLY_SHARE * far))

    def decided(self, counts: tuple[int, ...]) -> Trial:
        """Decide whether a combination meets the targets, replication by replication."""
        if counts not in self.tested:
            self.tested[counts] = self._decide(counts)
            if self.progress is not None:
                layout, count = self.grid.layout, len(self.tested)
                self.progress(f"{layout}: {count} combination{'' if count == 1 else 's'} simulated, {self.runs} runs")
        return self.tested[counts]

    def looked_at(self, counts: tuple[int, ...], replications: int = EARLY_LOOKS[-1]) -> Trial:
        """Simulate a combination at least so often, whatever its targets."""
        known = self.tested.get(counts)
        if known is None:
            return self._by_means(counts, replications)
        if not known.refused and known.replications < replications:
            values = {part: _lists(table) for part, table in {ALL: known.values, **known.parts}.items()}
            self._extend(counts, values, replications)
            known = self.tested[counts] = known._replace(**_tables(values))
        return known

    def _by_means(self, counts: tuple[int, ...], replications: int) -> Trial:
        """Simulate a combination so often and go by its means; it rules out nothing, so it is not kept."""
        values: Values = {}
        refused = self._extend(counts, values, replications)
        missed = () if refused else tuple(limit.label for limit in self.limits if _mean(limit, values) > limit.most)
        return Trial(counts, self._cost(counts), not missed and not refused, missed, refused, **_tables(values))

    def _decide(self, counts: tuple[int, ...]) -> Trial:
        cost, tests = self._cost(counts), _TargetTests(self.limits, 1.0 - self.schedule.confidence)
        values: Values = {}
        verdicts: list[Verdict | None] = []
        for look in LOOKS:
            if refused := self._extend(counts, values, look):
                return Trial(counts, cost, False, (), refused, values={}, too_many=self._too_many(counts))
            verdicts = tests.verdicts(values)
            if "infeasible" in verdicts or None not in verdicts:
                break
        self.near_decisions += look >= FIRST_STAGE
        missed = tuple(
            limit.label
            for limit, verdict in zip(self.limits, verdicts, strict=True)
            if verdict == "infeasible" or (verdict is None and _mean(limit, values) > limit.most)
        )
        sure = "infeasible" in verdicts or None not in verdicts
        return Trial(counts, cost, not missed, missed, "", sure=sure, **_tables(values))

    def _extend(self, counts: tuple[int, ...], values: Values, replications: int) -> str:
        """Add replications of a combination up to so many; return the rule that it breaks, if it breaks one."""
        done, layout = len(next(iter(values.get(ALL, {}).values()), ())), self.grid.layout
        jobs = [
            job
            for schedule in (self.schedule, *self.schedule.seasons.values())
            for job in jobs_of(schedule, layout, numbers=range(done, replications), changes=self.grid.counts(counts))
        ]
        for job, outcome in zip(jobs, self.runner.run(jobs), strict=True):
            if isinstance(outcome, Failure):
                if outcome.kind == REFUSED:
                    return outcome.message
                raise outcome.error or SimulationError(outcome.message)
            self._keep(values, "" if job.season is None else job.season.text, outcome)
        self.runs += len(jobs)
        return ""

    def _keep(self, values: Values, season: str, outcome: Results) -> None:
        """Add what a replication gave for the site, and for the groups that targets are about."""
        for group in ("", *self.groups):
            table = values.setdefault((season, group), {})
            for name, value in (outcome.groups[group] if group else outcome.site).items():
                table.setdefault(name, []).append(value)

    def _too_many(self, counts: tuple[int, ...]) -> tuple[int, ...]:
        """Counts from which on there are too many of something, no more than these; empty where there are too few.

        One count after the other is lowered as far as the rule is still broken.
        """
        if not self._has_too_many(counts):
            return ()
        for column, count_range in enumerate(self.grid.ranges):
            values = [value for value in count_range.values if value < counts[column]]
            while values:
                middle = len(values) // 2
                lower = other(counts, column, values[middle])
                if self._has_too_many(lower):
                    counts, values = lower, values[:middle]
                else:
                    values = values[middle + 1 :]
        return counts

    def _has_too_many(self, counts: tuple[int, ...]) -> bool:
        """Whether counts break a rule, and still do with what is stated of everything that there is less of."""
        ranges = self.grid.ranges
        more = tuple(max(number, count_range.stated) for number, count_range in zip(counts, ranges, strict=True))
        return self._breaks_a_rule(counts) and self._breaks_a_rule(more)

    def _breaks_a_rule(self, counts: tuple[int, ...]) -> bool:
        try:
            with_counts(self.schedule.scenario, self.grid.counts(counts))
        except ScenarioError:
            return True
        return False

    def _cost(self, counts: tuple[int, ...]) -> float:
        return float(self.grid.costs_of(np.array([counts]))[0])


class _TargetTests:
    """Tests of all targets of one combination, fed with its replications as they come."""

    def __init__(self, limits: tuple[Limit, ...], alpha: float) -> None:
        near = alpha * (1.0 - EARLY_SHARE) / (NEAR_DECISIONS * len(limits))
        self._tests = [
            (limit, Feasibility(limit.tested, limit.indifference / 2.0, near, FIRST_STAGE)) for limit in limits
        ]
        looks = FAR_DECISIONS * len(EARLY_LOOKS) * len(limits)
        self._early_confidence = 1.0 - 2.0 * alpha * EARLY_SHARE / looks

    def verdicts(self, values: Values) -> list[Verdict | None]:
        """What is decided on each target; a measure that has no meaning in a layout keeps every limit."""
        verdicts: list[Verdict | None] = []
        for limit, test in self._tests:
            table = _arrays(values[limit.part])
            signed = limit.sign * table[limit.measure]
            if np.isnan(signed).any():
                verdicts.append("feasible")
            elif signed.size in EARLY_LOOKS:  # what is met or missed by far
                interval = judged(table, limit.measure, self._early_confidence)
                verdicts.append(EARLY_VERDICTS.get(limit.verdict(interval)))
            else:
                verdicts.append(test.add(signed[test.replications :].tolist()))
        return verdicts


def _mean(limit: Limit, values: Values) -> float:
    """Mean of a limit's measure with its sign."""
    return limit.sign * float(np.mean(pooled(_arrays(values[limit.part]), limit.measure)))


def _arrays(table: dict[str, list[float]]) -> dict[str, Floats]:
    return {name: np.array(series) for name, series in table.items()}


def _lists(table: Table) -> dict[str, list[float]]:
    return {name: series.tolist() for name, series in table.items()}


def _tables(values: Values) -> dict[str, Any]:
    """What a trial keeps: values of all groups in normal weeks, and of each season and group."""
    tables = {part: _arrays(table) for part, table in values.items()}
    return {"values": tables.pop(ALL, {}), "parts": tables}
