"""The search on made-up rooms, where it is known what meets the targets: the cheapest is found, few are simulated."""

from itertools import product
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batsim.decision.answer import Trial
from batsim.decision.counts import CountRange, Grid
from batsim.decision.search import Search, _ruling_out_most
from batsim.study.running.counts import ATTENDANTS, BATTERIES, CHARGERS, STATIONS, Counted

PRICES = (10.0, 3.0, 25.0)
RANGES = tuple(
    CountRange(kind, (Counted(kind),), tuple(range(1, most + 1)), stated)
    for kind, most, stated in ((BATTERIES, 12, 6), (CHARGERS, 10, 5), (STATIONS, 4, 2))
)


class MadeUpGrid(Grid):
    """Grid of ranges with round prices, some of them in an area."""

    def __init__(self, ranges, prices):
        super().__init__(None, "room", ranges)
        self.__dict__["plans"] = dict.fromkeys(sorted({count_range.area for count_range in ranges} - {""}) or [""])
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


# --- several areas ---

OF_AREAS = tuple(
    each._replace(counted=(each.counted[0]._replace(area=area),)) for area in ("north", "south") for each in RANGES
)
SHARED = CountRange(ATTENDANTS, (Counted(ATTENDANTS, "early"),), (1, 2, 3), 2)
SITE = MadeUpGrid((*OF_AREAS, SHARED), (*PRICES, *PRICES, 40.0))


class MadeUpSite(MadeUp):
    """Two areas, which may share attendants; each has enough by itself, or both do together."""

    def __init__(self, north, south, attendants=0, together=None, **how):
        shared = attendants > 0
        ranges, prices = (*OF_AREAS, *[SHARED] * shared), (*PRICES, *PRICES, *[40.0] * shared)
        super().__init__([], ranges=ranges, prices=prices, **how)
        self.north, self.south, self.attendants, self.together = north, south, attendants, together
        self.limits = (SimpleNamespace(group="" if together else "reach"),)

    def meets(self, counts):
        """Whether each area has enough, and both together of batteries where that is asked for."""
        enough = all(
            any(
                all(mine >= least for mine, least in zip(counts[first : first + 3], each, strict=True)) for each in area
            )
            for first, area in ((0, self.north), (3, self.south))
        )
        weighed = self.together is None or counts[0] + 2 * counts[3] >= self.together
        return enough and weighed and (not self.attendants or counts[6] >= self.attendants)


def test_the_counts_of_an_area_are_looked_through_with_those_that_are_shared():
    assert SITE.blocks == ((0, 1, 2, 6), (3, 4, 5, 6))
    assert SITE.size == 480 * 480 * 3
    assert SITE.greatest == (12, 10, 4, 12, 10, 4, 3)
    assert len(SITE.around(SITE.blocks[1], SITE.greatest)) == 480 * 3
    assert SITE.holds((1, 1, 1, 1, 1, 1, 1))
    assert not SITE.holds((1, 1, 1, 1, 1, 5, 1))


@given(north=st.lists(counts, min_size=1, max_size=3), south=st.lists(counts, min_size=1, max_size=3))
@settings(deadline=None, max_examples=10)
def test_areas_that_share_nothing_are_decided_as_if_alone(north, south):
    """The cheapest of each, from hardly more trials than both take alone."""
    alone = [MadeUp(enough) for enough in (north, south)]
    found = [Search(trials, 0.0).cheapest() for trials in alone]
    trials = MadeUpSite(north, south)
    of_site = Search(trials, 0.0).cheapest()

    if None in found:
        assert of_site is None
    else:
        assert of_site.counts == (*found[0].counts, *found[1].counts)
        assert len(trials.tested) <= 4 / 3 * sum(len(each.tested) for each in alone)


@pytest.mark.parametrize("attendants", [1, 2, 3])
def test_no_fewer_attendants_are_shared_than_are_needed(attendants):
    trials = MadeUpSite([(3, 2, 1)], [(2, 2, 2)], attendants)

    assert Search(trials, 0.0).cheapest().counts == (3, 2, 1, 2, 2, 2, attendants)


def test_a_target_of_the_site_is_met_where_that_is_cheapest():
    """A battery of the south weighs twice: more there, for fewer in the north, from wherever the search comes down."""
    trials = MadeUpSite([(2, 2, 1)], [(2, 2, 1)], together=24)

    assert Search(trials, 0.0).cheapest().counts == (2, 2, 1, 11, 2, 1)


def test_where_an_area_has_too_many_the_other_begins_with_the_greatest_counts():
    """More than seven batteries of the north break a rule, so it begins as it is stated; the south needs ten."""
    trials = MadeUpSite([(7, 2, 1)], [(10, 2, 1)], bays=7)

    assert Search(trials, 0.0).cheapest().counts == (7, 2, 1, 10, 2, 1)
