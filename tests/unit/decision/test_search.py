"""The search on made-up rooms, where it is known what meets the targets: the cheapest is found, few are simulated."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batsim.decision.answer import Trial
from batsim.decision.counts import CountRange, Grid
from batsim.decision.search import Search, _ruling_out_most
from batsim.study.running.counts import BATTERIES, CHARGERS, STATIONS, Counted

PRICES = (10.0, 3.0, 25.0)
RANGES = tuple(
    CountRange(kind, (Counted(kind),), tuple(range(1, most + 1)), stated)
    for kind, most, stated in ((BATTERIES, 12, 6), (CHARGERS, 10, 5), (STATIONS, 4, 2))
)


class MadeUpGrid(Grid):
    """Grid of ranges with round prices, some of them in an area."""

    def __init__(self, ranges, prices):
        super().__init__(None, "room", ranges)
        self.__dict__["plans"] = dict.fromkeys(count_range.area for count_range in ranges)
        self.__dict__["prices"] = prices

    def costs_of(self, combinations):
        """So much for each thing."""
        return combinations @ self.prices

    def unit_cost(self, count_range):
        """Of one more."""
        return self.prices[self.ranges.index(count_range)]


class MadeUp:
    """Trials of which it is known what comes of them: more never harms, and there may be room for so many only."""

    def __init__(self, enough, bays=99, ranges=RANGES, prices=PRICES):
        self.grid, self.prices = MadeUpGrid(ranges, prices), prices
        self.enough, self.bays = enough, bays
        self.tested, self.limits = {}, ()

    def meets(self, counts):
        """Whether there is as much of everything as one of the sufficient counts has."""
        return any(all(mine >= least for mine, least in zip(counts, each, strict=True)) for each in self.enough)

    def decided(self, counts):
        """Trial of a combination; too many batteries break a rule."""
        refused = "no bay" if counts[0] > self.bays else ""
        meets = not refused and self.meets(counts)
        cost = float(np.dot(counts, self.prices))
        too_many = (self.bays + 1, *[1] * (len(counts) - 1)) if refused else ()
        if counts not in self.tested:
            self.tested[counts] = Trial(counts, cost, meets, (), refused, {}, too_many=too_many)
        return self.tested[counts]


def cheapest_of_all(trials):
    """Cost of the cheapest of all combinations that meet the targets; None when there is none."""
    every = product(*(count_range.values for count_range in trials.grid.ranges))
    costs = [
        float(np.dot(counts, trials.prices)) for counts in every if counts[0] <= trials.bays and trials.meets(counts)
    ]
    return min(costs, default=None)


counts = st.tuples(st.integers(1, 13), st.integers(1, 11), st.integers(1, 5))


@given(enough=st.lists(counts, min_size=1, max_size=4), bays=st.integers(6, 14))
@settings(deadline=None)
def test_the_cheapest_is_found(enough, bays):
    """Whatever suffices, also where there is no room for the greatest counts; nothing is simulated twice."""
    trials = MadeUp(enough, bays)
    found = Search(trials, 0.0).cheapest()

    assert (found and found.cost_per_year) == cheapest_of_all(trials)
    assert len(trials.tested) <= 50


@pytest.mark.parametrize(("enough", "most"), [([(7, 5, 2)], 16), ([(7, 5, 2), (10, 2, 2)], 20), ([(13, 1, 1)], 1)])
def test_few_of_the_480_are_simulated(enough, most):
    trials = MadeUp(enough)
    Search(trials, 0.0).cheapest()

    assert len(trials.tested) <= most


def test_what_is_cheaper_by_next_to_nothing_is_not_looked_at():
    """Seven batteries and five chargers are found first; a charger fewer saves less than a twentieth."""
    trials = MadeUp([(7, 5, 2), (7, 1, 3)])
    every, roughly = Search(trials, 0.0).cheapest(), Search(MadeUp([(7, 5, 2), (7, 1, 3)]), 0.5).cheapest()

    assert every.cost_per_year == cheapest_of_all(trials)
    assert roughly.cost_per_year * 0.5 <= every.cost_per_year


def test_from_what_is_found_one_thing_after_another_is_taken_away():
    """Until with one fewer of anything a target is missed; the dearest first."""
    search = Search(MadeUp([(3, 8, 1), (7, 2, 1)]), 0.0)

    assert search.trimmed(RANGES, search.trials.decided((12, 10, 4))).counts == (3, 8, 1)
    assert search.trimmed(RANGES, search.trials.decided((12, 7, 1))).counts == (7, 2, 1)


def test_next_is_what_has_most_others_below_it():
    combinations = np.array([[1, 9], [2, 2], [3, 3], [9, 1], [1, 1], [2, 1]])

    assert _ruling_out_most(combinations) == (3, 3)
