"""Independent replications of layouts, a stated number or until a precision is reached; intervals of their measures."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from batsim.errors import Problem, ScenarioError, SimulationError
from batsim.scenario.parts.faults import did_you_mean
from batsim.scenario.settings import Schedule, Settings
from batsim.scenario.site import Scenario
from batsim.statistics.intervals import Floats, student_interval
from batsim.study.running.executors import Runner, run_schedule
from batsim.study.running.jobs import Failure, Results, Values, jobs_of, results_of
from batsim.study.running.runs import DOWNTIME, PARTS, UNITS, PrecisionGoal, Runs

FIRST_REPLICATIONS = 10
"""Replications before the width of an interval is first looked at (Law, section 9.4.1, from memory)."""


Series = Callable[[Runs], list[tuple[Floats, float]]]
"""Values whose mean must be known well enough, each with the confidence of its interval."""


def run(scenario: Scenario, settings: Settings = Settings(), *, measure: str = DOWNTIME) -> Runs:
    """Simulate layouts of a scenario, each in independent replications.

    Parameters
    ----------
    scenario
        The site, as `read` returns it.
    settings
        What is run, in place of what the scenario says. With `within`, replications go on until the mean of a measure
        is known that well in every layout.
    measure
        The measure that `within` is about.

    Returns
    -------
    Runs
        Values of every measure, their intervals, a tidy frame and plain data.

    Raises
    ------
    ScenarioError, ValueError
        When a layout is not in the scenario, a number is out of range, there is no measure of that name, or `within`
        is no half width.
    """

    def means(runs: Runs) -> list[tuple[Floats, float]]:
        """The measure in every layout."""
        return [(runs.pooled(layout, measure), runs.confidence) for layout in runs.layouts]

    return run_until(settings.schedule(scenario), settings, measure, means)


def run_until(schedule: Schedule, settings: Settings, measure: str, series: Series) -> Runs:
    """Simulate layouts, all equally often: as often as scheduled, or with `within` until every series is known.

    Parameters
    ----------
    schedule, settings
        What is run; where the settings say `within`, however often it takes, up to `most`.
    measure
        The measure whose precision that is.
    series
        Says of which values the mean must be known; those without any value are left out.

    Raises
    ------
    ScenarioError, ValueError
        As for `run`.
    """
    if settings.within is None:
        return runs_of(schedule, run_schedule(schedule, settings, take=results_of))
    goal = PrecisionGoal.read(settings.within, measure, settings.most)
    if measure not in UNITS:
        file, rule = schedule.scenario.file, f"no measure of this name{did_you_mean(measure, list(UNITS))}"
        raise ScenarioError(file, [Problem(file, 0, 0, "measure", rule, measure)])
    schedule = replace(schedule, replications=min(FIRST_REPLICATIONS, goal.most))
    results: dict[str, list[Results]] = {layout: [] for layout in schedule.layouts}
    done = 0
    with Runner(schedule.scenario, settings.workers, results_of) as runner:
        while True:
            _extend(runner, schedule, results, range(done, schedule.replications))
            done, runs = schedule.replications, runs_of(schedule, results, goal)
            if settings.progress is not None:
                settings.progress(done * len(schedule.layouts), goal.most * len(schedule.layouts))
            count = _next_count(goal, series(runs))
            if count is None or done >= goal.most:
                return runs
            schedule = replace(schedule, replications=count)


def _extend(runner: Runner, schedule: Schedule, results: dict[str, list[Results]], numbers: range) -> None:
    """Add replications to every layout."""
    jobs = [job for layout in schedule.layouts for job in jobs_of(schedule, layout, numbers=numbers)]
    for job, outcome in zip(jobs, runner.run(jobs), strict=True):
        if isinstance(outcome, Failure):
            raise outcome.error or SimulationError(outcome.message)
        results[job.layout].append(outcome)


def _next_count(goal: PrecisionGoal, series: list[tuple[Floats, float]]) -> int | None:
    """Replications in all to go on to; None when every mean is known well enough."""
    counts = [
        goal.precision.next_count(values, confidence, goal.most)
        for values, confidence in series
        if np.isfinite(values).any() and not goal.precision.reached(student_interval(values, confidence))
    ]
    return max(counts, default=None)


def runs_of(schedule: Schedule, results: dict[str, list[Results]], goal: PrecisionGoal | None = None) -> Runs:
    """Gather what the replications of each layout gave."""
    site = {layout: _by_measure([each.site for each in replications]) for layout, replications in results.items()}
    areas, groups, types, lots = (_parts_of(schedule, results, kind) for kind in (*PARTS, "lots"))
    return Runs(schedule, site, goal, areas, groups, types, lots)


def _parts_of(schedule: Schedule, results: dict[str, list[Results]], kind: str) -> dict[Any, Runs]:
    """Gather what concerns each part of the site of a kind, in the order in which layouts have them."""
    names = dict.fromkeys(name for replications in results.values() for name in getattr(replications[0], kind))
    return {name: _part_of(schedule, results, kind, name) for name in names}


def _part_of(schedule: Schedule, results: dict[str, list[Results]], kind: str, name: str | tuple[str, str]) -> Runs:
    """Gather what concerns one part of the site, in the layouts that have it."""
    having = {
        layout: replications for layout, replications in results.items() if name in getattr(replications[0], kind)
    }
    values = {
        layout: _by_measure([getattr(each, kind)[name] for each in replications])
        for layout, replications in having.items()
    }
    return Runs(replace(schedule, layouts=tuple(having)), values)


def _by_measure(replications: list[Values]) -> dict[str, Floats]:
    """Values of each measure, one for each replication."""
    return {measure: np.array([values[measure] for values in replications]) for measure in replications[0]}
