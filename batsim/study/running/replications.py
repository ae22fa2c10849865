"""Independent replications of layouts, and the intervals of their measures."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from batsim.display import Shows
from batsim.errors import Problem, ScenarioError
from batsim.measures import MEASURES, WITHIN_TARGET
from batsim.scenario.parts.base import did_you_mean
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.settings import LONGEST_WEEKS, SHORTEST_WEEKS
from batsim.statistics.intervals import Interval, probability_interval, student_interval
from batsim.statistics.precision import Precision, replications_needed
from batsim.statistics.quantiles import quantile_interval
from batsim.study.running.executors import Progress, run_jobs
from batsim.study.running.jobs import Job

if TYPE_CHECKING:
    import pandas as pd

    from batsim.scenario.site import Scenario

UNITS = {name: measure.unit for name, measure in (*MEASURES.items(), (WITHIN_TARGET.name, WITHIN_TARGET))}
"""Unit of each measure."""


@dataclass(frozen=True)
class Settings:
    """What is run: layouts of a scenario, how often and for how long, from which seed."""

    scenario: "Scenario"
    layouts: tuple[str, ...]
    seed: int
    replications: int
    length_min: float
    warm_up_min: float
    confidence: float

    def as_json(self) -> dict[str, Any]:
        """Plain data for `json.dump`, the layouts left out."""
        return {
            "scenario": self.scenario.site.name,
            "seed": self.seed,
            "replications": self.replications,
            "weeks": self.length_min / WEEK_MIN,
            "warm_up_weeks": self.warm_up_min / WEEK_MIN,
            "confidence": self.confidence,
        }


@dataclass(frozen=True, repr=False)
class Runs(Shows):
    """Replications of one or more layouts of a scenario, all from the same random streams."""

    scenario: "Scenario"
    layouts: tuple[str, ...]
    seed: int
    replications: int
    length_min: float
    warm_up_min: float
    confidence: float
    values: dict[str, dict[str, "np.ndarray[Any, np.dtype[np.float64]]"]]
    """By layout and measure: one value for each replication."""

    @property
    def in_short(self) -> str:
        """What it is, in a few words."""
        return f"{self.scenario.site.name}: {', '.join(self.layouts)}; {self.replications} replications"

    @property
    def weeks(self) -> float:
        """Measured weeks of one replication."""
        return self.length_min / WEEK_MIN

    @property
    def measures(self) -> tuple[str, ...]:
        """Names of the measures taken."""
        return tuple(self.values[self.layouts[0]])

    def interval(self, layout: str, measure: str) -> Interval:
        """Mean of a measure and its Student interval."""
        return student_interval(self.values[layout][measure], self.confidence)

    def quantile(self, layout: str, measure: str, share: float) -> Interval:
        """Value that a measure does not exceed in a share of the replications, with an interval free of any law."""
        return quantile_interval(self.values[layout][measure], share, self.confidence)

    def probability(self, layout: str, measure: str, above: float = 0.0) -> Interval:
        """Probability that a measure of a replication is above a value: the exact interval, also for what is rare."""
        values = self.values[layout][measure]
        seen = values[np.isfinite(values)]
        return probability_interval(int(np.count_nonzero(seen > above)), int(seen.size), self.confidence)

    def replications_needed(self, layout: str, measure: str, precision: Precision) -> int:
        """Replications in all that a precision of the mean would take, as far as these tell."""
        values = self.values[layout][measure]
        seen = values[np.isfinite(values)]
        return replications_needed(
            float(np.var(seen, ddof=1)),
            self.confidence,
            n0=self.replications,
            absolute=precision.absolute,
            relative=precision.relative,
            mean=float(np.mean(seen)),
        )

    @property
    def frame(self) -> "pd.DataFrame":
        """Tidy table: layout, measure, mean, low, high, unit."""
        import pandas as pd  # noqa: PLC0415 - heavy, and only people need it

        return pd.DataFrame(
            [
                (layout, measure, *self.interval(layout, measure), UNITS[measure])
                for layout in self.layouts
                for measure in self.measures
            ],
            columns=["layout", "measure", "mean", "low", "high", "unit"],
        )

    def as_json(self) -> dict[str, Any]:
        """Everything as plain data for `json.dump`; what is not a number becomes null."""
        return {
            "scenario": self.scenario.site.name,
            "seed": self.seed,
            "replications": self.replications,
            "weeks": self.weeks,
            "warm_up_weeks": self.warm_up_min / WEEK_MIN,
            "confidence": self.confidence,
            "layouts": {
                layout: {
                    "measures": {
                        measure: {
                            **{
                                key: plain(value)
                                for key, value in zip(
                                    ("mean", "low", "high"), self.interval(layout, measure), strict=True
                                )
                            },
                            "unit": UNITS[measure],
                        }
                        for measure in self.measures
                    }
                }
                for layout in self.layouts
            },
            "differences": [],
        }


def plain(value: float) -> float | None:
    """Return a number that JSON can hold, or None."""
    return float(value) if np.isfinite(value) else None


def run(
    scenario: "Scenario",
    layouts: "list[str] | tuple[str, ...] | str | None" = None,
    *,
    replications: int | None = None,
    weeks: float | None = None,
    warm_up_weeks: float | None = None,
    seed: int | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
) -> Runs:
    """Simulate layouts of a scenario, each in independent replications.

    Parameters
    ----------
    scenario
        The site, as `read` returns it.
    layouts
        Names of layouts; all of them when not given.
    replications, weeks, warm_up_weeks, seed
        In place of what the scenario says.
    workers
        Processes; 1 keeps everything in this one, None takes one for each core when that pays.
    progress
        Called with replications done and in all.

    Returns
    -------
    Runs
        Values of every measure, their intervals, a tidy frame and plain data.

    Raises
    ------
    ScenarioError
        When a layout is not in the scenario, or a number is out of range.
    """
    stated = settings(scenario, layouts, replications, weeks, warm_up_weeks, seed)
    found = run_jobs([scenario], jobs_of(stated, range(stated.replications)), workers=workers, progress=progress)
    return runs_of(stated, stated.replications, found)


def jobs_of(stated: Settings, replications: range) -> list[Job]:
    """Jobs of some replications, layout by layout."""
    return [
        Job(layout, number, stated.seed, stated.length_min, stated.warm_up_min)
        for layout in stated.layouts
        for number in replications
    ]


def runs_of(stated: Settings, count: int, found: list[dict[str, float]]) -> Runs:
    """Gather what the first replications of each layout gave, in the order of `jobs_of`."""
    values = {
        layout: {
            measure: np.array([each[measure] for each in found[position * count : (position + 1) * count]])
            for measure in found[0]
        }
        for position, layout in enumerate(stated.layouts)
    }
    return Runs(
        stated.scenario,
        stated.layouts,
        stated.seed,
        count,
        stated.length_min,
        stated.warm_up_min,
        stated.confidence,
        values,
    )


def settings(
    scenario: "Scenario",
    layouts: "list[str] | tuple[str, ...] | str | None" = None,
    replications: int | None = None,
    weeks: float | None = None,
    warm_up_weeks: float | None = None,
    seed: int | None = None,
    confidence: float | None = None,
) -> Settings:
    """Settle what is run, from what is asked for and what the scenario says; parameters and errors as for `run`."""
    wanted = (layouts,) if isinstance(layouts, str) else tuple(dict.fromkeys(layouts or scenario.layouts))
    stated = scenario.simulation
    count = stated.replications if replications is None else replications
    length = stated.length_min if weeks is None else weeks * WEEK_MIN
    warm_up = stated.warm_up_min if warm_up_weeks is None else warm_up_weeks * WEEK_MIN
    base = stated.seed if seed is None else seed
    _check(scenario, wanted, count, length, warm_up, base)
    sure = stated.confidence_share if confidence is None else confidence
    return Settings(scenario, wanted, base, count, length, warm_up, sure)


def _check(
    scenario: "Scenario", layouts: tuple[str, ...], count: int, length: float, warm_up: float, seed: int
) -> None:
    """Refuse what cannot be run, all at once."""
    rules: list[tuple[str, str, str | None]] = [
        (f"layouts.{name}", f"no layout of this name{did_you_mean(name, list(scenario.layouts))}", None)
        for name in layouts
        if name not in scenario.layouts
    ]
    if count < 1:
        rules.append(("replications", "must be at least 1", str(count)))
    if not SHORTEST_WEEKS <= length / WEEK_MIN <= LONGEST_WEEKS:
        rules.append(("weeks", f"must be from {SHORTEST_WEEKS:g} to {LONGEST_WEEKS}", f"{length / WEEK_MIN:g}"))
    if not 0.0 <= warm_up / WEEK_MIN <= LONGEST_WEEKS:
        rules.append(("warm-up", f"must be from 0 to {LONGEST_WEEKS} weeks", f"{warm_up / WEEK_MIN:g}"))
    if seed < 0:
        rules.append(("seed", "must be at least 0", str(seed)))
    if rules:
        raise ScenarioError(scenario.file, [Problem(scenario.file, 0, 0, *rule) for rule in rules])
