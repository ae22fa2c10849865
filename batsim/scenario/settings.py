"""How a study is run: which layouts, how often, for how long, and from which seed."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from batsim.errors import Problem, ScenarioError
from batsim.scenario.parts.faults import did_you_mean
from batsim.scenario.parts.week import WEEK_MIN, WEEKS_A_YEAR, Weeks
from batsim.scenario.site import Scenario

SHORTEST_WEEKS = 0.005
"""Shortest measured time, about 50 minutes: a shorter one is a slip of the pen."""
LONGEST_WEEKS = 1040
"""Twenty years: a longer run is a slip of the pen."""

Progress = Callable[[int, int], None]
"""Called with what is done and what there is in all."""


@dataclass(frozen=True)
class Settings:
    """How a study is run; what is not given is as the scenario says.

    Examples
    --------
    >>> Settings(layouts="side rollers", replications=20, weeks=2).replications
    20
    """

    layouts: Sequence[str] | str | None = None
    """Names of layouts; all of them when not given."""
    replications: int | None = None
    """Independent runs of each layout."""
    weeks: float | None = None
    """Measured weeks of one run."""
    warm_up_weeks: float | None = None
    """Weeks before them that are dropped."""
    seed: int | None = None
    """Seed of all random streams."""
    confidence: float | None = None
    """Confidence of the intervals, a share."""
    within: str | None = None
    """Precision that ends a study: replications are added until intervals are as narrow, such as `0.5 min` or `5 %`."""
    most: int | None = None
    """Most replications that `within` may take."""
    workers: int | None = None
    """Processes; 1 keeps everything in this one, None takes one for each core when that pays."""
    progress: Progress | None = None
    """Called with replications done and in all."""

    def schedule(self, scenario: Scenario) -> "Schedule":
        """Settle what is run of a scenario.

        Raises
        ------
        ScenarioError
            When a layout is not in the scenario, or a number is out of range.
        """
        names = (self.layouts,) if isinstance(self.layouts, str) else self.layouts or scenario.layouts
        usual = scenario.simulation
        schedule = Schedule(
            scenario,
            tuple(dict.fromkeys(names)),
            usual.seed if self.seed is None else self.seed,
            usual.replications if self.replications is None else self.replications,
            usual.length_min if self.weeks is None else self.weeks * WEEK_MIN,
            usual.warm_up_min if self.warm_up_weeks is None else self.warm_up_weeks * WEEK_MIN,
            usual.confidence_share if self.confidence is None else self.confidence,
        )
        schedule.check()
        return schedule


@dataclass(frozen=True)
class Schedule:
    """What is run of a scenario: settings with everything that the scenario adds to them, checked."""

    scenario: Scenario
    layouts: tuple[str, ...]
    seed: int
    replications: int
    length_min: float
    """Measured time of one run. [min]"""
    warm_up_min: float
    """Time before it that is dropped. [min]"""
    confidence: float
    """Confidence of the intervals, a share."""
    season: Weeks | None = None
    """Season that is run; None for the normal weeks."""

    @property
    def seasons(self) -> dict[str, "Schedule"]:
        """The same for each season of the scenario by its weeks, for as long as it lasts where that is shorter."""
        begun_min = self.warm_up_min % WEEK_MIN
        return {
            season.text: replace(
                self, season=season, length_min=min(self.length_min, season.number * WEEK_MIN - begun_min)
            )
            for season in self.scenario.seasons
        }

    @property
    def weeks_a_year(self) -> int:
        """Weeks of a year for which it stands."""
        if self.season is not None:
            return self.season.number
        return WEEKS_A_YEAR - sum(season.number for season in self.scenario.seasons)

    @property
    def weeks(self) -> float:
        """Measured weeks of one run."""
        return self.length_min / WEEK_MIN

    @property
    def warm_up_weeks(self) -> float:
        """Weeks before them that are dropped."""
        return self.warm_up_min / WEEK_MIN

    def check(self) -> None:
        """Refuse what cannot be run, all at once; errors as for `Settings.schedule`."""
        known, file = list(self.scenario.layouts), self.scenario.file
        rules: list[tuple[str, str, str | None]] = [
            (f"layouts.{name}", f"no layout of this name{did_you_mean(name, known)}", None)
            for name in self.layouts
            if name not in known
        ]
        if self.replications < 1:
            rules.append(("replications", "must be at least 1", str(self.replications)))
        if not SHORTEST_WEEKS <= self.weeks <= LONGEST_WEEKS:
            rules.append(("weeks", f"must be from {SHORTEST_WEEKS:g} to {LONGEST_WEEKS}", f"{self.weeks:g}"))
        if not 0.0 <= self.warm_up_weeks <= LONGEST_WEEKS:
            rules.append(("warm-up", f"must be from 0 to {LONGEST_WEEKS} weeks", f"{self.warm_up_weeks:g}"))
        if self.seed < 0:
            rules.append(("seed", "must be at least 0", str(self.seed)))
        if not 0.0 < self.confidence < 1.0:
            rules.append(("confidence", "must lie between 0 and 1", f"{self.confidence:g}"))
        if rules:
            raise ScenarioError(file, [Problem(file, 0, 0, *rule) for rule in rules])

    def as_json(self) -> dict[str, Any]:
        """Plain data for `json.dump`, the layouts left out."""
        return {
            "scenario": self.scenario.site.name,
            "seed": self.seed,
            "replications": self.replications,
            "weeks": self.weeks,
            "warm_up_weeks": self.warm_up_weeks,
            "confidence": self.confidence,
        }
