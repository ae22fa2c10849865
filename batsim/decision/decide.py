"""Decision: the best plan of each layout, counts and levers, beside today's situation, and how sure that is.

Each layout is searched (see `search`); what the search finds is tested on replications that it has not seen, until a
plan passes (see `testing`); steps from today to the best plan of all are simulated one by one (see `steps`).
"""

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from batsim.decision.answer import Answer
from batsim.decision.counts import GivenRanges
from batsim.decision.doubt import Doubt, doubt_of
from batsim.decision.draws import Draws, costs_at_draws
from batsim.decision.kept import Kept, take_for_decision
from batsim.decision.one_layout import Asked, OneLayout
from batsim.decision.ranking import Standing, order
from batsim.decision.space import Space
from batsim.decision.steps import Step, steps_to
from batsim.decision.trials import DECIDING, OBJECTIVES, YEARLY, Run, Trial, Trials
from batsim.decision.written import written
from batsim.display import Frame, Shows, frame_of
from batsim.errors import Problem, ScenarioError, require
from batsim.plan.possible import impossible_layouts
from batsim.scenario.reading import read_scenario_text
from batsim.scenario.settings import Schedule, Settings
from batsim.scenario.site import Scenario
from batsim.study.limits import MET, MISSED, NO_EXCHANGES, TargetResult, limits_of, stated_limits
from batsim.study.running.counts import Counts, with_counts
from batsim.study.running.executors import Runner
from batsim.study.running.runs import estimate_json, plain

DRAWS = 20
"""Draws of what is not known when not stated."""
BEST_SUFFIX = ".best.yaml"
"""End of the name of a file with the best plans of a site."""


@dataclass(frozen=True, repr=False)
class Decision(Shows):
    """The best plan of each layout."""

    schedule: Schedule
    answers: tuple[Answer, ...]
    today: Trial | None = None
    """The layout that is there today, as it is; None where the scenario names none."""
    steps: tuple[Step, ...] = ()
    """From today, or the layout as stated, to the best plan of all, the cheapest step first."""
    impossible: Mapping[str, str] = field(default_factory=dict)
    """Layouts that are impossible, each with the reason; nothing is chosen for them."""
    doubt: Doubt | None = None
    """How sure it is which layout at its best costs least, as far as prices tell; None where nothing was simulated, or
    another cost than the yearly one is made least."""
    draws: Draws | None = None
    """The best plans at draws of what the scenario marks as not known; None where it marks nothing, or another cost
    than the yearly one is made least."""
    objective: str = YEARLY
    runs: int = 0
    """Runs in all, those of today and of steps among them, those at draws not."""
    found: int = 0
    """Of these, those that a store had already."""

    @property
    def scenario(self) -> Scenario:
        """The site as stated."""
        return self.schedule.scenario

    @property
    def in_short(self) -> str:
        """What it is, in a few words."""
        return f"{self.scenario.site.name}: {', '.join(answer.layout for answer in self.answers)}"

    @property
    def cheapest(self) -> Answer | None:
        """Layout whose best plan meets the targets at the least cost; None when none does."""
        return next((self[layout] for layout in self.ranking if self[layout].chosen is not None), None)

    @property
    def first(self) -> Answer | None:
        """The best answer, whether it meets the targets or comes nearest; None where no plan could be simulated."""
        return next((self[layout] for layout in self.ranking), None)

    @cached_property
    def ranking(self) -> tuple[str, ...]:
        """Layouts at their best, the best first."""
        return order(_standing(answer) for answer in self.answers if answer.trial and not answer.trial.refused)

    def __getitem__(self, layout: str) -> Answer:
        return next(answer for answer in self.answers if answer.layout == layout)

    @property
    def plans(self) -> dict[str, Counts]:
        """Counts and levers of the best plan of each layout, by the name that it gets beside today's layout."""
        simulated = (answer for answer in self.answers if answer.trial is not None and not answer.trial.refused)
        return {best_name(self.scenario, each.layout): each.space.changes(each.point) for each in simulated}

    def written(self, beside: str | Path) -> str:
        """Write the best plans as the text of a scenario file to be saved there; errors as for `written.written`."""
        return written(self.scenario, self.plans, beside)

    @cached_property
    def best_scenario(self) -> Scenario:
        """The site with the best plan of each layout in its place, as `written` says it; today's layout stays."""
        beside = Path(self.scenario.file).with_suffix(BEST_SUFFIX)
        return read_scenario_text(self.written(beside), str(beside))

    @property
    def frame(self) -> Frame:
        """Tidy table: layout, whether it meets the targets, counts by name, cost per year, downtime with interval."""
        rows = []
        currency = self.scenario.site.currency.lower()
        for answer in self.answers:
            counts = {"layout": answer.layout, "meets": answer.chosen is not None, **answer.counts}
            labels = "; ".join(lever.label(self.scenario) for lever in answer.levers)
            cost = {"levers": labels, f"cost_{currency}_per_year": answer.cost_per_year}
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
            "today": self._today_json(),
            "steps": [step.as_json() for step in self.steps],
            "doubt": None if self.doubt is None else self.doubt.as_json(),
            "draws": None if self.draws is None else self.draws.as_json(),
            "impossible": dict(self.impossible),
            "runs": self.runs,
        }

    def _today_json(self) -> dict[str, Any] | None:
        """Today's layout as plain data; None where there is none."""
        today = self.today
        if today is None:
            return None
        values, names = today.of(("", "")), (DECIDING, *(limit.measure for limit in stated_limits(self.scenario)))
        return {
            "layout": today.space.layout,
            "cost_per_year": plain(today.cost()),
            "replications": today.replications,
            "measures": {name: estimate_json(values, name, self.schedule.confidence) for name in dict.fromkeys(names)},
        }


def decide(
    scenario: Scenario,
    settings: Settings = Settings(),
    *,
    ranges: GivenRanges | None = None,
    fix: Iterable[str] = (),
    objective: str = YEARLY,
    indifference: dict[str, float] | None = None,
    store: str | Path | None = None,
    draws: int | None = None,
    progress: Callable[[str], None] | None = None,
) -> Decision:
    """Find the best plan of each layout: counts and levers that meet the scenario's targets at the least cost.

    Parameters
    ----------
    scenario
        The site; it must state a target.
    settings
        What is run, in place of what the scenario says. Its confidence is the probability that no plan is named that
        misses a target; its replications are those of the answer, after it is found.
    ranges
        Least and most of some counts, by name: batteries, chargers, stations, attendants (on every shift, or
        `attendants night` on one) or a device; in a layout with areas those of one, such as `stations of yard`. Only
        these are chosen then, all else stays as stated.
    fix
        What may not change beside what a layout states under `fixed`: counts or levers, or some of them by name.
    objective
        What is made least: `yearly`, all that differs in a year at equal work, or `bought`, what is bought and
        attendants alone.
    indifference
        By target (downtime, waits, none ready, cut-out), how far below it a mean may lie and still be taken for a
        miss; the catalogue's where nothing is given.
    store
        File in which all runs are kept; what it holds already is not run again.
    draws
        Draws of the inputs that the scenario marks as not known, at which the best plans are held against one another.
    progress
        Called with a line of text now and then; how much is left nobody knows.

    Returns
    -------
    Decision
        For each layout its best plan: counts, levers, cost, intervals, what lies around it; today, and steps from it.

    Raises
    ------
    ScenarioError
        When there is no target, a range, an indifference or what is fixed is of nothing, a layout is not there or has
        none of what the targets are about, or none is possible.
    """
    require(objective in OBJECTIVES, f"objective must be one of {', '.join(OBJECTIVES)} (got {objective})")
    schedule = settings.schedule(scenario)
    limits = limits_of(scenario, indifference)
    impossible = impossible_layouts(scenario, schedule.layouts)
    asked = Asked(schedule, limits, ranges or {}, tuple(fix), objective, progress)
    decided = _open([OneLayout(asked, layout) for layout in _possible(schedule, impossible)])
    layouts = list(dict.fromkeys([*(each.space.layout for each in decided), *filter(None, [scenario.present])]))
    with (
        Runner(scenario.with_layouts(layouts), settings.workers, take_for_decision, with_counts) as runner,
        Kept(runner.run, scenario, layouts, store) as kept,
    ):
        answers = _answers(decided, kept)
        decision = Decision(schedule, answers, impossible=impossible, objective=objective)
        decision = replace(decision, today=_today(decision, kept.run, objective))
        if decision.first is not None:
            decision = replace(decision, steps=steps_to(decision.first, decision.today, kept.run))
        decision = replace(decision, doubt=_doubt(decision), runs=kept.asked, found=kept.found)
    return replace(decision, draws=_draws(decision, settings, DRAWS if draws is None else draws))


def _open(decided: list[OneLayout]) -> list[OneLayout]:
    """Layouts as they are; refused where nothing may be chosen in any of them."""
    if not any(each.is_open for each in decided):
        file = decided[0].schedule.scenario.file
        rule = "has nothing that could be chosen; all is fixed, unlimited or left to the drivers"
        raise ScenarioError(file, [Problem(file, 0, 0, f"layouts.{each.space.layout}", rule) for each in decided])
    return decided


def _answers(decided: list[OneLayout], kept: Kept) -> tuple[Answer, ...]:
    """The answer of each layout; the cheapest as stated is searched first, the others until they are dearer by far."""
    found: dict[str, Answer] = {}
    for each in sorted(decided, key=lambda each: each.stated(kept).cost()):
        bar = min((answer.cost_per_year for answer in found.values() if answer.chosen is not None), default=math.inf)
        found[each.space.layout] = each.answer(kept, bar)
    return tuple(found[each.space.layout] for each in decided)


def _draws(decision: Decision, settings: Settings, draws: int) -> Draws | None:
    """The best plans at draws of what the scenario marks as not known; None where it marks nothing."""
    if not decision.scenario.unknowns or not decision.plans or decision.objective != YEARLY:
        return None
    return costs_at_draws(decision.scenario, decision.plans, settings, draws)


def _doubt(decision: Decision) -> Doubt | None:
    """How sure it is which layout at its best costs least, by the ranges of prices and by replications."""
    answers = {best_name(decision.scenario, answer.layout): answer for answer in decision.answers if answer.money}
    if not answers or decision.objective != YEARLY:
        return None
    replications = decision.schedule.replications
    return doubt_of(
        decision.scenario,
        {name: answer.money for name, answer in answers.items() if answer.money is not None},
        {name: answer.told.cost_values(replications) for name, answer in answers.items()},
        [name for name, answer in answers.items() if answer.chosen is not None],
    )


def best_name(scenario: Scenario, layout: str) -> str:
    """Name that the best plan of a layout gets beside today's: its own, or one that tells it from today's."""
    return f"{layout}, at its best" if layout == scenario.present else layout


def _today(decision: Decision, run: Run, objective: str) -> Trial | None:
    """Today's layout as it is, simulated as often as an answer; None where there is none or it cannot be run."""
    scenario, schedule = decision.scenario, decision.schedule
    if scenario.present is None:
        return None
    trial = Trials(schedule, Space(scenario, scenario.present, ()), run, objective=objective).one(
        (), schedule.replications
    )
    return None if trial.refused else trial


def _possible(schedule: Schedule, impossible: Mapping[str, str]) -> list[str]:
    """Layouts that are not impossible; refused where none is left."""
    possible = [layout for layout in schedule.layouts if layout not in impossible]
    if not possible:
        file = schedule.scenario.file
        rules = {layout: f"is impossible: {reason}" for layout, reason in impossible.items()}
        raise ScenarioError(file, [Problem(file, 0, 0, f"layouts.{layout}", rule) for layout, rule in rules.items()])
    return possible


def _standing(answer: Answer) -> Standing:
    """What the answer for a layout, or what comes nearest, is ranked by."""
    trial, scenario = answer.trial, answer.schedule.scenario
    assert trial is not None  # there is one of them
    targets = []
    for limit in stated_limits(scenario):
        if not limit.is_about(scenario, answer.layout):
            targets.append(TargetResult(limit.name, limit.text + limit.when, NO_EXCHANGES, group=limit.group))
            continue
        mean = trial.interval(limit.measure, answer.confidence, limit.part).mean
        miss = 0.0 if answer.chosen is not None else limit.miss_share(mean)
        targets.append(TargetResult(limit.name, limit.text + limit.when, MISSED if miss else MET, miss, limit.group))
    downtime = trial.interval(DECIDING, answer.confidence).mean
    return Standing(answer.layout, impossible=False, targets=tuple(targets), downtime_min=downtime, cost=trial.cost())
