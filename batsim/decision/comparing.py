"""What a search compares plans by, and how it makes several changes to a plan at once.

All plans are compared on the same replications. Most are looked at once, those that come near the best so far a few
times. A change that lost more, when it was last looked at, than everything has moved since is not looked at again.
"""

from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np

from batsim.decision.space import Move, Point
from batsim.decision.trials import Trial, Trials
from batsim.study.limits import Limit

COARSE, FINE = 2, 6
"""Replications on which plans are compared at first, and at the end."""
GROSS_MISS = 0.75
"""Miss of a target, as a part of what it allows, with which a plan is out after one replication."""
GROSS_COST = 0.02
"""Part of the cost by which a plan that is dearer in one replication is out, less by as many as there are; what saves
as much alone is dear."""
LEAST_GAIN = 1e-6
"""Part of the cost that is a gain."""
TRIFLE = 0.0005
"""Part of the cost that nothing is taken away for."""
DEAR = 0.005
"""Part of the cost that is dear enough to be taken away with a lever that spares it."""
SURE = 2.0
"""Standard deviations of a difference in one replication by which a change must have lost more than all has moved
since, not to be looked at again."""


class Change(NamedTuple):
    """Something changed in a plan."""

    move: Move
    step: int = 0
    """How many steps a count is moved; 0 where a way is turned."""


class _Seen(NamedTuple):
    """How a change stood when it was last looked at."""

    lost: float
    """What it cost more. [currency/year]"""
    paid: float
    """What the plan cost without it. [currency/year]"""


class Comparing:
    """Compares plans.

    Parameters
    ----------
    trials
        Simulates points of a space.
    limits
        Targets.
    """

    def __init__(self, trials: Trials, limits: Sequence[Limit]) -> None:
        self.trials, self.space, self.limits = trials, trials.space, tuple(limits)
        self.replications = COARSE
        self._variances: list[float] = []
        """Of the differences of plans in few replications. [(currency/year)2]"""
        self._seen: dict[tuple[Point, Point], _Seen] = {}
        """By the difference that a change makes to a point; of counts for the same levers alone."""

    def meets(self, trial: Trial) -> bool:
        """Whether a plan meets all targets with their margin, on the replications of now."""
        return self._miss(trial, self.replications) == 0.0

    def _miss(self, trial: Trial, replications: int) -> float:
        """Worst miss of what is tested, as a part of what is allowed; 0 where all is kept. [-]"""
        return trial.miss(self.limits, min(replications, trial.replications))

    def _standing(self, trial: Trial) -> tuple[float, float]:
        """What plans are compared by: the miss, then the cost."""
        replications = min(self.replications, trial.replications)
        return self._miss(trial, replications), trial.cost(replications)

    def _beats(self, trial: Trial, at: Trial, least: float = LEAST_GAIN) -> bool:
        """Whether a plan is better than another, on the replications of now, by a part of the cost at least."""
        (miss, cost), (missed, paid) = self._standing(trial), self._standing(at)
        if miss or missed:
            return miss < missed
        return cost < paid * (1.0 - least)

    def _is_better_in(self, replications: int, trial: Trial, at: Trial) -> bool:
        """Whether a plan is no worse than another in so many replications."""
        standing, before = ((self._miss(each, replications), each.cost(replications)) for each in (trial, at))
        return standing < before

    def _out(self, trial: Trial, at: Trial) -> bool:
        """Whether it breaks a rule, or a few replications tell that it is worse by far."""
        if trial.refused:
            return True
        replications = trial.replications
        miss, missed = self._miss(trial, replications), self._miss(at, replications)
        if miss > missed + GROSS_MISS or not self.meets(at):
            return miss > missed + GROSS_MISS
        return trial.cost(replications) > at.cost(replications) * (1.0 + GROSS_COST / replications)

    def _better(self, points: Iterable[Point], at: Trial, *, at_once: bool = False) -> list[Trial]:
        """Points that are better than a plan, the best first; looked at no more often than it takes to tell.

        While few replications tell, those that are better at once may be enough.
        """
        left = [point for point in dict.fromkeys(points) if point != at.point]
        at_once &= self.replications == COARSE
        for replications in (1, COARSE, self.replications):
            trials = self.trials.look(left, replications)
            self._learn(trials, at, replications)
            left = [trial.point for trial in trials if not self._out(trial, at)]
            if at_once:
                left = [point for point in left if self._is_better_in(replications, self.trials.tried[point], at)]
        found = map(self.trials.tried.__getitem__, left)
        return sorted((trial for trial in found if self._beats(trial, at)), key=self._standing)

    def _learn(self, trials: Sequence[Trial], at: Trial, replications: int) -> None:
        """Remember how changes stood in one replication, and how far two lie apart."""
        if replications == 1:
            self._remember(trials, at)
        elif replications == COARSE:
            differences = (each.cost_values(COARSE) - at.cost_values(COARSE) for each in trials if not each.refused)
            self._variances += [float(np.var(each, ddof=1)) for each in differences]

    def _taken(self, point: Point, at: Trial) -> Trial | None:
        """The trial of a point where it is better than another."""
        return next(iter(self._better([point], at)), None)

    def _worth(self, point: Point, at: Trial) -> bool:
        """Whether a plan is worth a look: not for a trifle, nor where the same lost more than all has moved since."""
        saved = at.bought - self.trials.bought(point)
        if self.meets(at) and 0.0 < saved < TRIFLE * at.cost(self.replications):
            return False
        return self._may_pay(point, at) and not self._lost_before(point, at)

    def _may_pay(self, point: Point, at: Trial) -> bool:
        """Whether another plan could pay: a dearer one saves no more than all time that is waited."""
        more = self.trials.bought(point) - at.bought
        if more <= 0.0 or not self.meets(at):
            return point != at.point
        return more < at.most_saved(self.replications) * self._waited_share(point, at)

    def _waited_share(self, point: Point, at: Trial) -> float:
        """Part of all time that is waited for what there is more of at a point; all of it where levers differ too."""
        if point[len(self.space.ranges) :] != at.point[len(self.space.ranges) :]:
            return 1.0
        pairs = zip(self.space.ranges, point, at.point, strict=False)
        kinds = {each.kind for each, number, before in pairs if number > before}
        return min(1.0, sum(map(at.waited_share, kinds)))

    # What was seen before

    def _remember(self, trials: Iterable[Trial], at: Trial) -> None:
        """Remember how changes to a plan stood."""
        if self.meets(at):
            for trial in trials:
                if trial.replications and at.replications:
                    lost = max(trial.cost(1) - at.cost(1), GROSS_COST * at.cost(1) if self._miss(trial, 1) else 0.0)
                    self._seen[self._difference(trial.point, at.point)] = _Seen(lost, at.cost(1))

    def _deviation(self, at: Trial) -> float:
        """By how much the difference of two plans differs from replication to replication, about. [currency/year]"""
        if not self._variances:
            return GROSS_COST * at.cost(1)
        return float(np.sqrt(np.median(self._variances)))

    def _lost_before(self, point: Point, at: Trial) -> bool:
        """Whether the same change lost more, when it was last looked at, than the cost has moved since."""
        seen = self._seen.get(self._difference(point, at.point))
        if seen is None or not self.meets(at):
            return False
        return seen.lost > abs(seen.paid - at.cost(1)) + SURE * self._deviation(at)

    def _difference(self, point: Point, at: Point) -> tuple[Point, Point]:
        """What a point has more than another, and the ways that both have; none where these differ."""
        first = len(self.space.ranges)
        more = tuple(number - before for number, before in zip(point, at, strict=True))
        return more, () if any(more[first:]) else at[first:]

    # Changes

    def _changed(self, point: Point, change: Change) -> Point:
        """A point with something changed."""
        if change.step:
            return self.space.moved(point, change.move, change.step)
        return self.space.turned(point, change.move)

    def _gained(self, at: Trial, changes: Sequence[Change]) -> Trial:
        """Make all changes that gain, together where that gains most, in longer and longer steps as long as they do."""
        while changes:
            points = {self._changed(at.point, change): change for change in changes}
            better = self._better([point for point in points if self._worth(point, at)], at, at_once=True)
            if not better:
                break
            at, made = self._several(better, at)
            changes = [Change(each.move, 2 * each.step) for each in map(points.__getitem__, made) if each.step]
        return at

    def _several(self, better: Sequence[Trial], at: Trial) -> tuple[Trial, list[Point]]:
        """All of some changes in one plan, or where that is no better than the first, one after another.

        With it the points of those that are in it.
        """
        if len(better) > 1 and (taken := self._taken(self._merged(better, at), better[0])) is not None:
            return taken, [trial.point for trial in better]
        found, made = at, []
        for trial in better:
            taken = self._taken(self._merged([trial], at, found), found)
            if taken is not None:
                found = taken
                made.append(trial.point)
        return found, made

    def _merged(self, steps: Iterable[Trial], at: Trial, onto: Trial | None = None) -> Point:
        """Point with what several steps from a plan change, onto it or another one, each where none was changed yet."""
        point = list((onto or at).point)
        for step in steps:
            changed = [place for place, count in enumerate(step.point) if count != at.point[place]]
            if all(point[place] == at.point[place] for place in changed):
                for place in changed:
                    point[place] = step.point[place]
        return self.space.without_idle(tuple(point))
