"""Targets as limits on means: how near to a limit makes no difference, and how a layout stands to each."""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from batsim.catalogue import Figures
from batsim.errors import Problem, ScenarioError
from batsim.scenario.parts.faults import did_you_mean
from batsim.scenario.parts.targets import GroupTargets
from batsim.scenario.parts.week import name_of_weeks
from batsim.scenario.site import Scenario
from batsim.statistics.intervals import Interval
from batsim.study.running.runs import Runs

ROUNDING = 1e-9
OF_NONE_MIN, OF_NONE_SHARE = 1.0, 0.01
"""Minutes, and share, of which an indifference is a part where a target allows none."""
DOWNTIME_TARGET, WAITS, NONE_READY = "downtime", "waits", "none ready"
OF_EXCHANGES = (WAITS, NONE_READY)
"""Targets on exchanges, which say nothing of a layout that has none."""
MET, MISSED, NOT_SURE, NO_EXCHANGES = "met", "missed", "not sure", "no exchanges"
"""How a layout can stand to a target."""


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
    season: str = ""
    """Weeks of the season in which it must be kept; empty for the normal weeks."""
    group: str = ""
    """Truck group that it is about; empty for all together."""

    @property
    def title(self) -> str:
        """Name, with the group that it is about."""
        return f"{self.name} of {self.group}" if self.group else self.name

    @property
    def label(self) -> str:
        """Name, with its group and the weeks of a season."""
        return f"{self.title}{self.when}"

    @property
    def part(self) -> tuple[str, str]:
        """Season and group whose runs tell."""
        return self.season, self.group

    @property
    def when(self) -> str:
        """Words on the season, to stand behind others; empty for the normal weeks."""
        return f" in {name_of_weeks(self.season)}" if self.season else ""

    def of_group(self, season: str, group: str) -> "Limit":
        """The same of one truck group."""
        return self._replace(season=season, group=group, text=f"{group}: {self.text}")

    def is_about(self, scenario: Scenario, layout: str) -> bool:
        """Whether it says something of a layout: a target on exchanges says nothing where its trucks have none."""
        if self.name not in OF_EXCHANGES:
            return True
        areas = [
            site
            for site in scenario.areas_of(layout).values()
            if not self.group or any(truck.group == self.group for truck in site.trucks)
        ]
        return not all(site.arrangement(layout).in_truck for site in areas)

    def miss_share(self, mean: float) -> float:
        """How far a mean misses the limit, as a part of it; 0 where it is kept or there is no mean. [-]

        A limit of nothing is missed by so many minutes, percent or trucks.
        """
        of_none = OF_NONE_SHARE if self.name == NONE_READY else OF_NONE_MIN
        over = (self.sign * mean - self.most) / (abs(self.most) or of_none)
        return over if over > 0.0 else 0.0

    def verdict(self, interval: Interval) -> str:
        """Tell whether the measure keeps the limit: met, missed or not sure, as far as its interval can tell.

        Where a target allows nothing, no interval can show nothing; up to half of the indifference is met then.
        """
        mean, low, high = interval if self.sign > 0.0 else interval.turned
        if not np.isfinite(mean):
            return NOT_SURE
        if not np.isfinite(low):
            low = high = mean
        if high <= (self.most if self.allowed else self.tested):
            return MET
        return MISSED if low > self.most else NOT_SURE

    @property
    def tested(self) -> float:
        """Limit that is tested: half of the indifference below the target, so that what passes keeps it.

        Where a target allows nothing, there is nothing below it; it is half of the indifference above then.
        """
        inside = -1.0 if self.allowed > 0.0 else 1.0
        return self.most + inside * self.indifference / 2.0

    def tested_at(self, mean: float) -> "Limit":
        """The same target moved so far that this mean, after the sign, is what is tested, if that is stricter."""
        return self._replace(most=self.most + min(0.0, mean - self.tested))

    @property
    def tested_text(self) -> str:
        """The same in words, such as `14.6 min` or `96.2 %`."""
        return self._in_words(self.sign * self.tested)

    def at(self, level: float) -> "Limit":
        """The same target where so many times as much is allowed."""
        most = level * self.allowed if self.sign > 0.0 else level * self.allowed - 1.0
        before, _, after = self.text.rpartition(self._in_words(self.sign * self.most))
        text = before + self._in_words(self.sign * most) + after
        return self._replace(most=most, text=text, indifference=min(self.indifference, level * self.allowed))

    def _in_words(self, number: float) -> str:
        """A number of its measure with its unit; of trucks alone."""
        if self.measure.endswith("_share"):
            return f"{100.0 * number:.6g} %"
        return f"{number:.6g}" + (" min" if self.name == DOWNTIME_TARGET else "")

    @property
    def allowed(self) -> float:
        """Minutes, trucks or share of the waits or trucks that may miss what is wanted; 0 where none may."""
        return self.most if self.sign > 0.0 else 1.0 + self.most


class TargetResult(NamedTuple):
    """How a layout stands to one target."""

    name: str
    """downtime, waits, none ready or cut-out."""
    target: str
    """What is wanted, in words."""
    verdict: str
    """met, missed, not sure, or no exchanges where the target is about those and the layout has none."""
    miss_share: float = 0.0
    """How far its mean misses the limit, as a part of it; 0 where it is kept. [-]"""
    group: str = ""
    """Truck group that it is about; empty for all together."""

    @property
    def title(self) -> str:
        """Name, with the group that it is about."""
        return f"{self.name} of {self.group}" if self.group else self.name


def target_result(limit: Limit, runs: Runs, layout: str) -> TargetResult:
    """How a layout stands to one target in runs of its weeks."""
    text = limit.text + limit.when
    if not limit.is_about(runs.scenario, layout):
        return TargetResult(limit.name, text, NO_EXCHANGES, group=limit.group)
    judging = runs.groups[limit.group] if limit.group else runs
    interval = judging.judged(layout, limit.measure)
    verdict = limit.verdict(interval)
    return TargetResult(
        limit.name, text, verdict, 0.0 if verdict == MET else limit.miss_share(interval.mean), limit.group
    )


def limits_of(scenario: Scenario, indifference: dict[str, float] | None = None) -> tuple[Limit, ...]:
    """Targets of a scenario as limits, in normal weeks and in each season.

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
    own, file = indifference or {}, scenario.file
    limits = [limit._replace(indifference=own.get(limit.name, limit.indifference)) for limit in stated_limits(scenario)]
    problems = []
    if not limits:
        rule = "states none; add one, such as downtime_per_truck_shift: at most 12 min"
        problems.append(Problem(file, 0, 0, "targets", rule))
    for name, value in own.items():
        path, got = f"indifference {name}", f"{value:g}"
        names = [limit.name for limit in limits]
        allowed = min((limit.allowed for limit in limits if limit.name == name), default=0.0)
        if name not in names:
            rule = f"the scenario has no target of this name{did_you_mean(name, names)}"
            problems.append(Problem(file, 0, 0, path, rule))
        elif not value > 0.0:
            problems.append(Problem(file, 0, 0, path, "must be above 0", got))
        elif 0.0 < allowed < value * (1.0 - ROUNDING):
            rule = f"must be at most what the target allows, {allowed:g}"
            problems.append(Problem(file, 0, 0, path, rule, got))
    if problems:
        raise ScenarioError(file, problems)
    return tuple(limits)


def stated_limits(scenario: Scenario) -> Iterator[Limit]:
    """Targets as limits, if there are any, with the indifferences of the catalogue: normal weeks, then each season."""
    for season in ("", *(weeks.text for weeks in scenario.seasons)):
        yield from (limit._replace(season=season) for limit in _limits(scenario.targets, scenario.figures))
        for group, targets in scenario.targets.groups.items():
            yield from (limit.of_group(season, group) for limit in _limits(targets, scenario.figures))


def _limits(targets: GroupTargets, figures: Figures) -> Iterator[Limit]:
    """Those of all groups together, or of one, in the normal weeks."""
    if (most := targets.downtime_min_per_truck_shift) is not None:
        near = figures.number("decide.indifference_downtime") * (most or OF_NONE_MIN)
        text = f"downtime at most {most:g} min per truck-shift"
        yield Limit(DOWNTIME_TARGET, "downtime_min_per_truck_shift", most, 1.0, near, text)
    if targets.waits is not None:
        least = targets.waits.share
        near = figures.number("decide.indifference_share") * (1.0 - least or OF_NONE_SHARE)
        text = f"{100 * least:g} % of waits under {targets.waits.minutes:g} min"
        yield Limit(WAITS, "wait_within_target_share", -least, -1.0, near, text)
    if (most := targets.none_ready_share) is not None:
        near = figures.number("decide.indifference_share") * (most or OF_NONE_SHARE)
        text = f"at most {100 * most:g} % of trucks find none ready"
        yield Limit(NONE_READY, "found_none_ready_share", most, 1.0, near, text)
    if targets.trucks_below_cut_out is not None:
        most, near = float(targets.trucks_below_cut_out), figures.number("decide.indifference_trucks")
        text = f"at most {most:g} trucks below cut-out"
        yield Limit("cut-out", "trucks_below_cut_out", most, 1.0, near, text)
