"""Targets as limits on means, with how near to a limit makes no difference."""

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from batsim.errors import Problem, ScenarioError
from batsim.scenario.parts.faults import did_you_mean
from batsim.statistics.intervals import Interval

if TYPE_CHECKING:
    from batsim.catalogue import Figures
    from batsim.scenario.site import Scenario

ROUNDING = 1e-9
OF_NONE_MIN = 1.0
"""Minutes of which an indifference is a part where a target allows none."""


class Limit(NamedTuple):
    """A target: the mean of a measure that must not be passed."""

    name: str
    """downtime, waits, none ready or cut-out."""
    measure: str
    most: float
    """Largest mean that meets the target, after the sign is applied."""
    sign: float
    """-1 where the measure must be large."""
    indifference: float
    """Distance below the limit within which it makes no difference which way it is decided; same unit."""
    text: str
    """Such as `downtime at most 15 min per truck-shift`."""

    def verdict(self, interval: Interval) -> str:
        """Tell whether the measure keeps the limit: met, missed or not sure, as far as its interval can tell."""
        mean, low, high = interval
        if self.sign < 0.0:
            mean, low, high = -mean, -high, -low
        if not np.isfinite(mean):
            return "not sure"
        if not np.isfinite(low):
            return "met" if mean <= self.most else "missed"
        if high <= self.most:
            return "met"
        return "missed" if low > self.most else "not sure"

    @property
    def tested(self) -> float:
        """Limit that is tested: half of the indifference below the target, so that what passes keeps it.

        Where a target allows nothing, there is nothing below it; it is half of the indifference above then.
        """
        inside = -1.0 if self.allowed > 0.0 else 1.0
        return self.most + inside * self.indifference / 2.0

    @property
    def allowed(self) -> float:
        """Minutes, trucks or share of the waits or trucks that may miss what is wanted; 0 where none may."""
        return self.most if self.sign > 0.0 else 1.0 + self.most


def limits_of(scenario: "Scenario", indifference: "dict[str, float] | None" = None) -> tuple[Limit, ...]:
    """Targets of a scenario as limits.

    Parameters
    ----------
    scenario
        The site.
    indifference
        By name of the target, in its unit (minutes, share, share, trucks); the catalogue's where nothing is given.

    Raises
    ------
    ScenarioError
        When there is no target, or an indifference is of none, not above zero, or more than the target allows.
    """
    limits = _limits(scenario, indifference or {})
    _check(scenario, limits, indifference or {})
    return tuple(limits)


def _limits(scenario: "Scenario", own: "dict[str, float]") -> list[Limit]:
    targets, figures = scenario.targets, scenario.figures
    limits = []
    if (most := targets.downtime_min_per_truck_shift) is not None:
        usual = figures["decide.indifference_downtime"].value / 100.0 * (most or OF_NONE_MIN)
        text = f"downtime at most {most:g} min per truck-shift"
        limits.append(Limit("downtime", "downtime_min_per_truck_shift", most, 1.0, own.get("downtime", usual), text))
    if targets.waits is not None:
        least, minutes = targets.waits.share, targets.waits.minutes
        text = f"{100 * least:g} % of waits under {minutes:g} min"
        usual = _near(figures, 1.0 - least)
        limits.append(Limit("waits", "wait_within_target_share", -least, -1.0, own.get("waits", usual), text))
    if (most := targets.none_ready_share) is not None:
        text = f"at most {100 * most:g} % of trucks find none ready"
        usual = _near(figures, most)
        limits.append(Limit("none ready", "found_none_ready_share", most, 1.0, own.get("none ready", usual), text))
    if targets.trucks_below_cut_out is not None:
        most = float(targets.trucks_below_cut_out)
        usual = figures["decide.indifference_trucks"].value
        text = f"at most {most:g} trucks below cut-out"
        limits.append(Limit("cut-out", "trucks_below_cut_out", most, 1.0, own.get("cut-out", usual), text))
    return limits


def _near(figures: "Figures", allowed: float) -> float:
    """Part of an allowed share that makes no difference; of a hundredth where none is allowed."""
    return figures["decide.indifference_share"].value / 100.0 * (allowed if allowed > 0.0 else 0.01)


def _check(scenario: "Scenario", limits: list[Limit], own: dict[str, float]) -> None:
    problems = []
    by_name = {limit.name: limit for limit in limits}
    if not limits:
        rule = "states none; add one, such as downtime_per_truck_shift: at most 12 min"
        problems.append(Problem(scenario.file, 0, 0, "targets", rule))
    for name, value in own.items():
        if name not in by_name:
            rule = f"the scenario has no target of this name{did_you_mean(name, list(by_name))}"
            problems.append(Problem(scenario.file, 0, 0, f"indifference {name}", rule))
        elif not value > 0.0:
            problems.append(Problem(scenario.file, 0, 0, f"indifference {name}", "must be above 0", f"{value:g}"))
        elif 0.0 < by_name[name].allowed < value * (1.0 - ROUNDING):
            rule = f"must be at most what the target allows, {by_name[name].allowed:g}"
            problems.append(Problem(scenario.file, 0, 0, f"indifference {name}", rule, f"{value:g}"))
    if problems:
        raise ScenarioError(scenario.file, problems)
