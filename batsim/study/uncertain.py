"""Layouts compared over inputs that are not known: which is best how often, and what the doubt rests on."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import product
from typing import Any

import numpy as np

from batsim.display import Frame, Shows, frame_of
from batsim.errors import Problem, ScenarioError
from batsim.scenario.settings import Schedule, Settings
from batsim.scenario.site import Scenario
from batsim.scenario.study_file import LATIN_HYPERCUBE, Design
from batsim.statistics.indices import rank_correlations
from batsim.statistics.intervals import Floats, Interval, probability_interval
from batsim.statistics.variance import VarianceSplit, split_variance
from batsim.study.compare import COMPARED, check_measures, sign_of
from batsim.study.running.executors import run_each
from batsim.study.running.jobs import jobs_of, measures_of
from batsim.study.running.runs import UNITS, interval_json, plain
from batsim.study.sweeps.agenda import changes_in, layouts_of, restated
from batsim.study.sweeps.points import Points
from batsim.study.sweeps.sensitivity import Table
from batsim.study.sweeps.sweep_result import Spread

REPLICATIONS = 2
"""Replications of each draw when not stated: the fewest that tell chance from what is not known."""


@dataclass(frozen=True, repr=False)
class UncertainComparison(Shows):
    """Layouts at many draws of the inputs that are not known; at each draw all see the same random work."""

    schedule: Schedule
    points: Points
    values: dict[str, dict[str, Table]]
    """By layout and measure: a row for each draw, a column for each replication."""
    measures: tuple[str, ...]
    """The first decides."""
    impossible: Mapping[str, str] = field(default_factory=dict)
    """Why layouts are impossible, by name; they are never best, whatever their runs say."""

    @property
    def in_short(self) -> str:
        """What it is, in a few words."""
        return f"{self.schedule.scenario.site.name}: {', '.join(self.layouts)}; {self.draws} draws"

    @property
    def layouts(self) -> tuple[str, ...]:
        """Names of the layouts."""
        return self.schedule.layouts

    @property
    def draws(self) -> int:
        """How many draws."""
        return len(self.points)

    @property
    def deciding(self) -> str:
        """Measure by which layouts are ranked."""
        return self.measures[0]

    @cached_property
    def chance_best(self) -> dict[str, Interval]:
        """Share of the draws at which each layout is best, with the exact interval of a probability.

        At a draw at which several are equally good none of them is; a layout that is impossible or in which the measure
        has no meaning never is.
        """
        means = np.column_stack([self.values[layout][self.deciding].mean(axis=1) for layout in self.layouts])
        in_question = np.isfinite(means) & np.array([layout not in self.impossible for layout in self.layouts])
        scores = np.where(in_question, sign_of(self.deciding) * means, np.inf)
        best = (scores == scores.min(axis=1, keepdims=True)) & np.isfinite(scores)
        alone = best & (best.sum(axis=1, keepdims=True) == 1)
        return {
            layout: probability_interval(int(np.count_nonzero(alone[:, number])), self.draws, self.schedule.confidence)
            for number, layout in enumerate(self.layouts)
        }

    @cached_property
    def ranking(self) -> tuple[str, ...]:
        """Layouts by how often they are best, then by their mean; those that are impossible last."""
        sign = sign_of(self.deciding)

        def rank(layout: str) -> tuple[bool, float, float]:
            mean = sign * self.spread(layout, self.deciding).mean
            return layout in self.impossible, -self.chance_best[layout].mean, np.inf if np.isnan(mean) else mean

        return tuple(sorted(self.layouts, key=rank))

    @property
    def possible(self) -> tuple[str, ...]:
        """The ranking without what is impossible."""
        return tuple(layout for layout in self.ranking if layout not in self.impossible)

    def spread(self, layout: str, measure: str) -> Spread:
        """Mean of a measure over all draws, and where 5 % and 95 % of them lie."""
        return Spread.of(self.values[layout][measure])

    def split(self, layout: str, measure: str | None = None) -> VarianceSplit:
        """Variance of a measure, split into what is not known and chance."""
        return split_variance(self.values[layout][measure or self.deciding], self.schedule.confidence)

    @cached_property
    def swayed_by(self) -> tuple[tuple[str, Interval], ...]:
        """Rank correlation of each unknown input with the lead of the best layout over the next, strongest first."""
        if len(self.possible) < 2:
            return ()
        best, other = self.possible[:2]
        values = self.values[other][self.deciding] - self.values[best][self.deciding]
        lead = sign_of(self.deciding) * values.mean(axis=1)
        return swaying(self.points, lead, self.schedule.confidence)

    @property
    def verdict(self) -> str:
        """Sentence on which layout is best over what is not known."""
        if len(self.possible) < 2:
            return f"Only layout '{self.possible[0]}' is possible." if self.impossible and self.possible else ""
        best, *others = self.possible
        chance = self.chance_best[best]
        shares = f"in {100 * chance.mean:.0f} % of {self.draws} draws of what is not known ({_range(chance)})"
        if chance.low > 0.5:
            return f"Layout '{best}' is best {shares}."
        return f"No layout is best in most cases: '{best}' leads, {shares}, '{others[0]}' comes next."

    @property
    def frame(self) -> Frame:
        """Tidy table: layout, measure, mean, low, high (5 % and 95 % of the draws), input_share, unit."""
        rows = []
        for layout, measure in product(self.layouts, self.measures):
            share = self.split(layout, measure).input_share.mean
            rows.append((layout, measure, *self.spread(layout, measure), share, UNITS[measure]))
        return frame_of(rows, columns=["layout", "measure", "mean", "low", "high", "input_share", "unit"])

    def as_json(self) -> dict[str, Any]:
        """Everything as plain data for `json.dump`."""
        return {
            **self.schedule.as_json(),
            "draws": self.draws,
            "unknowns": [{"path": factor.path, "may_be": factor.text} for factor in self.points.factors],
            "layouts": {
                layout: {
                    "chance_best": interval_json(self.chance_best[layout]),
                    "measures": {
                        measure: {
                            **interval_json(self.spread(layout, measure)),
                            "variance_from_inputs": plain(self.split(layout, measure).from_inputs),
                            "variance_from_chance": plain(self.split(layout, measure).from_noise),
                            "input_share": interval_json(self.split(layout, measure).input_share),
                            "unit": UNITS[measure],
                        }
                        for measure in self.measures
                    },
                }
                for layout in self.layouts
            },
            "swayed_by": [{"path": path, **interval_json(correlation)} for path, correlation in self.swayed_by],
            "verdict": self.verdict,
            "impossible": dict(self.impossible),
        }


def swaying(points: Points, lead: Floats, confidence: float) -> tuple[tuple[str, Interval], ...]:
    """Rank correlation of each unknown input with a lead, strongest first.

    Parameters
    ----------
    points
        The draws.
    lead
        One value for each draw, in any unit.
    confidence
        Of the intervals, a share.
    """
    correlations = rank_correlations(points.cube, lead, confidence)
    rows = [
        (factor.path, Interval(*(float(limit[number]) for limit in correlations)))
        for number, factor in enumerate(points.factors)
    ]
    return tuple(sorted(rows, key=lambda row: -abs(row[1].mean) if np.isfinite(row[1].mean) else 0.0))


def compare_uncertain(
    scenario: Scenario, draws: int, settings: Settings = Settings(), *, measures: tuple[str, ...] = COMPARED
) -> UncertainComparison:
    """Compare layouts at draws of the inputs that the scenario says are not known, `{between: [LOW, HIGH]}`.

    Parameters
    ----------
    scenario
        The site, as `read` returns it.
    draws
        Draws of what is not known, 2 or more, by Latin hypercube.
    settings
        What is run, in place of what the scenario says; each layout twice at each draw when no replications are given.
        All layouts share them; no two draws do, so that chance can be told from what is not known.
    measures
        Measures that are looked at; the first decides.

    Returns
    -------
    UncertainComparison
        How often each layout is best, the spread of each measure, and the inputs on which that depends.

    Raises
    ------
    ScenarioError
        When the scenario has no uncertain input, or there are fewer than two draws or replications; else as for `run`.
    """
    check_measures(scenario, measures)
    if settings.replications is None:
        settings = replace(settings, replications=REPLICATIONS)
    _check(scenario, draws, settings)
    schedule = settings.schedule(scenario)
    layouts, replications = schedule.layouts, schedule.replications
    points = Points(scenario.unknowns, Design(LATIN_HYPERCUBE, draws), schedule.seed)
    lies_in = layouts_of(scenario, scenario.unknowns)
    studied = []
    for draw, point in enumerate(points.all):
        numbers = range(draw * replications, (draw + 1) * replications)
        for layout in layouts:
            studied.append(jobs_of(schedule, layout, numbers=numbers, changes=changes_in(layout, point, lies_in)))
    results = run_each([scenario], studied, settings, take=measures_of, change=restated)
    values = {
        layout: {
            name: np.array([[result[name] for result in of_draw] for of_draw in results[number :: len(layouts)]])
            for name in measures
        }
        for number, layout in enumerate(layouts)
    }
    return UncertainComparison(schedule, points, values, measures)


def _check(scenario: Scenario, draws: int, settings: Settings) -> None:
    """Refuse what allows no comparison, all at once."""
    rules = []
    if not scenario.unknowns:
        rules.append("no input is marked as uncertain: give {between: [LOW, HIGH]}")
    if draws < 2:
        rules.append("needs at least 2 draws")
    if settings.replications is not None and settings.replications < 2:
        rules.append("needs at least 2 replications of each draw, to tell chance from what is not known")
    if rules:
        raise ScenarioError(scenario.file, [Problem(scenario.file, 0, 0, "uncertain", rule) for rule in rules])


def _range(interval: Interval) -> str:
    return f"{100 * interval.low:.0f} to {100 * interval.high:.0f} %"
