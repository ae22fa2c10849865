"""The search for the cheapest combination of a grid: what to simulate next, and what each result rules out."""

from bisect import bisect_left
from itertools import permutations
from typing import Any

import numpy as np

from batsim.decision.answer import DECIDING, Trial, other, worst_miss
from batsim.decision.counts import CountRange, Ints
from batsim.decision.trials import FIRST_STAGE, MOST_REPLICATIONS, Trials
from batsim.measures.windows import Flags
from batsim.statistics.sequential import KimNelson

CANDIDATES, CROWD = 200, 4000
"""Combinations among which the next one to simulate is looked for, and those by which it is told how much each would
rule out."""
PICKED_FROM = 3
"""Combinations that are equally dear, among which the one with the least downtime is picked."""
ROUNDING = 1e-9


class Search:
    """Looks for the cheapest combination that meets the targets.

    More of a thing does no harm, so what misses a target rules out every combination that has no more of anything; what
    breaks a rule because there are too many of something, such as more bays than the floor holds, every one with no
    fewer.

    Parameters
    ----------
    trials
        Simulates combinations of a grid.
    same_cost_share
        Part of the cost of the answer within which counts are equally dear. [-]
    """

    def __init__(self, trials: Trials, same_cost_share: float) -> None:
        self.trials, self.grid = trials, trials.grid
        self.same_cost_share = same_cost_share

    def cheapest(self) -> Trial | None:
        """Find the cheapest combination that meets the targets; None when none does.

        From the greatest one down to one that is cheap, then whatever cheaper one rules out most if it misses, until
        none is left; those that are cheaper than the best so far by less than what counts as equally dear are not
        looked at here. Where there are several areas, all else stays while the counts of one, and of what areas share,
        are looked through, again and again until nothing cheaper is found.
        """
        first = self._first()
        known = self._descended(first) if first.meets else None
        while True:
            before = known
            for block in self.grid.blocks:
                known = self._cheapest_of(block, known or first, known)
            if known is before and known is not None:
                known = self._traded(known)
            if known is before:
                return known

    def _first(self) -> Trial:
        """The greatest combination; where it breaks a rule because there are too many of something, as stated there."""
        trials, ranges = self.trials, self.grid.ranges
        first = trials.decided(self.grid.greatest)
        for _ in self.grid.blocks:
            too_many = {
                ranges[column].area for column, number in enumerate(first.too_many) if number > ranges[column].values[0]
            }
            counts = tuple(
                each.stated if each.area in too_many else number
                for each, number in zip(ranges, first.counts, strict=True)
            )
            if too_many and self.grid.holds(counts):
                first = trials.decided(counts)
        return first

    def _cheapest_of(self, block: tuple[int, ...], around: Trial, known: Trial | None) -> Trial | None:
        """Look through the combinations of one block, all else as in a trial, for a cheaper one than what is known."""
        combinations = self.grid.around(block, around.counts)
        costs = self.grid.costs_of(combinations)
        while True:
            most = np.inf if known is None else known.cost_per_year * (1.0 - self.same_cost_share)
            cheaper = combinations[self._open(combinations) & (costs < most)]
            if not len(cheaper):
                return known
            tested = self.trials.decided(_ruling_out_most(cheaper))
            known = tested if tested.meets else known

    def _traded(self, known: Trial) -> Trial:
        """Try one more of a thing in one area for fewer of another in another area, where targets are of the site."""
        if all(limit.group for limit in self.trials.limits):
            return known
        columns = [column for column, count_range in enumerate(self.grid.ranges) if count_range.area]
        for more, fewer in permutations(columns, 2):
            counts = self._trade(known, more, fewer)
            if counts is not None and (tested := self.trials.decided(counts)).meets:
                return tested
        return known

    def _trade(self, known: Trial, more: int, fewer: int) -> tuple[int, ...] | None:
        """One more of a thing, and so many fewer of one in another area that it pays; None where that is ruled out."""
        ranges = self.grid.ranges
        raised = next((value for value in ranges[more].values if value > known.counts[more]), None)
        if raised is None or ranges[more].area == ranges[fewer].area:
            return None
        around = self.grid.around((fewer,), other(known.counts, more, raised))
        paying = around[self.grid.costs_of(around) < known.cost_per_year * (1.0 - self.same_cost_share)]
        least = paying[-1:]
        return tuple(least[0].tolist()) if len(least) and self._open(least)[0] else None

    def picked(self, known: Trial) -> tuple[Trial, tuple[Trial, ...]]:
        """Of those that are equally dear and no dearer than the answer, pick the one with the least downtime.

        Those that differ least from the answer are tried. Returns the one picked, and all that it was picked from.
        """
        around = [self.grid.around(block, known.counts) for block in self.grid.blocks]
        combinations = np.unique(np.concatenate(around), axis=0)
        costs = self.grid.costs_of(combinations)
        low, high = known.cost_per_year * (1.0 - self.same_cost_share), known.cost_per_year * (1.0 + ROUNDING)
        dear = combinations[self._open(combinations) & (costs >= low) & (costs <= high)]
        nearest = np.argsort(np.abs(dear - known.counts).sum(axis=1), kind="stable")[: PICKED_FROM - 1]
        tested = [self.trials.decided(tuple(counts)) for counts in dear[nearest].tolist()]
        meeting = [known, *(trial for trial in tested if trial.meets)]
        if len(meeting) == 1:
            return known, ()
        return self.raced(meeting, self._tolerance(known)), tuple(meeting)

    def _tolerance(self, known: Trial) -> float:
        """Downtime that makes no difference. [min per truck-shift]"""
        for limit in self.trials.limits:
            if limit.measure == DECIDING:
                return limit.indifference
        share = self.grid.scenario.figures["decide.indifference_downtime"].value / 100.0
        return share * float(known.values[DECIDING].mean())

    def raced(self, meeting: list[Trial], tolerance: float) -> Trial:
        """Find the one of several with the least downtime (Kim, Nelson), as far as the tolerance tells them apart."""
        trials = self.trials
        race = KimNelson(len(meeting), FIRST_STAGE, 1.0 - trials.schedule.confidence, max(tolerance, ROUNDING))
        selected, replication = None, 0
        while selected is None and replication < MOST_REPLICATIONS:
            for number in race.still_in:
                meeting[number] = trials.looked_at(meeting[number].counts, max(replication + 1, FIRST_STAGE))
            selected = race.add(np.array([_value(tested, replication) for tested in meeting]))
            replication += 1
        if selected is None:
            selected = min(race.still_in, key=lambda number: float(np.mean(meeting[number].values[DECIDING])))
        return meeting[selected]

    def trimmed(self, ranges: tuple[CountRange, ...], known: Trial) -> Trial:
        """Take away one thing after another, the dearest first, until with one fewer of anything a target is missed."""
        order = sorted(range(len(ranges)), key=lambda column: -self.grid.unit_cost(ranges[column]))
        while True:
            before = known
            for column in order:
                fewer = [value for value in ranges[column].values if value < known.counts[column]]
                in_question = [value for value in fewer if not self._ruled_out(other(known.counts, column, value))]
                known = self._fewest(known, column, in_question)
            if known.counts == before.counts:
                return known

    def nearest(self) -> Trial:
        """Of those that were simulated, the one that comes nearest to the targets."""
        return min(self.trials.tested.values(), key=lambda tested: worst_miss(tested, self.trials.limits))

    def _descended(self, known: Trial) -> Trial:
        """Go down from a great combination, one count after the other, the one first on which most can be saved.

        What misses a target here has much of everything else, so it rules out much.
        """
        ranges = self.grid.ranges
        spans = [count_range.values[-1] - count_range.values[0] for count_range in ranges]
        saving = [self.grid.unit_cost(count_range) * span for count_range, span in zip(ranges, spans, strict=True)]
        for column in sorted(range(len(ranges)), key=lambda number: -saving[number]):
            fewer = [value for value in ranges[column].values if value < known.counts[column]]
            there = [value for value in fewer if self.grid.holds(other(known.counts, column, value))]
            known = self._fewest(known, column, there)
        return known

    def _fewest(self, known: Trial, column: int, values: list[int]) -> Trial:
        """Fewest of one thing with which the targets are still met, all else the same; found by halving."""

        def meets(value: int) -> bool:
            return self.trials.decided(other(known.counts, column, value)).meets

        least = bisect_left(values, True, key=meets)
        return known if least == len(values) else self.trials.decided(other(known.counts, column, values[least]))

    def _open(self, combinations: Ints) -> Flags:
        """Which combinations neither were simulated nor are ruled out."""
        is_open = np.ones(len(combinations), dtype=bool)
        for tested in self.trials.tested.values():
            if tested.meets:
                is_open &= (combinations != tested.counts).any(axis=1)
            elif tested.too_many:
                is_open &= (combinations < tested.too_many).any(axis=1)
            else:
                is_open &= (combinations > tested.counts).any(axis=1)
        return is_open

    def _ruled_out(self, counts: tuple[int, ...]) -> bool:
        """Whether a combination has no more of anything than one that misses a target."""
        return any(
            not tested.meets
            and not tested.too_many
            and all(mine <= theirs for mine, theirs in zip(counts, tested.counts, strict=True))
            for tested in self.trials.tested.values()
        )


def _ruling_out_most(combinations: Ints) -> tuple[int, ...]:
    """Combination with which most others have to go if it misses: most have no more of anything."""
    candidates, crowd = _evenly(combinations, CANDIDATES), _evenly(combinations, CROWD)
    lesser = [np.count_nonzero((crowd <= candidate).all(axis=1)) for candidate in candidates]
    return tuple(candidates[int(np.argmax(lesser))].tolist())


def _evenly(combinations: Ints, most: int) -> np.ndarray[Any, np.dtype[np.int64]]:
    """At most so many combinations, evenly spread."""
    count = len(combinations)
    return combinations[np.unique(np.linspace(0, count - 1, min(count, most)).round().astype(np.int64))]


def _value(tested: Trial, replication: int) -> float:
    """Deciding measure of one replication; not a number where the combination is out of the race."""
    values = tested.values[DECIDING]
    return float(values[replication]) if replication < len(values) else np.nan
