"""The decision of one layout: what may be chosen, the search, the test of what it finds, the answer."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import numpy as np

from batsim.decision.answer import Answer
from batsim.decision.comparing import COARSE
from batsim.decision.counts import GivenRanges, ranges_of
from batsim.decision.kept import Kept
from batsim.decision.search import Search
from batsim.decision.space import Space
from batsim.decision.testing import chance_of, tested
from batsim.decision.trials import Trial, Trials
from batsim.errors import Problem, ScenarioError
from batsim.scenario.parts.fixed import FIXABLE
from batsim.scenario.settings import Schedule
from batsim.scenario.site import Scenario
from batsim.study.levers import SUBJECTS, choices_of
from batsim.study.limits import Limit

SEARCHED_FROM = 100_000
"""Number of the first replication that a search runs: those that are reported are not among them."""
MOST_TESTS = 8
"""Plans of a layout that are tested at most; the last one is told as it is."""


@dataclass(frozen=True)
class Asked:
    """What is decided of every layout."""

    schedule: Schedule
    limits: tuple[Limit, ...]
    """Targets."""
    ranges: GivenRanges
    fix: tuple[str, ...]
    """What may not change, beside what a layout fixes itself."""
    objective: str
    progress: Callable[[str], None] | None = None


class OneLayout:
    """Decides one layout."""

    def __init__(self, asked: Asked, layout: str) -> None:
        self.asked, self.schedule = asked, asked.schedule
        scenario = asked.schedule.scenario
        self.limits = _limits_of(scenario, layout, asked.limits)
        # Only what is asked for is chosen where ranges are given.
        self.fixed = fixed_of(scenario, layout, (*asked.fix, *(["levers"] if asked.ranges else [])))
        self.space = _space(scenario, layout, asked.ranges, self.fixed)

    @property
    def is_open(self) -> bool:
        """Whether anything may be chosen."""
        return bool(self.space.ranges) or bool(set(SUBJECTS) - self.fixed)

    def stated(self, kept: Kept) -> Trial:
        """The layout as stated, as the search sees it."""
        return self._trials(kept, SEARCHED_FROM).one(self.space.stated, COARSE)

    def answer(self, kept: Kept, bar: float = np.inf) -> Answer:
        """Search, test what is found, and go on searching where it fails.

        Parameters
        ----------
        kept
            Runs jobs.
        bar
            Cost of the best plan of another layout, see `Search`. [currency/year]
        """
        before = kept.asked
        searched = self._with_choices(kept)
        search, judged = Search(searched, self.limits, bar), self._trials(kept)
        at, results, chosen = search.best(), [], None
        search_runs, worth_a_test = kept.asked - before, search.is_worth_a_test(at)
        for number in range(MOST_TESTS):
            if not worth_a_test:
                break
            results.append(tested(judged, self.limits, at.point, chance_of(number, 1.0 - self.schedule.confidence)))
            if results[-1].meets:
                chosen = judged.one(at.point, self.schedule.replications)
                break
            at = search.after(at, results[-1].missed)
            worth_a_test = search.meets(at)
        best = None if chosen is not None else judged.one(at.point, self.schedule.replications)
        return Answer(
            schedule=self.schedule,
            space=self.space,
            limits=self.limits,
            objective=self.asked.objective,
            chosen=chosen,
            best=best,
            sure=bool(results) and results[-1].sure,
            given_up=search.given_up,
            tests=tuple(results),
            searched=searched.tried,
            runs=kept.asked - before,
            search_runs=search_runs,
            same_cost_share=self.schedule.scenario.figures["decide.same_cost"].value / 100.0,
        )

    def _trials(self, kept: Kept, first: int = 0) -> Trials:
        """Trials of points, from a replication on."""
        return Trials(self.schedule, self.space, kept.run, first, self.asked.objective, self.asked.progress)

    def _with_choices(self, kept: Kept) -> Trials:
        """Look at the layout as stated for its peak, of which a power limit is a part; then all may be chosen."""
        stated = self.stated(kept)
        peak_kw = 0.0 if stated.refused else stated.evidence().mean_of_year("peak_of_all_weeks_kw")
        choices = choices_of(self.schedule.scenario, self.space.layout, peak_kw)
        self.space = replace(
            self.space, choices=tuple(choice for choice in choices if choice.subject not in self.fixed)
        )
        return self._trials(kept, SEARCHED_FROM)


def _limits_of(scenario: Scenario, layout: str, limits: tuple[Limit, ...]) -> tuple[Limit, ...]:
    """Targets that say something of a layout; refused where none does."""
    saying = tuple(limit for limit in limits if limit.is_about(scenario, layout))
    if not saying:
        rule = "has no exchanges, and the targets are about nothing else; state downtime_per_truck_shift too"
        raise ScenarioError(scenario.file, [Problem(scenario.file, 0, 0, f"layouts.{layout}", rule)])
    return saying


def fixed_of(scenario: Scenario, layout: str, fix: Iterable[str]) -> frozenset[str]:
    """What may not change in a layout, by its single names: what it states, and what is asked for.

    Raises
    ------
    ScenarioError
        When nothing has such a name.
    """
    asked = tuple(fix)
    unknown = [name for name in asked if name not in FIXABLE]
    if unknown:
        known = ", ".join(FIXABLE)
        problems = [Problem(scenario.file, 0, 0, f"fix {name}", f"is none of {known}") for name in unknown]
        raise ScenarioError(scenario.file, problems)
    return frozenset(each for name in (*asked, *scenario.layouts[layout].fixed) for each in FIXABLE[name])


def _space(scenario: Scenario, layout: str, given: GivenRanges, fixed: frozenset[str]) -> Space:
    """Counts that may be chosen."""
    return Space(
        scenario,
        layout,
        tuple(each for each in ranges_of(scenario, layout, given) if each.given or each.kind not in fixed),
    )
