"""Replications until an interval is narrow enough, or a budget is spent."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from batsim.errors import Problem, ScenarioError, SimulationError
from batsim.scenario.parts.base import did_you_mean
from batsim.statistics.intervals import student_interval
from batsim.statistics.precision import Precision
from batsim.study.running.executors import Runner
from batsim.study.running.jobs import Failure
from batsim.study.running.replications import UNITS, Runs, Settings, jobs_of, runs_of, settings

if TYPE_CHECKING:
    from batsim.scenario.site import Scenario
    from batsim.study.running.executors import Progress

    Floats = np.ndarray[tuple[int], np.dtype[np.float64]]

FIRST_REPLICATIONS = 10
"""Replications before the width of an interval is first looked at (Law, section 9.4.1, from memory)."""
MOST_REPLICATIONS = 1000
"""Replications of each layout that are spent at most, unless another budget is stated."""


class Wanted(NamedTuple):
    """A precision: how wide the interval of a measure may be."""

    precision: Precision
    measure: str = "downtime_min_per_truck_shift"
    most: int = MOST_REPLICATIONS
    """Replications of each layout that may be spent."""

    @classmethod
    def read(cls, within: str, measure: str, most: int | None = None) -> "Wanted":
        """Read such as `0.3`, in the unit of the measure, or `5 %` of its mean.

        Raises
        ------
        ValueError
            When it is neither, or not above zero.
        """
        text = within.strip()
        try:
            value = float(text.removesuffix("%"))
        except ValueError:
            value = 0.0
        if not 0.0 < value < float("inf"):
            msg = (
                f"needs a half width in the unit of the measure, such as 0.3, or of its mean, such as 5% (got {within})"
            )
            raise ValueError(msg)
        relative = text.endswith("%")
        precision = Precision(relative=value / 100.0) if relative else Precision(absolute=value)
        return cls(precision, measure, most or MOST_REPLICATIONS)

    @property
    def text(self) -> str:
        """Such as `± 0.3 min` or `± 5 %`."""
        if self.precision.relative is not None:
            return f"± {100.0 * self.precision.relative:g} %"
        unit = UNITS[self.measure]
        return f"± {self.precision.absolute:g}{'' if unit == '1' else f' {unit}'}"


Series = Callable[[Runs], "list[tuple[Floats, float]]"]
"""Values whose mean must be known well enough, each with the confidence of its interval."""


def run_until(
    scenario: "Scenario",
    layouts: "list[str] | tuple[str, ...] | str | None",
    wanted: Wanted,
    series: Series,
    *,
    weeks: float | None = None,
    warm_up_weeks: float | None = None,
    seed: int | None = None,
    workers: int | None = None,
    progress: "Progress | None" = None,
) -> Runs:
    """Simulate layouts, all equally often, until every series is known well enough or the budget is spent.

    Parameters
    ----------
    scenario, layouts, weeks, warm_up_weeks, seed, workers, progress
        As for `run`.
    wanted
        Precision, its measure and the budget.
    series
        Says of which values the mean must be known; those without any value are left out.

    Raises
    ------
    ScenarioError
        When there is no measure of that name; else as for `run`.
    """
    if wanted.measure not in UNITS:
        rule = f"no measure of this name{did_you_mean(wanted.measure, list(UNITS))}"
        raise ScenarioError(scenario.file, [Problem(scenario.file, 0, 0, "measure", rule, wanted.measure)])
    count = min(FIRST_REPLICATIONS, wanted.most)
    stated = settings(scenario, layouts, count, weeks, warm_up_weeks, seed)
    found: dict[str, list[Any]] = {layout: [] for layout in stated.layouts}
    done = 0
    with Runner(scenario, workers) as runner:
        while True:
            _extend(runner, stated, found, range(done, count))
            done = count
            runs = runs_of(stated, done, [each for layout in stated.layouts for each in found[layout]])
            if progress is not None:
                progress(done * len(stated.layouts), wanted.most * len(stated.layouts))
            needed = [
                wanted.precision.next_count(values, confidence, wanted.most)
                for values, confidence in series(runs)
                if np.isfinite(values).any() and not wanted.precision.reached(student_interval(values, confidence))
            ]
            if not needed or done >= wanted.most:
                return runs
            count = max(needed)


def run_within(
    scenario: "Scenario",
    layouts: "list[str] | tuple[str, ...] | str | None",
    within: str,
    measure: str,
    most: int | None = None,
    **given: Any,  # noqa: ANN401 - as for `run_until`
) -> tuple[Runs, Wanted]:
    """Simulate layouts until the mean of a measure is known well enough in each; parameters as for `run_until`."""
    wanted = Wanted.read(within, measure, most)

    def means(runs: Runs) -> "list[tuple[Floats, float]]":
        """The measure in every layout."""
        return [(runs.values[layout][measure], runs.confidence) for layout in runs.layouts]

    return run_until(scenario, layouts, wanted, means, **given), wanted


def _extend(runner: Runner, stated: Settings, found: dict[str, list[Any]], replications: range) -> None:
    """Add replications to every layout."""
    jobs = jobs_of(stated, replications)
    for job, outcome in zip(jobs, runner.run(jobs), strict=True):
        if isinstance(outcome, Failure):
            raise outcome.error if outcome.error is not None else SimulationError(outcome.message)
        found[job.layout].append(outcome)
