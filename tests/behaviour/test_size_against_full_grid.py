"""Decision beside the full grid: it finds the same cheapest counts, from far fewer simulated ones."""

from pathlib import Path

import numpy as np
import pytest

import batsim
from batsim.decision.counts import Grid, ranges_of
from batsim.decision.decide import decide
from batsim.scenario.settings import Settings
from batsim.study.cost import UnitCosts, cost_lines
from batsim.study.limits import limits_of
from batsim.study.running.counts import with_counts
from batsim.study.running.executors import run_jobs
from batsim.study.running.jobs import Job, measures_of

CASES = Path(__file__).parent / "cases"
FEW, MANY = 2, 20
"""Replications of every combination that is no dearer than the answer, and of those that come into question."""
NEAR_SHARE = 0.25
"""Part of a target by which a combination may miss it after few replications and still come into question."""
ROOMS = {
    "size_round_the_clock": (
        {"batteries": (7, 12), "chargers": (1, 6), "stations": (1, 4)},
        {"downtime": 12.0},
        {"batteries": 11, "chargers": 4, "stations": 2},
        0.1,
    ),
    "size_two_shifts": (
        {"batteries": (13, 16), "stations": (1, 2), "cart": (1, 2), "attendants": (1, 3)},
        {"downtime": 6.0},
        {"batteries": 16, "stations": 1, "cart": 1, "attendants": 2},
        0.25,
    ),
    "size_waits": (
        {"batteries": (16, 20), "chargers": (4, 8), "stations": (1, 2)},
        {"waits": 0.03, "none ready": 0.05},
        {"batteries": 19, "chargers": 7, "stations": 1},
        0.25,
    ),
}
"""By room: ranges, indifference, the answer, and the largest part of the combinations that may be simulated."""


def simulated(scenario, grid, combinations, replications):
    """Values of every target's measure, a row for each combination, a column for each replication."""
    stated = Settings(layouts="room").schedule(scenario)
    jobs = [
        Job("room", number, stated.seed, stated.length_min, stated.warm_up_min, 0, grid.counts(tuple(counts)))
        for counts in combinations
        for number in range(replications)
    ]
    found = run_jobs([scenario], jobs, Settings(workers=1), take=measures_of, change=with_counts)
    names = [limit.measure for limit in limits_of(scenario)]
    return {name: np.array([each[name] for each in found]).reshape(len(combinations), replications) for name in names}


def missed_share(scenario, values):
    """By how much combinations miss their worst target, as part of what is allowed; at most 0 where all are met."""
    rows = []
    for limit in limits_of(scenario):
        allowed = limit.most if limit.sign > 0.0 else 1.0 + limit.most
        rows.append((limit.sign * values[limit.measure].mean(axis=1) - limit.most) / allowed)
    return np.max(rows, axis=0)


@pytest.fixture(scope="module", params=list(ROOMS))
def room(request):
    """A room, what is decided of it, its grid, and what of that is no dearer, simulated a few times."""
    ranges, indifference, answer, most_share = ROOMS[request.param]
    scenario = batsim.read(CASES / f"{request.param}.yaml")
    sizing = decide(scenario, Settings(workers=1), ranges=ranges, indifference=indifference, same_cost=0.0)["room"]
    grid = Grid(scenario, "room", ranges_of(scenario, "room", ranges))
    few = simulated(scenario, grid, no_dearer(grid, sizing), FEW)
    return scenario, sizing, grid, few, answer, most_share


def every(grid):
    """Every combination of the grid."""
    (block,) = grid.blocks
    return grid.around(block, grid.greatest)


def no_dearer(grid, sizing):
    """All combinations that cost no more than the answer."""
    return every(grid)[grid.costs_of(every(grid)) <= sizing.cost_per_year * (1.0 + 1e-9)]


def cheapest_of_all(scenario, sizing, grid, few):
    """Cheapest of all combinations whose means meet the targets; those near them are simulated many times over."""
    nearly = no_dearer(grid, sizing)[missed_share(scenario, few) <= NEAR_SHARE]
    meeting = nearly[missed_share(scenario, simulated(scenario, grid, nearly, MANY)) <= 0.0]
    costs = grid.costs_of(meeting)
    return tuple(meeting[np.argmin(costs)].tolist()), costs.min()


def test_the_answer_is_the_cheapest_of_all_combinations(room):
    """Each one that is no dearer is simulated."""
    scenario, sizing, grid, few, answer, _ = room
    cheapest, cost = cheapest_of_all(scenario, sizing, grid, few)

    assert sizing.counts == answer
    assert cheapest == sizing.chosen.counts
    assert sizing.cost_per_year == pytest.approx(cost)


def test_few_combinations_are_simulated(room):
    """And those in the same replications as the grid's, to the last bit."""
    _, sizing, grid, few, _, most_share = room
    numbers = {tuple(counts): number for number, counts in enumerate(no_dearer(grid, sizing).tolist())}

    assert sizing.combinations == len(every(grid))
    assert len(sizing.tested) <= most_share * sizing.combinations
    both = [trial for trial in sizing.tested if trial.counts in numbers]
    assert len(both) >= 2
    for trial in both:
        for name, values in few.items():
            assert np.array_equal(trial.values[name][:FEW], values[numbers[trial.counts]])


def test_with_one_fewer_of_anything_a_target_is_missed(room):
    """By simulation, or met by less than what makes no difference."""
    scenario, sizing, grid, _, _, _ = room
    least = [each.values[0] for each in grid.ranges]
    lesser = [
        tuple(number - (column == fewer) for column, number in enumerate(sizing.chosen.counts))
        for fewer in range(len(least))
        if sizing.chosen.counts[fewer] > least[fewer]
    ]
    values = simulated(scenario, grid, np.array(lesser), MANY)

    assert lesser
    for number in range(len(lesser)):
        assert any(
            limit.sign * values[limit.measure][number].mean() > limit.most - limit.indifference
            for limit in sizing.limits
        )


def test_costs_are_those_of_the_combinations(room):
    """Each costs what the scenario with its counts costs, thing by thing."""
    scenario, sizing, grid, _, _, _ = room
    units, combinations = UnitCosts(scenario, "room"), every(grid)
    costs = grid.costs_of(combinations)

    for number in np.linspace(0, len(combinations) - 1, 12).astype(int):
        changed = with_counts(scenario, grid.counts(tuple(combinations[number])))
        lines = cost_lines(changed, "room", units)
        assert costs[number] == pytest.approx(sum(line.per_year for line in lines))
    assert sum(line.per_year for line in sizing.cost_lines) == pytest.approx(sizing.cost_per_year)


def test_frontier_and_near_misses(room):
    """The frontier rises and holds the answer; near misses are cheaper and miss something."""
    _, sizing, grid, _, _, _ = room
    column = [each.kind for each in grid.ranges].index("batteries")
    batteries = [each.counts[column] for each in sizing.frontier]

    assert batteries == sorted(batteries)
    assert [each.counts for each in sizing.frontier].count(sizing.chosen.counts) == 1
    assert all(each.cost_per_year < sizing.cost_per_year and each.missed for each in sizing.near_misses)
    rest = {each.counts[:column] + each.counts[column + 1 :] for each in sizing.frontier}
    assert len(rest) == 1


def test_two_workers_find_the_same():
    """The same counts, and the same values of every combination."""
    ranges, indifference, _, _ = ROOMS["size_waits"]
    scenario = batsim.read(CASES / "size_waits.yaml")
    one, two = (
        decide(scenario, Settings(workers=workers), ranges=ranges, indifference=indifference, same_cost=0.0)["room"]
        for workers in (1, 2)
    )

    assert one.counts == two.counts
    assert one.as_json() == two.as_json()
    for mine, theirs in zip(one.tested, two.tested, strict=True):
        assert mine._replace(values={}) == theirs._replace(values={})
        assert all(np.array_equal(mine.values[name], theirs.values[name], equal_nan=True) for name in mine.values)


@pytest.mark.slow
def test_a_thousand_combinations():
    """Ten batteries by ten chargers by ten stations: the same answer from at most 60 of them."""
    _, indifference, answer, _ = ROOMS["size_round_the_clock"]
    scenario = batsim.read(CASES / "size_round_the_clock.yaml")
    ranges = {"batteries": (7, 16), "chargers": (1, 10), "stations": (1, 10)}
    sizing = decide(scenario, Settings(workers=1), ranges=ranges, indifference=indifference, same_cost=0.0)["room"]

    grid = Grid(scenario, "room", ranges_of(scenario, "room", ranges))
    cheapest, _ = cheapest_of_all(scenario, sizing, grid, simulated(scenario, grid, no_dearer(grid, sizing), FEW))

    assert sizing.combinations == 1000
    assert len(sizing.tested) <= 60
    assert sizing.counts == answer
    assert cheapest == sizing.chosen.counts
