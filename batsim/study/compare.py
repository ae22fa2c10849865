"""Layouts against each other: paired differences from common random numbers, and a verdict that they carry."""

from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from batsim.display import Shows
from batsim.errors import Problem, ScenarioError
from batsim.measures import MEASURES, WITHIN_TARGET
from batsim.measures.names import MORE_IS_BETTER
from batsim.scenario.parts.base import did_you_mean
from batsim.statistics.intervals import Interval, chance_best, simultaneous, student_interval, variance_reduction
from batsim.study.limits import limits_of
from batsim.study.running.precision import Wanted, run_until
from batsim.study.running.replications import UNITS, Runs, plain, run

if TYPE_CHECKING:
    import pandas as pd

    from batsim.scenario.site import Scenario
    from batsim.study.running.executors import Progress

    Floats = np.ndarray[tuple[int], np.dtype[np.float64]]

COMPARED = ("downtime_min_per_truck_shift", "labour_min_per_day")
"""Measures whose differences are stated for every pair of layouts, all of them together."""
DECIDING = COMPARED[0]
MOST_NAMED = 4
"""Layouts beside the best that a verdict names."""


class Difference(NamedTuple):
    """One layout less another in one measure, replication by replication."""

    measure: str
    layout: str
    other: str
    interval: Interval
    correlation: float
    """Between the two layouts' replications: what common random numbers have brought."""
    unit: str
    variance_reduction: float = np.nan
    """Variance of the difference with independent runs over that with common random numbers, as these runs tell. [-]"""

    @property
    def clear(self) -> bool:
        """True when the interval leaves out zero."""
        return self.interval.low > 0.0 or self.interval.high < 0.0


class TargetResult(NamedTuple):
    """How a layout stands to one target."""

    name: str
    """downtime, waits, none ready or cut-out."""
    target: str
    """What is wanted, in words."""
    verdict: str
    """met, missed or not sure."""


@dataclass(frozen=True, repr=False)
class Comparison(Shows):
    """Layouts of a scenario, compared."""

    runs: Runs
    measures: tuple[str, ...] = COMPARED
    """Measures whose differences are stated, all of them together; the first decides."""
    wanted: Wanted | None = None
    """Half width that the differences were to reach; None when the count of replications was stated."""

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
    def frame(self) -> "pd.DataFrame":
        """Tidy table: layout, measure, mean, low, high, unit."""
        return self.runs.frame

    @cached_property
    def differences(self) -> tuple[Difference, ...]:
        """Every pair of layouts in the compared measures; the intervals hold together (Bonferroni)."""
        pairs = list(combinations(self.layouts, 2))
        each = simultaneous(self.runs.confidence, len(pairs) * len(self.measures))
        found = []
        for measure in self.measures:
            for layout, other in pairs:
                mine, theirs = self.runs.values[layout][measure], self.runs.values[other][measure]
                found.append(
                    Difference(
                        measure,
                        layout,
                        other,
                        student_interval(mine - theirs, each),
                        correlation(mine, theirs),
                        UNITS[measure],
                        variance_reduction(mine, theirs),
                    )
                )
        return tuple(found)

    def difference(self, measure: str, layout: str, other: str) -> Difference:
        """One layout less another, in either order."""
        for each in self.differences:
            if each.measure == measure and {each.layout, each.other} == {layout, other}:
                if each.layout == layout:
                    return each
                turned = Interval(-each.interval.mean, -each.interval.high, -each.interval.low)
                return each._replace(layout=layout, other=other, interval=turned)
        msg = f"no difference of '{layout}' and '{other}' in {measure}"
        raise KeyError(msg)

    @cached_property
    def ranking(self) -> tuple[str, ...]:
        """Layouts by the mean of the deciding measure, the best first; those in which it has no meaning last."""
        sign = sign_of(self.deciding)
        means = {layout: sign * self.runs.interval(layout, self.deciding).mean for layout in self.layouts}
        return tuple(sorted(self.layouts, key=lambda layout: means[layout] if np.isfinite(means[layout]) else np.inf))

    @cached_property
    def ranked(self) -> tuple[str, ...]:
        """Layouts in which the deciding measure has a meaning, the best first."""
        return tuple(each for each in self.ranking if np.isfinite(self.runs.interval(each, self.deciding).mean))

    @cached_property
    def chance_best(self) -> dict[str, float]:
        """Probability that each layout has the best true mean of the deciding measure, as these replications tell.

        Not a number for a layout in which the measure has no meaning; the others share the chance.
        """
        if not self.ranked:
            return dict.fromkeys(self.layouts, np.nan)
        values = np.column_stack([self.runs.values[layout][self.deciding] for layout in self.ranked])
        found = dict(zip(self.ranked, chance_best(sign_of(self.deciding) * values).tolist(), strict=True))
        return {layout: found.get(layout, np.nan) for layout in self.layouts}

    def confidence_interval(self, layout: str, measure: str | None = None) -> Interval:
        """Mean of a measure of a layout and its Student interval; the deciding measure when none is given."""
        return self.runs.interval(layout, measure or self.deciding)

    @property
    def common_numbers(self) -> str:
        """Sentence on what common random numbers have brought; never a promise."""
        found = [each.variance_reduction for each in self.differences if each.measure == self.deciding]
        found = [each for each in found if np.isfinite(each)]
        if not found:
            return ""
        low, high = min(found), max(found)
        ends = [f"{each:.0f}" if each >= 9.5 else f"{each:.1f}" for each in (low, high)]
        between = " to ".join(dict.fromkeys(ends))
        harm = "; below 1 they did harm" if float(ends[0]) < 1.0 else ""
        return f"Common random numbers divided the variance of these differences by {between}{harm}."

    @property
    def precision_sentence(self) -> str:
        """Sentence on whether the half width that was asked for is reached; empty when none was."""
        wanted = self.wanted
        if wanted is None or len(self.layouts) < 2:
            return ""
        spent = f"{self.runs.replications} replications of each layout"
        short = [each for each in self.differences if not wanted.precision.reached(each.interval)]
        short = [each for each in short if each.measure == wanted.measure and np.isfinite(each.interval.mean)]
        if not short:
            return f"Every difference in {wanted.measure} is known to {wanted.text} after {spent}."
        verb = "is" if len(short) == 1 else "are"
        widest = max(short, key=lambda each: each.interval.half_width)
        return (
            f"{len(short)} of the differences in {wanted.measure} {verb} not yet known to {wanted.text} after {spent}, "
            f"the budget; the widest, {widest.layout} less {widest.other}, to ± {widest.interval.half_width:.3g}."
        )

    @property
    def verdict(self) -> str:
        """Sentence on who is best, said only when the intervals carry it against all others."""
        confidence = f"{100 * self.runs.confidence:g} % simultaneous"
        if len(self.layouts) < 2:
            return ""
        if self.runs.replications < 2:
            return "One replication carries no verdict; take at least two."
        sign, what = sign_of(self.deciding), "downtime" if self.deciding == DECIDING else label_of(self.deciding)
        if len(self.ranked) < 2:
            return f"Fewer than two layouts have a value of {what}, so there is no verdict."
        best, *others = self.ranked
        near = [other for other in others if not sign * self._far_end(best, other) < 0.0]
        if near:
            least = self._in_words(self.difference(self.deciding, best, near[0]).interval)
            names = " and ".join([best, *near]) if len(near) == 1 else ", ".join([best, *near[:MOST_NAMED]])
            if len(near) > MOST_NAMED:
                names += f" and {len(near) - MOST_NAMED} more"
            return (
                f"No clear winner in {what}: {names} cannot be told apart; {best} less {near[0]} is "
                f"{least} ({confidence}). More replications would narrow this."
            )
        gain = self.difference(self.deciding, others[0], best).interval
        if sign < 0.0:
            gain = Interval(-gain.mean, -gain.high, -gain.low)
        more, by = "more" if sign < 0.0 else "less", self._in_words(gain).lstrip("+")
        if self.deciding == DECIDING:
            return f"{best} loses least: {by} less than {others[0]}, the next best ({confidence})."
        return f"{best} is best in {what}: {by} {more} than {others[0]}, the next best ({confidence})."

    def _in_words(self, interval: Interval) -> str:
        """Write a difference in the deciding measure with its unit; of shares, in percentage points."""
        if self.deciding == DECIDING:
            return f"{signed(interval)} min per truck-shift"
        if self.deciding.endswith("_share"):
            return f"{signed(Interval(*(100.0 * each for each in interval)))} percentage points"
        unit = UNITS[self.deciding]
        return signed(interval) if unit == "1" else f"{signed(interval)} {unit}"

    def _far_end(self, best: str, other: str) -> float:
        """End of the interval of best less other that speaks least for the best."""
        interval = self.difference(self.deciding, best, other).interval
        return interval.high if sign_of(self.deciding) > 0.0 else interval.low

    def targets(self, layout: str) -> tuple[TargetResult, ...]:
        """How a layout stands to each target of the scenario."""
        if not any(value is not None for _, value in self.runs.scenario.targets):
            return ()
        return tuple(
            TargetResult(limit.name, limit.text, limit.verdict(self.runs.interval(layout, limit.measure)))
            for limit in limits_of(self.runs.scenario)
        )

    def as_json(self) -> dict[str, Any]:
        """Everything as plain data for `json.dump`."""
        data = self.runs.as_json()
        for layout in self.layouts:
            data["layouts"][layout]["targets"] = {each.target: each.verdict for each in self.targets(layout)}
        data["differences"] = [
            {
                "measure": each.measure,
                "layout": each.layout,
                "other": each.other,
                "mean": plain(each.interval.mean),
                "low": plain(each.interval.low),
                "high": plain(each.interval.high),
                "unit": each.unit,
                "correlation": plain(each.correlation),
                "variance_reduction": plain(each.variance_reduction),
            }
            for each in self.differences
        ]
        data["chance_best"] = {layout: plain(chance) for layout, chance in self.chance_best.items()}
        data["verdict"] = self.verdict
        return data


def signed(interval: Interval) -> str:
    """Write a difference with its half width, to the digits that the half width carries."""
    digits = 1 if not np.isfinite(interval.half_width) or interval.half_width >= 0.05 else 2
    return f"{interval.mean:+.{digits}f} ± {interval.half_width:.{digits}f}"


def correlation(
    first: "np.ndarray[Any, np.dtype[np.float64]]", second: "np.ndarray[Any, np.dtype[np.float64]]"
) -> float:
    """Correlation of paired values; not a number when one does not vary."""
    if first.size < 3 or np.std(first) == 0.0 or np.std(second) == 0.0:
        return float("nan")
    return float(np.corrcoef(first, second)[0, 1])


def compare(
    scenario: "Scenario",
    layouts: "list[str] | tuple[str, ...] | None" = None,
    *,
    replications: int | None = None,
    weeks: float | None = None,
    warm_up_weeks: float | None = None,
    seed: int | None = None,
    measures: tuple[str, ...] = COMPARED,
    within: str | None = None,
    most: int | None = None,
    workers: int | None = None,
    progress: "Progress | None" = None,
) -> Comparison:
    """Compare layouts of a scenario under common random numbers; parameters as for `run`, and these.

    Parameters
    ----------
    scenario, layouts, replications, weeks, warm_up_weeks, seed, workers, progress
        As for `run`.
    measures
        Measures whose differences are stated for every pair of layouts; the first decides.
    within
        Half width that every difference in the first measure is to reach, such as `0.3` in its unit or `5 %`:
        replications go on until then, in place of a stated count.
    most
        Replications of each layout that may be spent on that.

    Raises
    ------
    ScenarioError, ValueError
        As `run`; when a measure is not known, `within` is no half width, or there is but one layout for it.
    """
    check_measures(scenario, measures)
    if within is not None and len(tuple(layouts or scenario.layouts)) < 2:
        msg = "is for differences, and one layout has none; 'batsim run' takes it for means"
        raise ValueError(msg)
    if within is None:
        runs = run(
            scenario,
            layouts,
            replications=replications,
            weeks=weeks,
            warm_up_weeks=warm_up_weeks,
            seed=seed,
            workers=workers,
            progress=progress,
        )
        return Comparison(runs, measures)
    wanted = Wanted.read(within, measures[0], most)

    def differences(runs: Runs) -> "list[tuple[Floats, float]]":
        """Every paired difference in the first measure, at the confidence that holds for all together."""
        pairs = list(combinations(runs.layouts, 2))
        each = simultaneous(runs.confidence, len(pairs) * len(measures))
        values = {layout: runs.values[layout][wanted.measure] for layout in runs.layouts}
        return [(values[one] - values[other], each) for one, other in pairs]

    runs = run_until(
        scenario,
        layouts,
        wanted,
        differences,
        weeks=weeks,
        warm_up_weeks=warm_up_weeks,
        seed=seed,
        workers=workers,
        progress=progress,
    )
    return Comparison(runs, measures, wanted)


def label_of(measure: str) -> str:
    """A measure in words."""
    return MEASURES.get(measure, WITHIN_TARGET).label


def sign_of(measure: str) -> float:
    """-1 where more of a measure is better."""
    return -1.0 if measure in MORE_IS_BETTER else 1.0


def check_measures(scenario: "Scenario", measures: tuple[str, ...]) -> None:
    """Refuse measures that there are not."""
    known = [name for name in UNITS if name != WITHIN_TARGET.name or scenario.targets.waits is not None]
    problems = [
        Problem(scenario.file, 0, 0, "measures", f"no measure of this name{did_you_mean(name, known)}", name)
        for name in measures
        if name not in known
    ]
    if problems or not measures:
        needed = Problem(scenario.file, 0, 0, "measures", "needs at least one measure")
        raise ScenarioError(scenario.file, problems or [needed])
