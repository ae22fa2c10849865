"""Targets as limits on means, with how near to a limit makes no difference."""

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from batsim.catalogue import figure
from batsim.errors import Problem, ScenarioError
from batsim.scenario.problems import did_you_mean
from batsim.statistics.intervals import Interval

if TYPE_CHECKING:
    from batsim.scenario.site import Scenario

NAMES = ("downtime", "waits", "none ready", "cut-out")


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
        """Limit that is tested, so that what passes keeps the target: half of the indifference below it."""
        return self.most - self.indifference / 2.0 if self.most > 0.0 or self.sign < 0.0 else self.indifference / 2.0


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
        When there is no target, or an indifference is of none or not above zero.
    """
    stated, own = scenario.targets, indifference or {}
    share = figure("size.indifference_share").value / 100.0
    found = []
    if (most := stated.downtime_min_per_truck_shift) is not None:
        usual = figure("size.indifference_downtime").value / 100.0 * most
        text = f"downtime at most {most:g} min per truck-shift"
        found.append(Limit("downtime", "downtime_min_per_truck_shift", most, 1.0, own.get("downtime", usual), text))
    if stated.waits is not None:
        least, minutes = stated.waits.share, stated.waits.minutes
        text = f"{100 * least:g} % of waits under {minutes:g} min"
        usual = share * (1.0 - least) if least < 1.0 else share / 100.0
        found.append(Limit("waits", "wait_within_target_share", -least, -1.0, own.get("waits", usual), text))
    if (most := stated.none_ready_share) is not None:
        text = f"at most {100 * most:g} % of trucks find none ready"
        usual = share * most if most else share / 100.0
        found.append(Limit("none ready", "found_none_ready_share", most, 1.0, own.get("none ready", usual), text))
    if stated.stranded_trucks is not None:
        most = float(stated.stranded_trucks)
        usual = figure("size.indifference_trucks").value
        text = f"at most {most:g} trucks below cut-out"
        found.append(Limit("cut-out", "stranded_trucks", most, 1.0, own.get("cut-out", usual), text))
    _check(scenario, found, own)
    return tuple(found)


def _check(scenario: "Scenario", found: list[Limit], own: dict[str, float]) -> None:
    problems = []
    if not found:
        rule = "states none; add one, such as downtime_per_truck_shift: at most 12 min"
        problems.append(Problem(scenario.file, 0, 0, "targets", rule))
    for name, value in own.items():
        if name not in {each.name for each in found}:
            rule = f"the scenario has no target of this name{did_you_mean(name, [each.name for each in found])}"
            problems.append(Problem(scenario.file, 0, 0, f"indifference {name}", rule))
        elif not value > 0.0:
            problems.append(Problem(scenario.file, 0, 0, f"indifference {name}", "must be above 0", f"{value:g}"))
    if problems:
        raise ScenarioError(scenario.file, problems)
