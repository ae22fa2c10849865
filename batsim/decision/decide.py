"""Decision: the cheapest counts of a layout that meet the targets, and how sure that is.

Combinations of counts are simulated one after another, each until a sequential test of its targets decides; what misses
a target rules out every combination that has no more of anything. Of those that are equally dear a selection procedure
picks the one with the least downtime.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from batsim.decision.answer import DECIDING, Answer, Trial, frontier_column, other
from batsim.decision.counts import CountRange, GivenRanges, Grid, ranges_of
from batsim.decision.ranking import Standing, order
from batsim.decision.search import Search
from batsim.decision.trials import Trials
from batsim.display import Frame, Shows, frame_of
from batsim.errors import Problem, ScenarioError
from batsim.plan.possible import impossible_layouts
from batsim.scenario.settings import Schedule, Settings
from batsim.scenario.site import Scenario
from batsim.study.cost import cost_lines
from batsim.study.limits import MET, MISSED, NO_EXCHANGES, Limit, TargetResult, limits_of, stated_limits
from batsim.study.running.counts import with_counts
from batsim.study.running.executors import Runner
from batsim.study.running.jobs import results_of, site_results_of

MOST_COMBINATIONS = 200_000
OFFSETS = (-4, -2, -1, 1)
"""Batteries fewer and more than the answer on the frontier."""


@dataclass(frozen=True, repr=False)
class Decision(Shows):
    """What each layout needs to meet the targets."""

    schedule: Schedule
    answers: tuple[Answer, ...]
    impossible: Mapping[str, str] = field(default_factory=dict)
    """Layouts that are impossible, each with the reason; nothing is chosen for them."""

    @property
    def in_short(self) -> str:
        """What it is, in a few words."""
        return f"{self.schedule.scenario.site.name}: {', '.join(answer.layout for answer in self.answers)}"

    @property
    def cheapest(self) -> Answer | None:
        """Layout that meets the targets at the least cost; None when none does."""
        return next((self[layout] for layout in self.ranking if self[layout].chosen is not None), None)

    @property
    def ranking(self) -> tuple[str, ...]:
        """Layouts with their counts, or with those that come nearest, the best first."""
        return order(_standing(answer) for answer in self.answers if answer.chosen or answer.best)

    def __getitem__(self, layout: str) -> Answer:
        return next(answer for answer in self.answers if answer.layout == layout)

    @property
    def frame(self) -> Frame:
        """Tidy table: layout, counts by name, cost per year, downtime with its interval."""
        rows = []
        currency = self.schedule.scenario.site.currency.lower()
        for answer in self.answers:
            counts = {"layout": answer.layout, "meets": answer.chosen is not None, **answer.counts}
            cost = {f"cost_{currency}_per_year": answer.cost_per_year}
            intervals = zip(("", "_low", "_high"), answer.interval(), strict=True)
            rows.append(counts | cost | {f"{DECIDING}{end}": value for end, value in intervals})
        return frame_of(rows)

    def as_json(self) -> dict[str, Any]:
        """Everything as plain data for `json.dump`."""
        cheapest = self.cheapest
        return {
            **self.schedule.as_json(),
            "layouts": {answer.layout: answer.as_json() for answer in self.answers},
            "cheapest": None if cheapest is None else cheapest.layout,
            "ranking": self.ranking,
            "impossible": dict(self.impossible),
        }


def decide(
    scenario: Scenario,
    settings: Settings = Settings(),
    *,
    ranges: GivenRanges | None = None,
    indifference: dict[str, float] | None = None,
    same_cost: float | None = None,
    progress: Callable[[str], None] | None = None,
) -> Decision:
    """Find the cheapest counts of each layout that meet the scenario's targets.

    Parameters
    ----------
    scenario
        The site; it must state a target.
    settings
        What is run, in place of what the scenario says. Its confidence is the probability that no decision was wrong,
        its replications are those of the answer, after it is found.
    ranges
        Least and most of some counts, by name: batteries, chargers, stations, attendants (on each shift that has any)
        or a device; in a layout with areas those of one, such as `stations of yard`. Only these are chosen then, all
        else stays as stated.
    indifference
        By target (downtime, waits, none ready, cut-out), how far below it a mean may lie and still be taken for a
        miss; the catalogue's where nothing is given.
    same_cost
        Part of the yearly cost within which counts are equally dear; the catalogue's when not given. [-]
    progress
        Called with a line of text now and then; how much is left nobody knows.

    Returns
    -------
    Decision
        For each layout: counts, cost, intervals, frontier, near misses, and what it took.

    Raises
    ------
    ScenarioError
        When there is no target, a range or an indifference is of nothing, a layout is not there or has none of what the
        targets are about, or none is possible.
    """
    schedule = settings.schedule(scenario)
    limits = limits_of(scenario, indifference)
    impossible = impossible_layouts(scenario, schedule.layouts)
    of_layouts = {layout: _limits_of(scenario, layout, limits) for layout in _possible(schedule, impossible)}
    chosen = {layout: ranges_of(scenario, layout, ranges or {}) for layout in of_layouts}
    for layout, count_ranges in chosen.items():
        if not count_ranges:
            rule = "has no count that could be chosen; all are unlimited or left to the drivers"
            raise ScenarioError(scenario.file, [Problem(scenario.file, 0, 0, f"layouts.{layout}", rule)])
    equal = scenario.figures["decide.same_cost"].value / 100.0 if same_cost is None else same_cost
    answers = []
    take = results_of if any(limit.group for limit in limits) else site_results_of
    with Runner(scenario.with_layouts(schedule.layouts), settings.workers, take, with_counts) as runner:
        for layout, count_ranges in chosen.items():
            grid = _grid(scenario, layout, count_ranges)
            search = Search(Trials(schedule, grid, of_layouts[layout], runner, progress), equal)
            answers.append(_answer(search, count_ranges))
    return Decision(schedule, tuple(answers), impossible)


def _possible(schedule: Schedule, impossible: Mapping[str, str]) -> list[str]:
    """Layouts that are not impossible; refused where none is left."""
    possible = [layout for layout in schedule.layouts if layout not in impossible]
    if not possible:
        file = schedule.scenario.file
        rules = {layout: f"is impossible: {reason}" for layout, reason in impossible.items()}
        raise ScenarioError(file, [Problem(file, 0, 0, f"layouts.{layout}", rule) for layout, rule in rules.items()])
    return possible


def _limits_of(scenario: Scenario, layout: str, limits: tuple[Limit, ...]) -> tuple[Limit, ...]:
    """Targets that say something of a layout; refused where none does."""
    saying = tuple(limit for limit in limits if limit.is_about(scenario, layout))
    if not saying:
        rule = "has no exchanges, and the targets are about nothing else; state downtime_per_truck_shift too"
        raise ScenarioError(scenario.file, [Problem(scenario.file, 0, 0, f"layouts.{layout}", rule)])
    return saying


def _standing(answer: Answer) -> Standing:
    """What the answer for a layout, or what comes nearest, is ranked by."""
    tested, confidence = answer.chosen or answer.best, answer.confidence
    assert tested is not None  # there is one of them
    targets = []
    for limit in stated_limits(answer.schedule.scenario):
        if not limit.is_about(answer.schedule.scenario, answer.layout):
            targets.append(TargetResult(limit.name, limit.text + limit.when, NO_EXCHANGES, group=limit.group))
            continue
        mean = tested.interval(limit.measure, confidence, limit.part).mean
        missed = math.inf if tested.refused else limit.miss_share(mean)
        miss = 0.0 if answer.chosen is not None else missed
        targets.append(TargetResult(limit.name, limit.text + limit.when, MISSED if miss else MET, miss, limit.group))
    downtime = tested.interval(DECIDING, confidence).mean
    return Standing(answer.layout, impossible=False, targets=tuple(targets), downtime_min=downtime,
                    cost=tested.cost_per_year)  # fmt: skip


def _grid(scenario: Scenario, layout: str, ranges: tuple[CountRange, ...]) -> Grid:
    """Combinations that are looked through first: where counts are many, not all of them."""
    grid = Grid(scenario, layout, tuple(count_range.thinned() for count_range in ranges))
    if (count := max(len(grid.around(block, grid.greatest)) for block in grid.blocks)) > MOST_COMBINATIONS:
        most = f"at most {MOST_COMBINATIONS} are looked through, so state narrower ranges"
        rule = f"would give {count} combinations; {most}"
        raise ScenarioError(scenario.file, [Problem(scenario.file, 0, 0, f"layouts.{layout}", rule)])
    return grid


def _answer(search: Search, ranges: tuple[CountRange, ...]) -> Answer:
    """Answer one layout: first from the grid, then one count after another around what was found."""
    trials, grid = search.trials, search.grid
    scenario, layout = grid.scenario, grid.layout
    equally_dear: tuple[Trial, ...] = ()
    frontier: tuple[Trial, ...] = ()
    chosen, best = search.cheapest(), None
    if chosen is None:
        best = search.nearest()
    else:
        chosen, equally_dear = search.picked(chosen)
        chosen = search.trimmed(ranges, chosen)
        chosen = trials.looked_at(chosen.counts, trials.schedule.replications)
        frontier = _frontier(trials, ranges, chosen)
    answer = chosen or best
    changed = scenario if answer is None or answer.refused else with_counts(scenario, grid.counts(answer.counts))
    return Answer(
        schedule=trials.schedule,
        layout=layout,
        ranges=ranges,
        limits=trials.limits,
        chosen=chosen,
        best=best,
        tested=tuple(trials.tested.values()),
        frontier=frontier,
        equally_dear=equally_dear,
        cost_lines=cost_lines(changed, layout, grid.units),
        placeholders=grid.units.placeholders,
        combinations=grid.size,
        runs=trials.runs,
        reached_confidence=trials.confidence,
        same_cost_share=search.same_cost_share,
    )


def _frontier(trials: Trials, ranges: tuple[CountRange, ...], chosen: Trial) -> tuple[Trial, ...]:
    """The answer with fewer and more batteries, all else the same; with fewer and more chargers in the truck."""
    column = frontier_column(ranges)
    numbers = [chosen.counts[column] + offset for offset in OFFSETS]
    in_range = [number for number in numbers if number >= ranges[column].values[0]]
    others = [trials.looked_at(other(chosen.counts, column, number)) for number in in_range]
    simulated = [chosen, *(trial for trial in others if not trial.refused)]
    return tuple(sorted(simulated, key=lambda tested: tested.counts[column]))
