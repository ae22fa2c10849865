"""The search for the best plan: levers and counts in turn, by steps that get shorter, on replications that get more.

When no step gains any more, the search goes on around what it has found with more replications. What it finds is the
best of what it has looked at: it is tested elsewhere whether that meets the targets (see `testing`).
"""

from collections.abc import Collection, Iterator, Sequence
from itertools import combinations, permutations

import numpy as np

from batsim.decision.comparing import COARSE, DEAR, FINE, GROSS_COST, GROSS_MISS, Change
from batsim.decision.space import MANY, Move, Point
from batsim.decision.trials import Trial, Trials
from batsim.decision.weighing import Weighing
from batsim.study.levers import EXCHANGE_BY, WITHOUT_ATTENDANTS
from batsim.study.limits import Limit

RELIEF = 0.1
"""Part of what a target allows by which a lever that relieves the room must better it, to be worth fewer people."""
BETTERED = 0.1
"""Part of what makes no difference by which a plan must better one that missed a target when it was tested."""
MOST_RUNS = 200
"""Runs of a layout after which no further lever is looked at with counts of its own."""
MOST_REPAIRS = 12
"""Steps that may be spent on the way from a plan that misses a target to one that meets it."""
MANY_STEPS = (2, 4, 8)
"""How many steps are tried at once on that way."""
LITTLE = 0.002
"""Part of the cost that is too little a gain of a whole round for another one."""
FAR_DEARER = 0.2
"""Part of the cost by which a plan must be dearer than that of another layout, not to be searched around any more."""


class Search(Weighing):
    """Looks for the plan of the least cost that meets the targets, each with its margin.

    Parameters
    ----------
    trials
        Simulates points of a space.
    limits
        Targets.
    bar
        Cost of the best plan of another layout. [currency/year]
    """

    def __init__(self, trials: Trials, limits: Sequence[Limit], bar: float = np.inf) -> None:
        super().__init__(trials, limits)
        self.bar, self.given_up = bar, False
        """Given up where it is clear that another layout is cheaper by far."""

    def is_worth_a_test(self, at: Trial) -> bool:
        """Whether a plan meets all targets, on the replications of now or on all that it has."""
        return self.meets(at) or self._miss(at, at.replications) == 0.0

    def best(self) -> Trial:
        """Find the best plan; where none meets the targets, the one that comes nearest."""
        at = self._start()
        if at.refused or not self.meets(at):
            return at
        at = self._settled(at)
        self.given_up = at.cost(COARSE) * (1.0 - FAR_DEARER) > self.bar
        if self.given_up:
            return at
        at = self._explored(at)
        self.replications = FINE
        at = self.trials.one(at.point, FINE)
        while True:
            before, at = at, self._repaired(at)
            at = self._traded(self._counted(at, shortest=True))
            at = self._gained(at, [Change(move) for move in self.space.turning])
            if not self._beats(at, before, LITTLE):
                break
        before, at = at, self._gained(at, [Change(move) for move in self.space.turning_of_charging])
        at = at if at is before else self._counted(at, shortest=True, moves=self.space.counting_of_charging)
        at = self._weighed(self._spared(at))
        return at if self.is_worth_a_test(at) else self._counted(self._repaired(at), shortest=True)

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
        self._seen.clear()
        return self._counted(self._repaired(failed), shortest=True)

    def _start(self) -> Trial:
        """As stated; where that misses a target, enough of everything if that is better, or drivers do it all then."""
        stated, generous = self.trials.look([self.space.stated, self.space.generous], 1)
        if not stated.refused and self._miss(stated, 1) == 0.0:
            stated = self.trials.one(stated.point, self.replications)
            if self.meets(stated):
                return stated
        nobody = self.trials.look(list(self._with_nobody(generous)), 1)
        looked = [each for each in (stated, generous, *nobody) if not each.refused] or self._between(stated, generous)
        more = [self.trials.one(each.point, self.replications) for each in looked]
        return self._repaired(min(more, key=self._standing), several=True) if more else stated

    def _with_nobody(self, generous: Trial) -> Iterator[Point]:
        """The same without attendants, where that is a choice."""
        for position, choice in enumerate(self.space.choices, len(self.space.ranges)):
            if any(lever.kind == WITHOUT_ATTENDANTS for way in choice.options for lever in way):
                yield self.space.turned(generous.point, {position: 1})

    def _between(self, stated: Trial, generous: Trial) -> list[Trial]:
        """What lies halfway between the layout as stated, the fewest, and enough of everything, and breaks no rule."""
        ends = [stated.point, generous.point, self.space.fewest]
        points = [tuple((one + other) // 2 for one, other in zip(*pair, strict=True)) for pair in combinations(ends, 2)]
        return [trial for trial in self.trials.look([*points, self.space.fewest], 1) if not trial.refused]

    def _settled(self, at: Trial) -> Trial:
        """Turn levers and change counts until neither gains; then levers that gain with other people alone."""
        turns = [Change(move) for move in self.space.turning]
        while True:
            before = at
            at = self._counted(self._gained(at, turns))
            if not self._beats(at, before, LITTLE):
                before, at = at, self._followed_all(at)
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
        if not self.meets(nearer):
            nearer = self._with_enough(start) or self._repaired(start)
        return self._counted(nearer, shortest=True)

    def _with_enough(self, start: Trial) -> Trial | None:
        """The same with enough of everything, where that meets the targets: what helps together alone is there then."""
        counts = (max(number, each.generous) for each, number in zip(self.space.ranges, start.point, strict=False))
        point = self.space.without_idle((*counts, *start.point[len(self.space.ranges) :]))
        enough = self.trials.one(point, 1)
        if self._miss(enough, 1) > 0.0:
            return None
        enough = self.trials.one(point, self.replications)
        return enough if self.meets(enough) else None

    def _starts(self, at: Trial) -> list[Trial]:
        """Plans with another lever, or with one fewer of what is dear, that break no rule."""
        points = self._otherwise(at)
        dear = GROSS_COST * at.cost(self.replications)
        fewer = [self.space.moved(at.point, move, -1) for move in self._few()]
        points += [point for point in fewer if self.trials.bought(point) < at.bought - dear]
        trials = self.trials.look(list(dict.fromkeys(points)), 1)
        return [trial for trial in trials if trial is not at and not trial.refused]

    # Counts

    def _spared(self, at: Trial) -> Trial:
        """Look at one fewer of each thing, whatever was seen before: what gains is taken, a near miss can be told."""
        while True:
            better = self._better([self.space.moved(at.point, move, -1) for move in self.space.counting], at)
            if not better:
                return at
            at = better[0]

    def _counted(self, at: Trial, *, shortest: bool = False, moves: Sequence[Move] | None = None) -> Trial:
        """Change counts, some or all, one step after another, until the shortest gain nothing."""
        moves = self.space.counting if moves is None else moves
        steps = [1 if shortest else self.space.first_step(move) for move in moves]
        while True:
            before = at
            for sign in (-1, 1):
                at = self._gained(at, [Change(move, sign * step) for move, step in zip(moves, steps, strict=True)])
            if not self._beats(at, before, LITTLE):
                if max(steps, default=1) == 1:
                    return at
                steps = [max(1, step // 2) for step in steps]

    def _traded(self, at: Trial) -> Trial:
        """Try one fewer of a thing, without which a target is missed by little, for one more of a cheaper one."""
        single = [move for move in self.space.counting if len(move) == 1]
        for fewer, more in permutations(single, 2):
            without = self.trials.tried.get(self.space.moved(at.point, fewer, -1))
            if without is None or not without.replications or not 0.0 < self._miss(without, 1) <= GROSS_MISS:
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
        helped: list[Change] = []
        for _ in range(MOST_REPAIRS):
            if self.meets(at):
                return at
            cures = self._cures(at, counts_alone=counts_alone, several=several)
            better = self._nearing(helped, at, several=several) or self._nearing(cures, at, several=several)
            if not better:
                return at
            better.sort(key=lambda trial: self._price_of_nearing(trial, at))
            nearest = better[0]
            if several:
                found = {trial.point for trial in better}
                helped = [each for each in cures if self._changed(at.point, each) in found]
                nearest = nearest if self._miss(nearest, COARSE) == 0.0 else self._together(better, at)
            at = self.trials.one(nearest.point, self.replications)
        return at

    def _nearing(self, cures: Sequence[Change], at: Trial, *, several: bool) -> list[Trial]:
        """Changes that come nearer to the targets; where one alone is taken, looked at again if a look tells little."""
        points = {self._changed(at.point, change): change for change in cures}
        trials = self.trials.look(list(points), 1)
        if not several:
            self.trials.look([trial.point for trial in trials if not self._out(trial, at)], COARSE)
        return [trial for trial in trials if self._nearer(trial, at)]

    def _together(self, better: list[Trial], at: Trial) -> Trial:
        """Take several steps that come nearer at once, the cheapest for what they bring: 2, 4, 8 of them.

        The cheapest of what meets the targets then, or what comes nearest, the first step alone included.
        """
        points = [self._merged(better[:number], at) for number in MANY_STEPS]
        several = [trial for trial in self.trials.look(list(dict.fromkeys(points)), COARSE) if not trial.refused]
        found = [better[0], *(trial for trial in several if trial is not at)]
        return min(found, key=lambda trial: (self._miss(trial, COARSE), trial.cost(min(COARSE, trial.replications))))

    def _cures(self, at: Trial, *, counts_alone: bool, several: bool) -> list[Change]:
        """What may bring a plan nearer to the target that it misses most, where that is missed.

        More of something, by one and by a long step, by a long one alone where several are taken; another lever; one
        of charging, which takes no wait away, only where there is no other.
        """
        more = [
            Change(move, step)
            for move in self.space.adding
            for step in sorted({self.space.first_step(move)} | ({1} if not several else set()))
        ]
        turns = [] if counts_alone else self.space.turning or self.space.turning_of_charging
        worst = max(self.limits, key=lambda limit: at.miss([limit], min(self.replications, at.replications)))
        cures = [*more, *map(Change, turns)]
        return [change for change in cures if self.space.matters(change.move, worst.group)]

    def _otherwise(self, at: Trial) -> list[Point]:
        """Points with another lever; one of charging, which takes no wait away, only where there is no other."""
        return [self.space.turned(at.point, move) for move in self.space.turning or self.space.turning_of_charging]

    def _price_of_nearing(self, trial: Trial, at: Trial) -> float:
        """Cost of a plan over another for what it is nearer to the targets; below zero where it is cheaper too."""
        replications = min(trial.replications, self.replications)
        nearer = self._miss(at, replications) - self._miss(trial, replications)
        return (trial.cost(replications) - at.cost(replications)) / nearer

    def _nearer(self, trial: Trial, at: Trial) -> bool:
        """Whether a plan comes nearer to the targets than another, as often as it was simulated."""
        replications = min(trial.replications, self.replications)
        return not trial.refused and self._miss(trial, replications) < self._miss(at, replications)

    # Levers

    def _followed_all(self, at: Trial) -> Trial:
        """Turn levers one after another, the most promising first, each with fewer people if it relieves the room."""
        for move in self._by_promise(at, self.space.turning):
            at = self._followed(self.trials.one(self.space.turned(at.point, move), 1), at, move) or at
        return at

    def _by_promise(self, at: Trial, moves: Sequence[Move]) -> list[Move]:
        """Different turns from a plan, by how it stands with each in one replication."""
        points = {self.space.turned(at.point, move): move for move in moves}
        trials = self.trials.look([point for point in points if self._may_pay(point, at)], 1)
        trials.sort(key=lambda trial: (self._miss(trial, 1), trial.cost(1)))
        return [points[trial.point] for trial in trials]

    def _followed(self, trial: Trial, at: Trial, move: Move) -> Trial | None:
        """A lever that gains nothing alone: with fewer people if it relieves the room, with more if it is cheap."""
        if trial.refused or trial is at or self._miss(trial, 1) > GROSS_MISS:
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
        """Take away what is dear, halving the step, as long as targets are met; what is better than before."""
        found, dear = trial, DEAR * at.cost(1)
        for move in self._few():
            if self.trials.bought(self.space.moved(trial.point, move, -1)) < trial.bought - dear:
                found = self._halved(found, move)
        return self._taken(found.point, at) if found is not trial else None

    def _halved(self, found: Trial, move: Move) -> Trial:
        """Take away as many as can be spared of one thing."""
        step = max(1, max(found.point[position] for position in move) // 2)
        while step:
            point = self.space.moved(found.point, move, -step)
            fewer = self.trials.one(point, 1) if point != found.point else found
            if self._miss(fewer, 1) == 0.0 and fewer.cost(1) < found.cost(1):
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
