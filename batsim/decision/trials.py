"""Points on trial: each is simulated as often as it is asked for, and what its replications say is kept."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from batsim.decision.space import Point, Space
from batsim.errors import SimulationError
from batsim.plan.draft import draft_of
from batsim.plan.equipment_line import EquipmentLine
from batsim.plan.evidence import Evidence, RunEvidence
from batsim.plan.money import YearlyCost, money
from batsim.scenario.settings import Schedule
from batsim.scenario.site import Scenario
from batsim.statistics.intervals import Floats, Interval
from batsim.statistics.rare_events import Count
from batsim.study.limits import Limit
from batsim.study.prices import Price, summed
from batsim.study.running.counts import BATTERIES, BAYS, CHARGERS, DEVICES, STATIONS
from batsim.study.running.estimates import Table, estimate, few_events, judged, pooled
from batsim.study.running.jobs import REFUSED, Failure, Job, jobs_of
from batsim.study.running.replications import runs_of

DECIDING = "downtime_min_per_truck_shift"
WAYS = ("travel_min_per_truck_shift", "exchange_min_per_truck_shift")
"""Parts of the downtime that do not hang on counts."""
FOR_PEOPLE = "wait_attendant_min_per_truck_shift"
WAITS = {
    BATTERIES: "wait_battery_min_per_truck_shift",
    CHARGERS: "wait_battery_min_per_truck_shift",
    STATIONS: "wait_station_min_per_truck_shift",
    DEVICES: "wait_device_min_per_truck_shift",
    BAYS: "wait_bay_min_per_truck_shift",
}
"""What is waited for want of a kind of thing; batteries for want of chargers."""
YEARLY, BOUGHT = OBJECTIVES = ("yearly", "bought")
"""What a decision makes least: all that differs in a year at equal work, or what is bought and attendants alone."""

Run = Callable[[Sequence[Job]], list[RunEvidence | Failure]]
"""Runs jobs that carry counts and levers; an outcome for each."""


@dataclass
class Trial:
    """A point on trial, and what came of it."""

    space: Space
    point: Point
    schedule: Schedule
    refused: str = ""
    """Rule of the scenario that it breaks; empty when it was simulated."""
    taken: list[tuple[RunEvidence, ...]] = field(default_factory=list)
    """For each replication: of the normal weeks, then of each season."""
    costs: list[float] = field(default_factory=list)
    """For each replication. [currency/year]"""
    saved: list[float] = field(default_factory=list)
    """What it would cost less if nothing were waited for, for each replication. [currency/year]"""
    _tables: dict[tuple[tuple[str, str], int], Table] = field(default_factory=dict)
    cost_of_bought: bool = False
    """Whether cost is that of what is bought and of attendants alone."""
    made: Scenario | None = None
    """Scenario of the point, once it is made."""

    @property
    def replications(self) -> int:
        """How often it was simulated."""
        return len(self.taken)

    @property
    def scenario(self) -> Scenario:
        """Scenario in which the layout is that of the point."""
        if self.made is None:
            self.made = self.space.made(self.point)
        return self.made

    @cached_property
    def bought(self) -> float:
        """Cost of what is bought, over its life, and of attendants on duty. [currency/year]"""
        return sum(line.per_year for line in self.space.cost_lines(self.scenario))

    @cached_property
    def lines(self) -> tuple[EquipmentLine, ...]:
        """Equipment list, by the first replication, so that costs do not depend on how looks are split."""
        return draft_of(self.scenario, self.evidence(slice(1))).equipment

    @property
    def to_order(self) -> Price:
        """What is to be ordered for it in all."""
        return summed(line.cost for line in self.lines)

    def evidence(self, replications: slice = slice(None)) -> Evidence:
        """What some of its replications say, all of them when none are named."""
        layout, taken, schedule = self.space.layout, self.taken[replications], self.schedule
        schedule = replace(schedule, scenario=self.scenario, layouts=(layout,), replications=len(taken))
        parts = [
            Evidence(layout, runs_of(of_weeks, {layout: [run.results for run in runs]}), tuple(runs))
            for of_weeks, runs in zip((schedule, *schedule.seasons.values()), zip(*taken, strict=True), strict=True)
        ]
        return replace(parts[0], seasons=tuple(parts[1:]))

    def money(self, replications: slice = slice(None)) -> YearlyCost:
        """What it costs in a year, by some of its replications."""
        layout = self.space.layout
        return money(self.scenario.in_layout(layout), layout, self.evidence(replications), self.lines)

    def add(self, taken: Iterable[tuple[RunEvidence, ...]]) -> None:
        """Add replications."""
        done = self.replications
        self.taken += taken
        for number in range(done, self.replications):
            cost, saved = self.bought, 0.0
            if not self.cost_of_bought:
                of_year = self.money(slice(number, number + 1))
                cost = of_year.at_equal_work.value
                saved = of_year.most_saved * (1.0 - self._share_of_ways(number))
            self.costs.append(cost)
            self.saved.append(saved)

    def cost(self, replications: int | None = None) -> float:
        """Mean cost over its first replications. [currency/year]"""
        return float(np.mean(self.costs[:replications])) if self.costs else np.inf

    def _share_of_ways(self, number: int) -> float:
        """Part of the downtime of a replication that ways and exchanges take, whatever there is more of. [-]"""
        site = self.taken[number][0].results.site
        downtime = site[DECIDING]
        return sum(site[name] for name in WAYS) / downtime if downtime else 0.0

    def most_saved(self, replications: int | None = None) -> float:
        """Mean of what it would cost less if nothing were waited for: more of anything pays no more. [currency/year]"""
        return float(np.mean(self.saved[:replications])) if self.saved else np.inf

    def waited_share(self, kind: str) -> float:
        """Part of all waits that are for want of a kind of thing, in its first run; all where none tells. [-]"""
        waits = {name: sum(run.results.site[name] for run in self.taken[0]) for name in (*WAITS.values(), FOR_PEOPLE)}
        total, layout = sum(waits.values()), self.space.layout
        if not total or kind not in WAITS:
            return 1.0
        in_truck = (site.arrangement(layout).in_truck for site in self.space.scenario.areas_of(layout).values())
        return 1.0 if kind == CHARGERS and any(in_truck) else waits[WAITS[kind]] / total

    def of(self, part: tuple[str, str], replications: int | None = None) -> Table:
        """Values of a season and a truck group, one for each replication; of the normal weeks, of all, when empty."""
        count = self.replications if replications is None else min(replications, self.replications)
        if (part, count) not in self._tables:
            self._tables[part, count] = self._table(part, count)
        return self._tables[part, count]

    def _table(self, part: tuple[str, str], replications: int) -> Table:
        """Values of a part in its first replications."""
        season, group = part
        number = 0 if not season else 1 + list(self.schedule.seasons).index(season)
        results = [run[number].results for run in self.taken[:replications]]
        found = [each.groups[group] if group else each.site for each in results]
        return {name: np.array([values[name] for values in found]) for name in found[0]}

    def signed_mean(self, limit: Limit, replications: int | None = None) -> float:
        """Mean of a limit's measure with its sign over the replications that have one; else not a number."""
        values = pooled(self.of(limit.part, replications), limit.measure)
        says = values[np.isfinite(values)]
        return limit.sign * float(np.mean(says)) if says.size else np.nan

    def miss(self, limits: Iterable[Limit], replications: int | None = None, *, tested: bool = True) -> float:
        """How far it is from targets, or from what is tested: the worst, as a part of what is allowed. [-]"""
        if self.refused:
            return np.inf
        worst = 0.0
        for limit in limits:
            over = self.signed_mean(limit, replications) - (limit.tested if tested else limit.most)
            if over > 0.0:
                worst = max(worst, over / (limit.allowed or limit.indifference))
        return worst

    def interval(self, measure: str, confidence: float, part: tuple[str, str] = ("", "")) -> Interval:
        """Mean of a measure and its interval, of which no more is told than its events carry."""
        return estimate(self.of(part), measure, confidence) if self.taken else Interval(np.nan, np.nan, np.nan)

    def judged(self, limit: Limit, confidence: float) -> Interval:
        """Interval by which a target is judged, which has limits also where events are few."""
        return judged(self.of(limit.part), limit.measure, confidence)

    def few_events(
        self, measure: str, confidence: float, part: tuple[str, str] = ("", "")
    ) -> tuple[Count, bool] | None:
        """Count told in place of an interval, and whether of misses; None where events are enough for one."""
        return few_events(self.of(part), measure, confidence) if self.taken else None

    def cost_values(self, replications: int | None = None) -> Floats:
        """Cost of each replication. [currency/year]"""
        return np.array(self.costs[:replications])


@dataclass
class Trials:
    """Simulates points of a space, replication by replication, and keeps what was found."""

    schedule: Schedule
    """Scenario, seed, length and warm-up of a run, and confidence."""
    space: Space
    run: Run
    first: int = 0
    """Number of the first replication."""
    objective: str = YEARLY
    progress: Callable[[str], None] | None = None
    """Called with a line of text for each point that is simulated for the first time."""
    tried: dict[Point, Trial] = field(default_factory=dict)
    runs: int = 0

    def look(self, points: Sequence[Point], replications: int) -> list[Trial]:
        """Simulate points as often as this at least, those that are new to it all together."""
        trials = [self.trial(point) for point in points]
        asked = self._missing(trials, replications)
        jobs = [job for point, numbers in asked.items() for number in numbers for job in self._jobs(point, number)]
        outcomes = iter(self.run(jobs) if jobs else ())
        self.runs += len(jobs)
        for point, numbers in asked.items():
            taken = [tuple(next(outcomes) for _ in range(self._parts)) for _ in numbers]
            self._keep(self.tried[point], taken)
        return trials

    def _missing(self, trials: Iterable[Trial], replications: int) -> dict[Point, range]:
        """Numbers of the replications that points lack; none of a point that breaks a rule."""
        return {
            trial.point: range(self.first + trial.replications, self.first + replications)
            for trial in trials
            if not trial.refused and trial.replications < replications
        }

    def one(self, point: Point, replications: int) -> Trial:
        """Simulate one point as often as this at least."""
        return self.look([point], replications)[0]

    def trial(self, point: Point) -> Trial:
        """The trial of a point, new where it has none."""
        if point not in self.tried:
            self.tried[point] = self._new(point)
            if self.progress is not None:
                count, layout = len(self.tried), self.space.layout
                self.progress(f"{layout}: {count} plan{'' if count == 1 else 's'}, {self.runs} runs")
        return self.tried[point]

    def _new(self, point: Point) -> Trial:
        """Make the trial of a point, refused where it breaks a rule."""
        made, rule = self.space.attempt(point)
        return Trial(self.space, point, self.schedule, rule, cost_of_bought=self.objective == BOUGHT, made=made)

    def bought(self, point: Point) -> float:
        """Cost of what is bought for a point and of its attendants; infinite where it breaks a rule. [currency/year]"""
        trial = self.trial(point)
        return np.inf if trial.refused else trial.bought

    @property
    def _parts(self) -> int:
        """Runs of one replication: the normal weeks and each season."""
        return 1 + len(self.schedule.seasons)

    def _jobs(self, point: Point, number: int) -> list[Job]:
        """Jobs of one replication of a point."""
        changes, layout = self.space.changes(point), self.space.layout
        return [
            job
            for schedule in (self.schedule, *self.schedule.seasons.values())
            for job in jobs_of(schedule, layout, numbers=range(number, number + 1), changes=changes)
        ]

    def _keep(self, trial: Trial, taken: list[tuple[RunEvidence | Failure, ...]]) -> None:
        """Keep what replications gave; a rule that a job breaks is that of its point."""
        for outcome in [each for replication in taken for each in replication]:
            if isinstance(outcome, Failure):
                if outcome.kind != REFUSED:
                    raise outcome.error or SimulationError(outcome.message)
                trial.refused = outcome.message
                return
        trial.add(taken)  # type: ignore[arg-type]  # none is a failure
