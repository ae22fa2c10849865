"""The search for the best plan: levers and counts in turn, by steps that get shorter, on replications that get more.

All plans are compared on the same replications. Most are looked at once, those that come near the best so far a few
times; when no step gains any more, the search goes on around what it has found with more replications. What it finds is
the best of what it has looked at: it is tested elsewhere whether that meets the targets (see `testing`).
"""

from collections.abc import Collection, Iterator, Sequence
from itertools import combinations, permutations

from batsim.decision.space import MANY, Move, Point
from batsim.decision.trials import Trial, Trials
from batsim.study.levers import EXCHANGE_BY
from batsim.study.limits import Limit

COARSE, FINE = 2, 6
"""Replications on which plans are compared at first, and at the end."""
GROSS_MISS = 0.75
"""Miss of a target, as a part of what it allows, with which a plan is out after one replication."""
GROSS_COST = 0.02
"""Part of the cost by which a plan that is dearer in one replication is out, less by as many as there are; what saves
as much alone is dear."""
RELIEF = 0.1
"""Part of what a target allows by which a lever that relieves the room must better it, to be worth fewer people."""
LEAST_GAIN = 1e-6
"""Part of the cost that is a gain."""
BETTERED = 0.1
"""Part of what makes no difference by which a plan must better one that missed a target when it was tested."""
MOST_RUNS = 200
"""Runs of a layout after which no further lever is looked at with counts of its own."""
MOST_REPAIRS = 12
"""Steps that may be spent on the way from a plan that misses a target to one that meets it."""
MANY_STEPS = (2, 4, 8)
"""How many steps are tried at once on that way."""


class Search:
    """Looks for the plan of the least cost that meets the targets, each with its margin.

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

    def best(self) -> Trial:
        """Find the best plan; where none meets the targets, the one that comes nearest."""
        at = self._start()
        if at.refused or not self.meets(at):
            return at
        at = self._explored(self._settled(at))
        self.replications = FINE
        at = self.trials.one(at.point, FINE)
        while True:
            before, at = at, self._repaired(at)
            at = self._levered(self._traded(self._counted(at, shortest=True)), self.space.turning)
            if at is before:
                break
        before, at = at, self._levered(at, self.space.turning_of_charging)
        return at if at is before else self._counted(at, shortest=True, moves=self.space.counting_of_charging)

    def after(self, failed: Trial, missed: Collection[str]) -> Trial:
        """Find the next plan after one that missed targets when it was tested: it must better it in these.

        Parameters
        ----------
        failed
            That plan, as the search saw it.
        missed
            Labels of the targets.
        """
        self.limits = tuple(
            limit.tested_at(failed.signed_mean(limit, FINE) - BETTERED * limit.indifference)
            if limit.label in missed
            else limit
            for limit in self.limits
        )
        return self._counted(self._repaired(failed), shortest=True)

    def meets(self, trial: Trial) -> bool:
        """Whether a plan meets all targets with their margin, on the replications of now."""
        return self._miss(trial, self.replications) == 0.0

    def _start(self) -> Trial:
        """As stated; where that misses a target, enough of everything if that is better."""
        stated, generous = self.trials.look([self.space.stated, self.space.generous], 1)
        if not stated.refused and self._miss(stated, 1) == 0.0:
            return self.trials.one(stated.point, self.replications)
        looked = [each for each in (stated, generous) if not each.refused] or self._between(stated, generous)
        more = [self.trials.one(each.point, self.replications) for each in looked]
        return self._repaired(min(more, key=self._standing), several=True) if more else stated

    def _between(self, stated: Trial, generous: Trial) -> list[Trial]:
        """What lies halfway between the layout as stated, the fewest, and enough of everything, and breaks no rule."""
        ends = [stated.point, generous.point, self.space.fewest]
        points = [tuple((one + other) // 2 for one, other in zip(*pair, strict=True)) for pair in combinations(ends, 2)]
        return [trial for trial in self.trials.look([*points, self.space.fewest], 1) if not trial.refused]

    def _settled(self, at: Trial) -> Trial:
        """Turn levers and change counts until neither gains."""
        while True:
            before = at
            at = self._counted(self._levered(at, self.space.turning))
            if at is before:
                return at

    def _explored(self, at: Trial) -> Trial:
        """Turn each lever once more, or take one away of what is dear, and judge it with counts of its own.

        The most promising go first, while runs last.
        """
        while True:
            before = at
            for start in sorted(self._starts(at), key=lambda trial: (self._miss(trial, 1), trial.cost(1))):
                if self.trials.runs >= MOST_RUNS:
                    break
                found = self._with_its_own(self.trials.one(start.point, self.replications))
                at = found if self._beats(found, at) else at
            if at is before:
                return at
            at = self._counted(at)

    def _with_its_own(self, start: Trial) -> Trial:
        """A plan with counts of its own; where these alone do not lead to the targets, with other levers too."""
        nearer = self._repaired(start, counts_alone=True)
        return self._counted(nearer if self.meets(nearer) else self._repaired(start), shortest=True)

    def _starts(self, at: Trial) -> list[Trial]:
        """Plans with another lever, or with one fewer of what is dear, that break no rule."""
        points = self._otherwise(at)
        dear = GROSS_COST * at.cost(self.replications)
        fewer = [self.space.moved(at.point, move, -1) for move in self._few()]
        points += [point for point in fewer if self.trials.bought(point) < at.bought - dear]
        trials = self.trials.look(list(dict.fromkeys(points)), 1)
        return [trial for trial in trials if trial is not at and not trial.refused]

    # Comparisons

    def _miss(self, trial: Trial, replications: int) -> float:
        """Worst miss of what is tested, as a part of what is allowed; 0 where all is kept. [-]"""
        return trial.miss(self.limits, min(replications, trial.replications))

    def _standing(self, trial: Trial) -> tuple[float, float]:
        """What plans are compared by: the miss, then the cost."""
        replications = min(self.replications, trial.replications)
        return self._miss(trial, replications), trial.cost(replications)

    def _beats(self, trial: Trial, at: Trial) -> bool:
        """Whether a plan is better than another, on the replications of now."""
        (miss, cost), (missed, paid) = self._standing(trial), self._standing(at)
        if miss or missed:
            return miss < missed
        return cost < paid * (1.0 - LEAST_GAIN)

    def _out(self, trial: Trial, at: Trial) -> bool:
        """Whether it breaks a rule, or a few replications tell that it is worse by far."""
        if trial.refused:
            return True
        replications = trial.replications
        miss, missed = self._miss(trial, replications), self._miss(at, replications)
        if miss > missed + GROSS_MISS or not self.meets(at):
            return miss > missed + GROSS_MISS
        return trial.cost(replications) > at.cost(replications) * (1.0 + GROSS_COST / replications)

    def _taken(self, point: Point, at: Trial) -> Trial | None:
        """The trial of a point where it is better than another; looked at no more often than it takes to tell."""
        if point == at.point:
            return None
        for replications in (1, COARSE, self.replications):
            trial = self.trials.one(point, replications)
            if self._out(trial, at):
                return None
        return trial if self._beats(trial, at) else None

    def _worth(self, point: Point, at: Trial) -> bool:
        """Whether a dearer plan could pay: it saves no more than all time that is waited."""
        more = self.trials.bought(point) - at.bought
        if more <= 0.0 or not self.meets(at):
            return True
        return more < at.most_saved(self.replications)

    # Counts

    def _counted(self, at: Trial, *, shortest: bool = False, moves: Sequence[Move] | None = None) -> Trial:
        """Change counts, some or all, one step after another, until the shortest gain nothing."""
        moves = self.space.counting if moves is None else moves
        steps = [1 if shortest else self.space.first_step(move) for move in moves]
        while True:
            self._glanced(
                at, [self.space.moved(at.point, move, -step) for move, step in zip(moves, steps, strict=True)]
            )
            before = at
            for move, step in zip(moves, steps, strict=True):
                at = self._along(at, move, step)
            if at is before:
                if max(steps, default=1) == 1:
                    return at
                steps = [max(1, step // 2) for step in steps]

    def _along(self, at: Trial, move: Move, step: int) -> Trial:
        """Go on in one direction as long as it gains: first to fewer, and to more where that gains nothing."""
        for sign in (-step, step):
            before = at
            while True:
                point = self.space.moved(at.point, move, sign)
                taken = self._taken(point, at) if self._worth(point, at) else None
                if taken is None:
                    break
                at = taken
            if at is not before:
                break
        return at

    def _traded(self, at: Trial) -> Trial:
        """Try one fewer of a thing, without which a target is missed by little, for one more of a cheaper one."""
        single = [move for move in self.space.counting if len(move) == 1]
        for fewer, more in permutations(single, 2):
            without = self.trials.tried.get(self.space.moved(at.point, fewer, -1))
            if without is None or without is at or self._miss(without, 1) > GROSS_MISS:
                continue
            point = self.space.moved(without.point, more, 1)
            if self.trials.bought(point) < at.bought:
                at = self._taken(point, at) or at
        return at

    def _repaired(self, at: Trial, *, counts_alone: bool = False, several: bool = False) -> Trial:
        """Add what brings a plan nearer to its targets at the least cost until it meets them, or nothing does.

        One thing after another; or several at once while one alone does not do, and of all that may be added first what
        helped in the step before.
        """
        helped: list[int] = []
        for _ in range(MOST_REPAIRS):
            if self.meets(at):
                return at
            points = self._with_one_more(at) + ([] if counts_alone else self._otherwise(at))
            better = self._nearing([points[place] for place in helped], at) or self._nearing(points, at)
            if not better:
                return at
            better.sort(key=lambda trial: self._price_of_nearing(trial, at))
            nearest = better[0]
            if several:
                found = {trial.point for trial in better}
                helped = [place for place, point in enumerate(points) if point in found]
                nearest = nearest if self._miss(nearest, COARSE) == 0.0 else self._together(better, at)
            at = self.trials.one(nearest.point, self.replications)
        return at

    def _nearing(self, points: list[Point], at: Trial) -> list[Trial]:
        """What comes nearer to the targets than a plan, of some points; looked at again where one look tells little."""
        self.trials.look(points, 1)
        self.trials.look([point for point in points if not self._out(self.trials.one(point, 1), at)], COARSE)
        return [trial for trial in map(self.trials.tried.__getitem__, points) if self._nearer(trial, at)]

    def _together(self, better: list[Trial], at: Trial) -> Trial:
        """Take several steps that come nearer at once, the cheapest for what they bring: 2, 4, 8 of them.

        The cheapest of what meets the targets then, or what comes nearest, the first step alone included.
        """
        points: list[Point] = []
        for number in MANY_STEPS:
            point = list(at.point)
            for step in better[:number]:
                changed = [place for place, count in enumerate(step.point) if count != at.point[place]]
                if all(point[place] == at.point[place] for place in changed):
                    for place in changed:
                        point[place] = step.point[place]
            points.append(tuple(point))
        several = [trial for trial in self.trials.look(list(dict.fromkeys(points)), COARSE) if not trial.refused]
        found = [better[0], *(trial for trial in several if trial is not at)]
        return min(found, key=lambda trial: (self._miss(trial, COARSE), trial.cost(min(COARSE, trial.replications))))

    def _with_one_more(self, at: Trial) -> list[Point]:
        """Points with more of something, by one and by a long step."""
        moves = self.space.counting
        return [self.space.moved(at.point, move, step) for move in moves for step in self._longer(move)]

    def _otherwise(self, at: Trial) -> list[Point]:
        """Points with another lever; one of charging, which takes no wait away, only where there is no other."""
        return [self.space.turned(at.point, move) for move in self.space.turning or self.space.turning_of_charging]

    def _price_of_nearing(self, trial: Trial, at: Trial) -> float:
        """Cost of a plan over another for what it is nearer to the targets; below zero where it is cheaper too."""
        replications = min(trial.replications, self.replications)
        nearer = self._miss(at, replications) - self._miss(trial, replications)
        return (trial.cost(replications) - at.cost(replications)) / nearer

    def _longer(self, move: Move) -> tuple[int, ...]:
        """Steps by which more of something is tried where a target is missed."""
        return tuple(dict.fromkeys((1, self.space.first_step(move))))

    def _nearer(self, trial: Trial, at: Trial) -> bool:
        """Whether a plan comes nearer to the targets than another, as often as it was simulated."""
        replications = min(trial.replications, self.replications)
        return not trial.refused and self._miss(trial, replications) < self._miss(at, replications)

    # Levers

    def _levered(self, at: Trial, moves: Sequence[Move]) -> Trial:
        """Turn levers one after another, the most promising first, each with fewer people if it relieves the room."""
        self._glanced(at, [self.space.turned(at.point, move) for move in moves])

        for move in sorted(moves, key=lambda move: self._promise(at, move)):
            point = self.space.turned(at.point, move)
            taken = self._taken(point, at) or self._followed(self.trials.one(point, 1), at, move)
            at = at if taken is None else taken
        return at

    def _promise(self, at: Trial, move: Move) -> tuple[float, float]:
        """How a plan stands with another lever, in one replication."""
        trial = self.trials.one(self.space.turned(at.point, move), 1)
        return self._miss(trial, 1), trial.cost(1)

    def _glanced(self, at: Trial, points: list[Point]) -> None:
        """Look once at several points together, so that all cores are at work."""
        self.trials.look([point for point in dict.fromkeys(points) if point != at.point and self._worth(point, at)], 1)

    def _followed(self, trial: Trial, at: Trial, move: Move) -> Trial | None:
        """A lever that gains nothing alone: with fewer people if it relieves the room, with more if it is cheap."""
        if self.replications == FINE or trial.refused or trial is at or self._miss(trial, 1) > GROSS_MISS:
            return None
        if self._miss(trial, 1) > 0.0:
            return self._with_more(trial, at)
        if self.space.concerns(move, EXCHANGE_BY) or self._relieves(trial, at):
            return self._with_fewer(trial, at)
        return None

    def _relieves(self, trial: Trial, at: Trial) -> bool:
        """Whether a plan betters a target by much."""
        return any(
            trial.signed_mean(limit, 1) < at.signed_mean(limit, 1) - RELIEF * (limit.allowed or limit.indifference)
            for limit in self.limits
        )

    def _few(self) -> Iterator[Move]:
        """Steps of what there is little of: people, stations, devices."""
        return (move for move in self.space.counting if not any(self.space.ranges[each].kind in MANY for each in move))

    def _with_fewer(self, trial: Trial, at: Trial) -> Trial | None:
        """Take away people and stations, halving the step, as long as targets are met; what is better than before."""
        found = trial
        for move in self._few():
            found = self._halved(found, move)
        return self._taken(found.point, at) if found is not trial else None

    def _halved(self, found: Trial, move: Move) -> Trial:
        """Take away as many as can be spared of one thing."""
        step = max(1, max(found.point[position] for position in move) // 2)
        while step:
            point = self.space.moved(found.point, move, -step)
            fewer = self.trials.one(point, 1) if point != found.point else found
            if fewer is not found and self._miss(fewer, 1) == 0.0 and fewer.cost(1) < found.cost(1):
                found = fewer
            else:
                step //= 2
        return found

    def _with_more(self, trial: Trial, at: Trial) -> Trial | None:
        """Add people and stations to a cheap plan that misses a target by little."""
        if not self.meets(at):
            return None
        points = [self.space.moved(trial.point, move, 1) for move in self._few()]
        cheaper = [point for point in points if self._worth(point, at)]
        found = [
            each for each in self.trials.look(cheaper, 1) if self._miss(each, 1) == 0.0 and each.cost(1) < at.cost(1)
        ]
        return self._taken(min(found, key=lambda each: each.cost(1)).point, at) if found else None
