"""The last look of a search: what may be better yet than the best so far is looked at more often, the likeliest first.

How likely a plan is to be better is told by the standard errors by which it is dearer, or misses a target. A few
replications of one plan tell little of how far they spread: the spread of all plans counts beside its own.
"""

from collections.abc import Callable, Iterable, Sequence

import numpy as np

from batsim.decision.comparing import FINE, Comparing
from batsim.decision.space import Point
from batsim.decision.trials import Trial
from batsim.statistics.intervals import Floats
from batsim.study.limits import Limit
from batsim.study.running.estimates import pooled

MOST_WEIGHED, TIMES = 300, 3
"""Runs of a layout after which nothing is looked at more often: in all, and as a multiple of those before."""
OFTEN = 96
"""Replications after which a plan is known well."""
RIVAL = 2.5
"""Standard errors by which a plan must be worse, so that it is no rival before."""
BORROWED = 5
"""Degrees of freedom with which the spread of all plans counts beside that of one."""


class Weighing(Comparing):
    """Compares plans, those that lie near each other more often."""

    def _weighed(self, at: Trial) -> Trial:
        """Look more often at what may be better yet, one step away or seen before, while runs last.

        It takes the place of the best so far once it was looked at as often. What was looked at more often and then
        misses a target gives way to what meets all.
        """
        most = min(MOST_WEIGHED, TIMES * self.trials.runs)
        looked_around: set[Point] = set()
        while self.trials.runs < most:
            at = self._or_what_meets(at)
            if at.point not in looked_around:
                looked_around.add(at.point)
                self.trials.look(self._around(at)[: most - self.trials.runs], 1)
            rival = likeliest(at, self._not_known_well(), self.limits)
            if rival is None:
                break
            # Where chance has no part in what they cost, the best so far need not be looked at again.
            by_chance = bool(np.ptp(_dearer_than(at)(rival)))
            seldom = min(rival.replications, at.replications) if by_chance else rival.replications
            points = [rival.point, at.point] if by_chance else [rival.point]
            self.trials.look(points, max(FINE, min(2 * seldom, OFTEN)))
            often = at.replications if by_chance else rival.replications
            if rival.replications >= at.replications and self._is_better_in(often, rival, at):
                at = rival
        return self._or_what_meets(at)

    def _or_what_meets(self, at: Trial) -> Trial:
        """The best so far, or where it misses a target in all its replications the cheapest plan that misses none."""
        if self._miss(at, at.replications) == 0.0:
            return at
        while True:
            others = [trial for trial in self.trials.tried.values() if trial.replications and not trial.refused]
            meeting = [trial for trial in others if self._miss(trial, trial.replications) == 0.0]
            if not meeting:
                return at
            cheapest = min(meeting, key=lambda trial: trial.cost(trial.replications))
            if cheapest.replications >= FINE:
                return cheapest
            self.trials.one(cheapest.point, FINE)

    def _around(self, at: Trial) -> list[Point]:
        """All plans one step away, whatever was seen before, but what is dearer by more than it could save."""
        points = [self.space.moved(at.point, move, step) for move in self.space.counting for step in (-1, 1)]
        points += [self.space.turned(at.point, move) for move in self.space.turning]
        most = at.bought + at.most_saved()
        return [point for point in dict.fromkeys(points) if self.trials.bought(point) < most]

    def _not_known_well(self) -> list[Trial]:
        """All that was simulated and may be simulated more often."""
        return [trial for trial in self.trials.tried.values() if 0 < trial.replications < OFTEN and not trial.refused]


def likeliest(at: Trial, trials: Iterable[Trial], limits: Sequence[Limit]) -> Trial | None:
    """Find the plan that is the least surely worse than another, where that is not sure; none that costs just the same.

    Parameters
    ----------
    at
        The other one.
    trials
        Plans that were simulated.
    limits
        Targets that a plan should keep with their margin.
    """
    dearer = _dearer_than(at)
    others = [trial for trial in trials if np.any(dearer(trial))]
    if not others:
        return None
    ways = (dearer, *map(_over, limits))
    worst = np.max([standard_errors([way(trial) for trial in others]) for way in ways], axis=0)
    first = int(np.argmin(worst))
    return others[first] if worst[first] < RIVAL else None


def _dearer_than(at: Trial) -> Callable[[Trial], Floats]:
    """By how much a plan is dearer than another, in each replication that both have. [currency/year]"""

    def dearer(trial: Trial) -> Floats:
        both = min(trial.replications, at.replications)
        return trial.cost_values(both) - at.cost_values(both)

    return dearer


def _over(limit: Limit) -> Callable[[Trial], Floats]:
    """How far a plan is over what is tested of a target, in each replication that tells; the unit of its measure."""

    def over(trial: Trial) -> Floats:
        values = pooled(trial.of(limit.part), limit.measure)
        return limit.sign * values[np.isfinite(values)] - limit.tested

    return over


def standard_errors(samples: Sequence[Floats]) -> Floats:
    """Mean of each of several samples in its standard errors; less than any number where a sample is empty.

    A sample's variance is pooled with the mean of all as if that were of some degrees of freedom more.
    """
    freedom = np.array([sample.size - 1 for sample in samples])
    variances = np.array([np.var(sample, ddof=1) if sample.size > 1 else 0.0 for sample in samples])
    of_all = float(np.mean(variances[freedom > 0])) if np.any(freedom > 0) else 0.0
    return np.array(
        [
            _in_errors(sample, (own * max(degrees, 0) + of_all * BORROWED) / (max(degrees, 0) + BORROWED))
            for sample, own, degrees in zip(samples, variances, freedom, strict=True)
        ]
    )


def _in_errors(sample: Floats, variance: float) -> float:
    """Mean of a sample in its standard errors; infinite where nothing varies; an empty one says nothing."""
    if not sample.size:
        return -np.inf
    mean, error = float(np.mean(sample)), float(np.sqrt(variance / sample.size))
    return mean / error if error else float(np.copysign(np.inf, mean))
