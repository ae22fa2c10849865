"""The last look of a search: which plan is the likeliest to be better, and how often it is looked at."""

from collections.abc import Callable, Sequence

import numpy as np
import pytest

from batsim.decision.comparing import FINE
from batsim.decision.counts import CountRange
from batsim.decision.search import Search
from batsim.decision.space import Point
from batsim.decision.trials import DECIDING, Trial
from batsim.decision.weighing import OFTEN, TIMES, likeliest, standard_errors
from batsim.study.running.counts import BATTERIES, Counted
from tests.unit.decision.made_up import DOWNTIME, SCHEDULE, MadeUpTrial, MadeUpTrials, Said, space_of

RANGES = (CountRange("batteries", Counted(BATTERIES, "plain"), 1, 12, 5, 5),)
SPACE = space_of(RANGES, {RANGES[0].counted: 1.0})
LOOSE = DOWNTIME._replace(most=1000.0)
BASE = 1e6
LUCK = 1_500.0
"""What a made-up plan costs, and by how much that varies. [currency/year]"""


def plan(number: int, costs: Sequence[float], minutes: Sequence[float] | None = None) -> Trial:
    """A plan that was simulated, by what came of it."""
    trial = MadeUpTrial(SPACE, (number,), SCHEDULE)
    for cost, lost in zip(costs, minutes or [1.0] * len(costs), strict=True):
        trial.say(Said(cost, {DECIDING: lost}))
    return trial


AT = plan(1, [100.0, 104.0, 98.0, 102.0])


def test_the_rival_is_the_one_that_is_dearer_by_the_fewest_standard_errors() -> None:
    """Not by the least money: two replications tell less than four."""
    often = plan(2, [103.0, 101.0, 101.0, 103.0])
    seldom = plan(3, [102.7, 103.7])
    far = plan(4, [120.0, 125.0, 119.0, 121.0])
    assert np.mean(often.costs) - np.mean(AT.costs) == 1.0
    assert np.mean(seldom.costs) - np.mean(AT.costs[:2]) == pytest.approx(1.2)
    assert likeliest(AT, [far, often, seldom], [LOOSE]) is seldom


def test_a_mean_in_its_standard_errors() -> None:
    """Worked by hand: variances 8 and 2, their mean counts as five degrees of freedom; one value alone has it whole."""
    samples = [np.array([3.0, 7.0]), np.array([1.0, 3.0, 2.0, 2.0 + 3.0**0.5, 2.0 - 3.0**0.5]), np.array([-4.0])]
    assert np.var(samples[1], ddof=1) == pytest.approx(2.0)
    # (1 * 8 + 5 * 5) / 6 = 5.5 and (4 * 2 + 5 * 5) / 9 = 3.667, over 2 and 5 values.
    assert standard_errors(samples) == pytest.approx([5.0 / 2.75**0.5, 2.0 / (11.0 / 15.0) ** 0.5, -4.0 / 5.0**0.5])
    assert standard_errors([np.array([]), np.array([2.0, 4.0])])[0] == -np.inf
    assert list(standard_errors([np.array([2.0]), np.array([-2.0])])) == [np.inf, -np.inf]


def test_a_plan_that_is_surely_dearer_is_no_rival() -> None:
    """One that seems so in few replications that vary a lot is."""
    clear = [each + 50.0 + luck for each, luck in zip(AT.costs, (1.0, -1.0, 1.0, -1.0), strict=True)]
    assert likeliest(AT, [plan(2, clear)], [LOOSE]) is None
    assert likeliest(AT, [plan(2, [200.0, 60.0])], [LOOSE]) is not None


def test_a_plan_that_costs_just_the_same_is_no_rival() -> None:
    """It is the same in effect, and so is the plan itself."""
    assert likeliest(AT, [AT, plan(2, AT.costs)], [LOOSE]) is None
    assert likeliest(AT, [], [LOOSE]) is None


def test_one_that_misses_a_target_by_no_more_than_chance_is_a_rival() -> None:
    """Cheaper, and a little over what is tested on the mean of replications that lie on both sides of it."""
    tested = DOWNTIME.tested
    cheaper = [80.0, 84.0, 78.0, 81.0]
    over = plan(2, cheaper, [tested + each for each in (0.5, -0.4, 0.3, -0.2)])
    surely_over = plan(3, cheaper, [tested + each for each in (0.5, 0.4, 0.5, 0.4)])
    assert over.miss([DOWNTIME]) > 0.0
    assert likeliest(AT, [over], [DOWNTIME]) is over
    assert likeliest(AT, [surely_over], [DOWNTIME]) is None
    assert likeliest(AT, [surely_over], [LOOSE]) is surely_over


def searched(says: Callable[[Point, int], Said]) -> tuple[MadeUpTrials, Trial]:
    """A search for the number of batteries."""
    trials = MadeUpTrials(SPACE, says)
    return trials, Search(trials, [DOWNTIME]).best()


def cost_of(number: int, luck: float) -> float:
    """Least at six batteries, one more or fewer dearer by 1,000."""
    return BASE + 1_000.0 * abs(number - 6) + luck


def luck_of(number: int, replication: int) -> float:
    """Of a plan in a replication, of mean 0."""
    return float(np.random.default_rng((number, replication)).normal(0.0, LUCK))


def test_a_plan_that_missed_a_target_by_bad_luck_is_found() -> None:
    """In its first six replications it is over; in all of them it is not, and it is the cheapest."""

    def says(point: Point, replication: int) -> Said:
        over = (0.5, -0.3)[replication % 2] if replication < FINE else -0.7
        lost = DOWNTIME.tested + (over if point == (6,) else -3.0 - over)
        return Said(cost_of(point[0], 0.1 * luck_of(point[0], replication)), {DECIDING: lost}, BASE)

    trials = MadeUpTrials(SPACE, says)
    search = Search(trials, [DOWNTIME])
    found = search.best()
    assert found.point == (6,)
    assert found.replications > FINE
    assert not search.meets(found)  # on the first six
    assert search.is_worth_a_test(found)
    assert not search.is_worth_a_test(plan(1, [1.0, 1.0], [DOWNTIME.tested + 1.0, DOWNTIME.tested - 0.5]))


@pytest.mark.parametrize("seed", range(4))
def test_a_plan_that_met_a_target_by_good_luck_gives_way_to_what_meets_it(seed: int) -> None:
    """Five and six batteries are over in all but the first replications; seven are dearer, and never are."""

    def says(point: Point, replication: int) -> Said:
        lost = DOWNTIME.tested + (-1.0 if replication < FINE else 2.0 if point[0] <= 6 else -1.0)
        dear = 5_000.0 * max(0, point[0] - 6) + 500.0 * (point[0] == 5) + 20_000.0 * max(0, 5 - point[0])
        return Said(BASE + dear + luck_of(100 * seed + point[0], replication), {DECIDING: lost}, BASE)

    trials = MadeUpTrials(SPACE, says)
    search = Search(trials, [DOWNTIME])
    found = search.best()
    assert max(trial.replications for trial in trials.simulated) > FINE
    assert (found.point, search.is_worth_a_test(found)) == ((7,), True)


def test_where_costs_know_no_chance_the_rival_alone_is_looked_at_more_often() -> None:
    """Six batteries are the cheapest and miss by no more than chance, for long; seven meet by far."""

    def says(point: Point, replication: int) -> Said:
        over = 3.0 if point[0] < 6 else (0.6, -0.4)[replication % 2] if point[0] == 6 else -2.0
        return Said(BASE + 1_000.0 * abs(point[0] - 6), {DECIDING: DOWNTIME.tested + over}, BASE)

    trials = MadeUpTrials(SPACE, says)
    search = Search(trials, [DOWNTIME])
    found = search.best()
    assert (found.point, found.replications) == ((7,), FINE)
    assert FINE < trials.tried[6,].replications <= OFTEN


@pytest.mark.parametrize("seed", range(4))
def test_no_more_is_looked_at_where_steps_differ_by_more_than_chance(seed: int) -> None:
    """Six replications of the best and of its like, one of the rest, are enough then."""

    def says(point: Point, replication: int) -> Said:
        luck = luck_of(100 * seed + point[0], replication)
        return Said(cost_of(point[0], 0.01 * luck), {DECIDING: 1.0}, BASE)

    trials, found = searched(says)
    assert found.point == (6,)
    assert max(trial.replications for trial in trials.simulated) == FINE


@pytest.mark.parametrize("seed", range(4))
def test_runs_end_where_chance_alone_tells_plans_apart(seed: int) -> None:
    """All plans cost the same but for luck: they are looked at to the limit of runs, and by one look over it."""

    def says(point: Point, replication: int) -> Said:
        return Said(BASE + luck_of(100 * seed + point[0], replication), {DECIDING: 1.0}, BASE)

    trials, _ = searched(says)
    before = MadeUpTrials(SPACE, says)
    Unweighed(before, [DOWNTIME]).best()
    assert TIMES * before.runs <= trials.runs <= TIMES * before.runs + 2 * OFTEN


class Unweighed(Search):
    """A search that ends before plans are looked at more often."""

    def _weighed(self, at: Trial) -> Trial:
        return at
