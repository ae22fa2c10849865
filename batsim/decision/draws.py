"""Decided plans at draws of what a scenario marks as not known: which is best how often, and what that depends on."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np

from batsim.decision.doubt import Flags, shares_cheapest
from batsim.errors import Problem, ScenarioError
from batsim.plan.draft import draft_of
from batsim.plan.evidence import Evidence, RunEvidence, take
from batsim.scenario.settings import Schedule, Settings
from batsim.scenario.site import Scenario
from batsim.scenario.study_file import LATIN_HYPERCUBE, Design
from batsim.statistics.intervals import Floats, Interval
from batsim.study.limits import stated_limits
from batsim.study.running.counts import Counts, with_counts
from batsim.study.running.executors import run_each
from batsim.study.running.jobs import Job, jobs_of
from batsim.study.running.replications import runs_of
from batsim.study.running.runs import interval_json, plain
from batsim.study.sweeps.agenda import changes_in, layouts_of, restated
from batsim.study.sweeps.points import Points
from batsim.study.uncertain import REPLICATIONS, swaying

Changes = tuple[str, Counts]
"""What a job carries: what is stated otherwise at a draw, as text, and the counts of the plan."""


class _Case(NamedTuple):
    """A plan at a draw."""

    draw: int
    plan: int
    """Which of the plans."""
    site: Scenario
    """Scenario with what the draw states and the counts of the plan."""
    changes: Changes

    @property
    def layout(self) -> str:
        """Layout of the plan."""
        return self.changes[1].layout


@dataclass(frozen=True)
class Draws:
    """Decided plans simulated at draws of the inputs that are not known; at each draw all see the same random work."""

    plans: tuple[str, ...]
    points: Points
    costs: Floats
    """Cost at equal work: a row for each draw, a column for each plan; not a number where a plan breaks a rule of the
    scenario at a draw. [currency/year]"""
    meets: Flags
    """Whether a plan is possible at a draw and its means keep the targets."""
    confidence: float

    @cached_property
    def chance_best(self) -> dict[str, float]:
        """Share of the draws at which each plan is the cheapest of those that meet the targets; ties are shared. [-]"""
        shares = shares_cheapest(np.where(self.meets, self.costs, np.nan))
        return dict(zip(self.plans, shares.tolist(), strict=True))

    @cached_property
    def ranking(self) -> tuple[str, ...]:
        """Plans by how often they are best, then by how often they meet the targets, then by their mean cost."""

        def rank(name: str) -> tuple[float, float, float]:
            column = self.plans.index(name)
            mean, meets = (float(np.mean(each[:, column])) for each in (self.costs, self.meets))
            return -self.chance_best[name], -meets, mean if math.isfinite(mean) else math.inf

        return tuple(sorted(self.plans, key=rank))

    @cached_property
    def leads(self) -> Floats:
        """Lead of the best plan over the next at each draw; infinite where one alone meets the targets. [currency/year]

        Nothing where neither meets them.
        """
        best, other = (self.plans.index(name) for name in self.ranking[:2])
        alone = np.where(self.meets[:, best], np.inf, -np.inf)
        both, neither = self.meets[:, [best, other]].all(axis=1), ~self.meets[:, [best, other]].any(axis=1)
        leads: Floats = np.where(both, self.costs[:, other] - self.costs[:, best], np.where(neither, 0.0, alone))
        return leads

    @cached_property
    def swayed_by(self) -> tuple[tuple[str, Interval], ...]:
        """Rank correlation of each input with the lead of the best plan over the next, strongest first."""
        if len(self.plans) < 2:
            return ()
        # Beyond all others in rank where a plan alone meets the targets.
        beyond = 1.0 + float(np.max(np.abs(self.leads), where=np.isfinite(self.leads), initial=0.0))
        return swaying(self.points, np.clip(self.leads, -beyond, beyond), self.confidence)

    @property
    def sentence(self) -> str:
        """How often the plan that leads is the cheapest, and which input sways that most, where one surely does."""
        best, draws = self.ranking[0], len(self.points)
        if not self.meets.any():
            return f"No plan meets its targets at any of {draws} draws of what is not known."
        times = round(draws * self.chance_best[best])
        says = f"At {times} of {draws} draws of what is not known '{best}' is the cheapest that meets its targets."
        if none := int(np.count_nonzero(~self.meets.any(axis=1))):
            says += f" At {none} no plan meets them."
        path, sway = self.swayed_by[0] if self.swayed_by else ("", Interval(0.0, 0.0, 0.0))
        if sway.low > 0.0 or sway.high < 0.0:
            less = "greater" if sway.mean > 0.0 else "smaller"
            says += f" It depends most on {path}: the greater that is, the {less} the lead over '{self.ranking[1]}'."
        return says

    def as_json(self) -> dict[str, Any]:
        """Everything as plain data for `json.dump`."""
        return {
            "draws": len(self.points),
            "unknowns": [{"path": factor.path, "may_be": factor.text} for factor in self.points.factors],
            "chance_best": dict(self.chance_best),
            "costs": {name: [plain(cost) for cost in self.costs[:, n]] for n, name in enumerate(self.plans)},
            "meets": {name: self.meets[:, n].tolist() for n, name in enumerate(self.plans)},
            "swayed_by": [{"path": path, **interval_json(correlation)} for path, correlation in self.swayed_by],
            "sentence": self.sentence,
        }


def costs_at_draws(scenario: Scenario, plans: Mapping[str, Counts], settings: Settings, draws: int) -> Draws:
    """Simulate plans at draws of the inputs that the scenario says are not known, `{between: [LOW, HIGH]}`.

    Parameters
    ----------
    scenario
        The site, as `read` returns it.
    plans
        By name the layout, counts and levers of each plan; several may be of one layout.
    settings
        What is run, in place of what the scenario says, its layouts left out; each plan twice at each draw when no
        replications are given. All plans share them; no two draws do.
    draws
        Draws of what is not known, 2 or more, by Latin hypercube.

    Returns
    -------
    Draws
        Cost of each plan at each draw, worked out anew with the equipment and the prices of that draw, and whether it
        is possible and its means keep the targets.

    Raises
    ------
    ScenarioError
        When no input that concerns the plans is uncertain, there are fewer than two draws, a draw breaks a rule of the
        scenario with the layouts as they are stated, or a layout is not in it.
    """
    schedule = _schedule(scenario, plans, settings, draws)
    scenario = schedule.scenario
    points = Points(scenario.unknowns, Design(LATIN_HYPERCUBE, draws), schedule.seed)
    cases = list(_cases(scenario, plans, points))
    studied = [_jobs(schedule, case) for case in cases]
    results = run_each([scenario], studied, settings, take=take, change=restated_with_counts)
    costs, meets = np.full((draws, len(plans)), np.nan), np.zeros((draws, len(plans)), dtype=np.bool_)
    for case, taken in zip(cases, results, strict=True):
        place = case.draw, case.plan
        costs[place], meets[place] = _judged(_evidence(schedule, case, taken))
    return Draws(tuple(plans), points, costs, meets, schedule.confidence)


def restated_with_counts(scenario: Scenario, changes: Changes) -> Scenario:
    """Make the changes of a draw, then those of a plan.

    Raises
    ------
    ScenarioError
        When the scenario breaks a rule with either.
    """
    text, counts = changes
    return with_counts(_restated(scenario, text), counts)


def _restated(scenario: Scenario, text: str) -> Scenario:
    """Scenario of a draw; as it is where nothing of the draw concerns a layout."""
    return restated(scenario, text) if text else scenario


def _schedule(scenario: Scenario, plans: Mapping[str, Counts], settings: Settings, draws: int) -> Schedule:
    """What is run of each plan at each draw, its scenario with their layouts alone; refused with nothing to draw."""
    layouts = tuple(dict.fromkeys(counts.layout for counts in plans.values()))
    replications = REPLICATIONS if settings.replications is None else settings.replications
    schedule = replace(settings, layouts=layouts, replications=replications).schedule(scenario)
    scenario, rules = scenario.with_layouts(layouts), []
    if not scenario.unknowns:
        rules.append("no input is marked as uncertain: give {between: [LOW, HIGH]}")
    if draws < 2:
        rules.append("needs at least 2 draws")
    if rules:
        raise ScenarioError(scenario.file, [Problem(scenario.file, 0, 0, "uncertain", rule) for rule in rules])
    return replace(schedule, scenario=scenario)


def _cases(scenario: Scenario, plans: Mapping[str, Counts], points: Points) -> Iterator[_Case]:
    """Every plan at every draw, but where its counts break a rule there."""
    lies_in = layouts_of(scenario, scenario.unknowns)
    for draw, point in enumerate(points.all):
        texts = {counts.layout: changes_in(counts.layout, point, lies_in) for counts in plans.values()}
        sites = {text: _restated(scenario, text) for text in texts.values()}
        for plan, counts in enumerate(plans.values()):
            text = texts[counts.layout]
            try:
                yield _Case(draw, plan, with_counts(sites[text], counts), (text, counts))
            except ScenarioError:  # such as too few batteries for the trucks of this draw
                continue


def _jobs(schedule: Schedule, case: _Case) -> list[Job]:
    """Replications of a plan at a draw: of the normal weeks, then of each season."""
    numbers = range(case.draw * schedule.replications, (case.draw + 1) * schedule.replications)
    return [
        job
        for of_weeks in (schedule, *schedule.seasons.values())
        for job in jobs_of(of_weeks, case.layout, numbers=numbers, changes=case.changes)
    ]


def _evidence(schedule: Schedule, case: _Case, taken: Sequence[RunEvidence]) -> Evidence:
    """What the replications of a plan at a draw say."""
    layout, count = case.layout, schedule.replications
    schedule = replace(schedule, scenario=case.site, layouts=(layout,))
    parts = []
    for number, of_weeks in enumerate((schedule, *schedule.seasons.values())):
        runs = tuple(taken[number * count : (number + 1) * count])
        parts.append(Evidence(layout, runs_of(of_weeks, {layout: [run.results for run in runs]}), runs))
    return replace(parts[0], seasons=tuple(parts[1:]))


def _judged(evidence: Evidence) -> tuple[float, bool]:
    """Cost of a plan at equal work, and whether it is possible and its means keep the targets. [currency/year]"""
    site, layout = evidence.runs.scenario, evidence.layout
    draft = draft_of(site, evidence)
    of_weeks = dict(zip(("", *evidence.runs.schedule.seasons), evidence.parts, strict=True))
    keeps = True
    for limit in stated_limits(site):
        if limit.is_about(site, layout):
            runs = of_weeks[limit.season].runs
            judging = runs.groups[limit.group] if limit.group else runs
            keeps &= not limit.miss_share(judging.judged(layout, limit.measure).mean)
    return draft.money.at_equal_work.value, keeps and not any(check.impossible for check in draft.checks)
