"""Layouts against each other: paired differences from common random numbers, and a verdict that they carry."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations
from typing import Any

import numpy as np

from batsim.display import Frame, Shows
from batsim.errors import Problem, ScenarioError, require
from batsim.measures import MEASURES, WITHIN_TARGET
from batsim.measures.names import MORE_IS_BETTER
from batsim.scenario.parts.faults import did_you_mean
from batsim.scenario.parts.week import name_of_weeks
from batsim.scenario.settings import Settings
from batsim.scenario.site import Scenario
from batsim.statistics.intervals import (
    Floats,
    Interval,
    chance_best,
    student_interval,
    variance_reduction,
)
from batsim.study.differences import Difference, confidence_of_differences, correlation, difference_of, signed
from batsim.study.limits import TargetResult, stated_limits, target_result
from batsim.study.running.executors import run_schedule
from batsim.study.running.jobs import measure_names, results_of
from batsim.study.running.replications import run_until, runs_of
from batsim.study.running.runs import DOWNTIME, UNITS, Runs, interval_json, plain
from batsim.study.settling import still_settling

COMPARED = (DOWNTIME, "labour_min_per_day")
"""Measures whose differences are stated for every pair of layouts, all of them together."""
NO_DIFFERENCE = Interval(0.0, 0.0, 0.0)
"""Interval of two layouts that are alike in every replication."""
MOST_NAMED = 4
"""Layouts beside the best that a verdict names."""


@dataclass(frozen=True, repr=False)
class Comparison(Shows):
    """Layouts of a scenario, compared."""

    runs: Runs
    measures: tuple[str, ...] = COMPARED
    """Measures whose differences are stated, all of them together; the first decides."""
    seasons: Mapping[str, Runs] = field(default_factory=dict)
    """Runs of each season, by its weeks; `runs` are those of the normal weeks."""
    impossible: Mapping[str, str] = field(default_factory=dict)
    """Why layouts are impossible, by name; they are never best, whatever their runs say."""
    costs: Mapping[str, float] = field(default_factory=dict)
    """What layouts cost in a year, by name, where that is known: it settles ties. [currency/year]"""

    @cached_property
    def parts(self) -> tuple["Comparison", ...]:
        """Comparisons of the normal weeks and of each season, each by itself."""
        runs_of_parts = (self.runs, *self.seasons.values())
        return tuple(Comparison(runs, self.measures, impossible=self.impossible) for runs in runs_of_parts)

    @property
    def by_area(self) -> "Comparison":
        """Areas of all layouts side by side, each as if it were a layout called `LAYOUT, AREA`; for charts of them."""
        return Comparison(self.runs.by_area, self.measures)

    @property
    def in_short(self) -> str:
        """What it is, in a few words."""
        return self.runs.in_short

    @property
    def deciding(self) -> str:
        """Measure by which layouts are ranked."""
        return self.measures[0]

    @property
    def layouts(self) -> tuple[str, ...]:
        """Names of the layouts."""
        return self.runs.layouts

    @property
    def frame(self) -> Frame:
        """Tidy table: layout, measure, mean, low, high, unit."""
        return self.runs.frame

    @cached_property
    def differences(self) -> tuple[Difference, ...]:
        """Every pair of layouts in the compared measures; the intervals hold together (Bonferroni).

        No limits where both layouts rest on too few events, unless they are alike in every replication.
        """
        confidence = confidence_of_differences(self.runs, self.measures)
        differences = []
        for measure in self.measures:
            for layout, other in combinations(self.layouts, 2):
                mine, theirs = self.runs.pooled(layout, measure), self.runs.pooled(other, measure)
                difference = difference_of(mine, theirs)
                interval = student_interval(difference, confidence)
                if np.any(difference) and self._few(layout, measure) and self._few(other, measure):
                    interval = Interval(interval.mean, np.nan, np.nan)
                alike, reduction = correlation(mine, theirs), variance_reduction(mine, theirs)
                differences.append(Difference(measure, layout, other, interval, alike, UNITS[measure], reduction))
        return tuple(differences)

    def _few(self, layout: str, measure: str) -> bool:
        """Whether a measure of a layout rests on too few events for an interval."""
        return self.runs.count(layout, measure) is not None

    def difference(self, measure: str, layout: str, other: str) -> Difference:
        """One layout less another, in either order."""
        for difference in self.differences:
            if difference.measure == measure and {difference.layout, difference.other} == {layout, other}:
                if difference.layout == layout:
                    return difference
                return difference._replace(layout=layout, other=other, interval=difference.interval.turned)
        msg = f"no difference of '{layout}' and '{other}' in {measure}"
        raise KeyError(msg)

    @cached_property
    def ranking(self) -> tuple[str, ...]:
        """Layouts by the mean of the deciding measure, the best first.

        Those in which it has no meaning and those that are impossible come last.
        """
        means = {layout: sign_of(self.deciding) * self.interval(layout).mean for layout in self.layouts}
        last = {layout: not np.isfinite(mean) for layout, mean in means.items()}
        return tuple(sorted(self.layouts, key=lambda layout: (layout in self.impossible, last[layout], means[layout])))

    @cached_property
    def ranked(self) -> tuple[str, ...]:
        """Possible layouts in which the deciding measure has a meaning, the best first."""
        possible = [layout for layout in self.ranking if layout not in self.impossible]
        return tuple(layout for layout in possible if np.isfinite(self.interval(layout).mean))

    @cached_property
    def chance_best(self) -> dict[str, float]:
        """Probability that each layout has the best true mean of the deciding measure, as these replications tell.

        Not a number for a layout that is impossible, or in which the measure has no meaning; the others share it.
        """
        if not self.ranked:
            return dict.fromkeys(self.layouts, np.nan)
        values = np.column_stack([self.runs.pooled(layout, self.deciding) for layout in self.ranked])
        chances = dict(zip(self.ranked, chance_best(sign_of(self.deciding) * values).tolist(), strict=True))
        return {layout: chances.get(layout, np.nan) for layout in self.layouts}

    def interval(self, layout: str, measure: str | None = None) -> Interval:
        """Mean of a measure of a layout and its Student interval; the deciding measure when none is given."""
        return self.runs.interval(layout, measure or self.deciding)

    @property
    def common_numbers(self) -> str:
        """Sentence on what common random numbers have brought; never a promise."""
        reductions = [
            difference.variance_reduction
            for difference in self.differences
            if difference.measure == self.deciding and np.isfinite(difference.variance_reduction)
        ]
        if not reductions:
            return ""
        ends = [f"{end:.0f}" if end >= 9.5 else f"{end:.1f}" for end in (min(reductions), max(reductions))]
        between = " to ".join(dict.fromkeys(ends))
        harm = "; below 1 they did harm" if float(ends[0]) < 1.0 else ""
        return f"Common random numbers divided the variance of these differences by {between}{harm}."

    @property
    def precision_sentence(self) -> str:
        """Sentence on whether the half width that was asked for is reached; empty when none was."""
        goal = self.runs.goal
        if goal is None or len(self.layouts) < 2:
            return ""
        spent = f"{self.runs.replications} replications of each layout"
        wide = [
            difference
            for difference in self.differences
            if difference.measure == goal.measure
            and np.isfinite(difference.interval.mean)
            and not goal.precision.reached(difference.interval)
        ]
        if not wide:
            return f"Every difference in {goal.measure} is known to {goal.text} after {spent}."
        verb = "is" if len(wide) == 1 else "are"
        widest = max(wide, key=lambda difference: difference.interval.half_width)
        return (
            f"{len(wide)} of the differences in {goal.measure} {verb} not yet known to {goal.text} after {spent}, "
            f"the budget; the widest, {widest.layout} less {widest.other}, to ± {widest.interval.half_width:.3g}."
        )

    @cached_property
    def still_settling(self) -> dict[str, Interval]:
        """Layouts whose first measured week is not like the later ones, with how much more downtime it has. [min]"""
        return still_settling(self.runs)

    @property
    def warm_up_sentence(self) -> str:
        """Sentence on a warm-up that was too short; empty when nothing tells so."""
        if not self.still_settling:
            return ""
        layout, more = max(self.still_settling.items(), key=lambda pair: abs(pair[1].mean))
        others = len(self.still_settling) - 1
        weeks = self.runs.schedule.warm_up_weeks
        return (
            f"The warm-up of {weeks:g} week{'' if weeks == 1 else 's'} is too short: in layout '{layout}'"
            f"{f' (and {others} more)' if others else ''} the first measured week has {signed(more).lstrip('+-')} "
            f"min per truck-shift {'more' if more.mean > 0.0 else 'less'} downtime than later ones. "
            "'batsim warm-up' tells how long it should be."
        )

    @property
    def verdict(self) -> str:
        """Sentence on who is best, said only when the intervals carry it against all others."""
        confidence = f"{100 * self.runs.confidence:g} % simultaneous"
        if len(self.layouts) < 2:
            return ""
        if self.runs.replications < 2:
            return "One replication carries no verdict; take at least two."
        if len(self.ranked) < 2:
            possible = "possible " if self.impossible else ""
            return f"Fewer than two {possible}layouts have a value of {self._what}, so there is no verdict."
        best, *others = self.ranked
        near = [other for other in others if not self._lag(best, other).high < 0.0]
        return self._no_winner(best, near, confidence) if near else self._winner(best, others[0], confidence)

    @property
    def worst_area_sentence(self) -> str:
        """Sentence on the area that loses most in the best layout, so that a mean hides none; empty with one."""
        return self._worst_sentence("area", "areas")

    @property
    def worst_group_sentence(self) -> str:
        """The same on truck groups."""
        return self._worst_sentence("group", "groups")

    def _worst_sentence(self, word: str, kind: str) -> str:
        """Sentence on the worst part of a kind in the best layout."""
        if not self.ranked:
            return ""
        best = self.ranked[0]
        intervals = {name: runs.interval(best, DOWNTIME) for name, runs in self.runs.parts_of(best)[kind].items()}
        name, worst = max(intervals.items(), key=lambda pair: pair[1].mean, default=("", NO_DIFFERENCE))
        if len(intervals) < 2 or not worst.mean > 0.0:
            return ""
        of_all = self.runs.interval(best, DOWNTIME)
        return (
            f"The worst {word} in '{best}' is '{name}': {_amount(worst)} min per truck-shift, "
            f"against {_amount(of_all)} for all {kind}."
        )

    @property
    def verdicts(self) -> tuple[str, ...]:
        """Verdict of the normal weeks, and of each season; those that there are."""
        named = zip(self.seasons, self.parts[1:], strict=True)
        return tuple(text for text in (self.verdict, *(in_weeks(*season) for season in named)) if text)

    @property
    def _what(self) -> str:
        """The deciding measure in words."""
        return "downtime" if self.deciding == DOWNTIME else label_of(self.deciding)

    def _no_winner(self, best: str, near: list[str], confidence: str) -> str:
        """Sentence on layouts that cannot be told from the best."""
        intervals = [self.difference(self.deciding, best, other).interval for other in near]
        named = [f"'{layout}'" for layout in (best, *near)]
        names = " and ".join(named) if len(near) == 1 else ", ".join(named[: MOST_NAMED + 1])
        if len(near) > MOST_NAMED:
            names += f" and {len(near) - MOST_NAMED} more"
        if all(interval == NO_DIFFERENCE for interval in intervals):
            return f"No difference seen in {self._what}: {names} had the same in every replication."
        if not np.isfinite(intervals[0].low):
            return f"No difference seen in {self._what}: too few events to tell {names} apart."
        if len(near) == 1:
            lead = f"No difference seen in {self._what} between {names}"
        else:
            lead = f"No clear winner in {self._what}: {names} cannot be told apart"
        least = f"'{best}' less '{near[0]}' is {self._in_words(intervals[0])} ({confidence})"
        return f"{lead}; {least}. More replications would narrow this."

    def _winner(self, best: str, other: str, confidence: str) -> str:
        """Sentence on the best layout, which is clear of all others."""
        better = "less" if sign_of(self.deciding) > 0.0 else "more"
        by = self._in_words(self._lag(best, other).turned).lstrip("+")
        lead = "has the least downtime" if self.deciding == DOWNTIME else f"is best in {self._what}"
        return f"Layout '{best}' {lead}: {by} {better} than '{other}', the next best ({confidence})."

    def _in_words(self, interval: Interval) -> str:
        """Write a difference in the deciding measure with its unit; of shares, in percentage points."""
        if self.deciding == DOWNTIME:
            return f"{signed(interval)} min per truck-shift"
        if self.deciding.endswith("_share"):
            return f"{signed(Interval(*(100.0 * share for share in interval)))} percentage points"
        unit = UNITS[self.deciding]
        return signed(interval) if unit == "1" else f"{signed(interval)} {unit}"

    def _lag(self, best: str, other: str) -> Interval:
        """How far a layout is behind another; below zero where it is ahead, in whichever way is better."""
        interval = self.difference(self.deciding, best, other).interval
        return interval if sign_of(self.deciding) > 0.0 else interval.turned

    def targets(self, layout: str) -> tuple[TargetResult, ...]:
        """How a layout stands to each target of the scenario, in normal weeks and in each season."""
        season = self.runs.schedule.season
        runs = {"" if season is None else season.text: self.runs, **self.seasons}
        limits = [limit for limit in stated_limits(self.runs.scenario) if limit.season in runs]
        return tuple(target_result(limit, runs[limit.season], layout) for limit in limits)

    def as_json(self) -> dict[str, Any]:
        """Everything as plain data for `json.dump`."""
        data = self.runs.as_json()
        for layout in self.layouts:
            data["layouts"][layout]["targets"] = {result.target: result.verdict for result in self.targets(layout)}
        if self.seasons:
            self._add_seasons(data)
        data["differences"] = [
            {
                "measure": difference.measure,
                "layout": difference.layout,
                "other": difference.other,
                **interval_json(difference.interval),
                "unit": difference.unit,
                "correlation": plain(difference.correlation),
                "variance_reduction": plain(difference.variance_reduction),
            }
            for difference in self.differences
        ]
        data["chance_best"] = {layout: plain(chance) for layout, chance in self.chance_best.items()}
        data["verdict"] = self.verdict
        data["worst_area"] = self.worst_area_sentence
        data["worst_group"] = self.worst_group_sentence
        data["impossible"] = dict(self.impossible)
        data["warm_up_too_short"] = {layout: interval_json(more) for layout, more in self.still_settling.items()}
        return data

    def _add_seasons(self, data: dict[str, Any]) -> None:
        """Add the seasons, and their numbers to each layout."""
        of_seasons = {season: runs.as_json()["layouts"] for season, runs in self.seasons.items()}
        for layout in self.layouts:
            data["layouts"][layout]["seasons"] = {season: found[layout] for season, found in of_seasons.items()}
        data["seasons"] = {
            season: {"weeks": part.runs.schedule.weeks, "verdict": part.verdict}
            for season, part in zip(self.seasons, self.parts[1:], strict=True)
        }


def in_weeks(weeks: str, comparison: Comparison) -> str:
    """Verdict of a season with its weeks before it; empty where there is none."""
    return f"{name_of_weeks(weeks).capitalize()}: {comparison.verdict}" if comparison.verdict else ""


def _amount(interval: Interval) -> str:
    """Write a mean with its half width, where it has one."""
    return signed(interval).lstrip("+") if np.isfinite(interval.half_width) else f"{interval.mean:.1f}"


def compare(scenario: Scenario, settings: Settings = Settings(), *, measures: tuple[str, ...] = COMPARED) -> Comparison:
    """Compare layouts of a scenario under common random numbers.

    Parameters and errors as for `batsim.compare`, which also knows what is impossible and what a layout costs.
    """
    check_measures(scenario, measures)
    schedule = settings.schedule(scenario)
    rule = "is for differences, and one layout has none; 'batsim run' takes it for means"
    require(settings.within is None or len(schedule.layouts) >= 2, rule)

    def differences(runs: Runs) -> list[tuple[Floats, float]]:
        """Every paired difference in the first measure, at the confidence that holds for all together."""
        confidence = confidence_of_differences(runs, measures)
        values = {layout: runs.pooled(layout, measures[0]) for layout in runs.layouts}
        pairs = combinations(runs.layouts, 2)
        return [(difference_of(values[layout], values[other]), confidence) for layout, other in pairs]

    runs = run_until(schedule, settings, measures[0], differences)
    seasons = {
        weeks: runs_of(season, run_schedule(season, settings, take=results_of))
        for weeks, season in runs.schedule.seasons.items()
    }
    return Comparison(runs, measures, seasons)


def label_of(measure: str) -> str:
    """A measure in words."""
    return MEASURES.get(measure, WITHIN_TARGET).label


def sign_of(measure: str) -> float:
    """-1 where more of a measure is better."""
    return -1.0 if measure in MORE_IS_BETTER else 1.0


def check_measures(scenario: Scenario, measures: tuple[str, ...]) -> None:
    """Refuse measures that there are not."""
    known = measure_names(scenario)
    problems = [
        Problem(scenario.file, 0, 0, "measures", f"no measure of this name{did_you_mean(name, list(known))}", name)
        for name in measures
        if name not in known
    ]
    if problems or not measures:
        needed = Problem(scenario.file, 0, 0, "measures", "needs at least one measure")
        raise ScenarioError(scenario.file, problems or [needed])
