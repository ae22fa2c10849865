"""Tables for exchange stations, spare pools, shift-change bursts and picking rules, against the simulated room.

Values given as text are as printed in the tables; half a unit of their last digit is allowed for rounding.
"""

import numpy as np
import pytest

from tests.runs import record_of

# Exchange stations, batteries plentiful


# Spare pool and chargers


# Shift-change bursts


# Which ready battery is taken


def _erlang_loss(bays, demand):
    """Share of Poisson demands lost with so many bays (Erlang B)."""
    loss = 1.0
    for number in range(1, bays + 1):
        loss = demand * loss / (number + demand * loss)
    return loss


def _bay_loads(record):
    """Share of the measured time in which the battery in each bay is on charge."""
    charges, start, end = record.columns("charges"), record.facts.warm_up_min, record.facts.horizon_min
    minutes = np.clip(charges["end_min"], start, end) - np.clip(charges["start_min"], start, end)
    return np.bincount(charges["bay"].astype(int), weights=minutes) / (end - start)


def _demands(record):
    """Trucks that came in the measured time, whether they found a battery or not."""
    joined = record.columns("exchanges")["joined_min"]
    return np.sum((joined >= record.facts.warm_up_min) & (joined < record.facts.horizon_min))


def _loss(record):
    """Share of them that found none."""
    exchanges = record.columns("exchanges")
    measured = exchanges["joined_min"] >= record.facts.warm_up_min
    return np.mean(exchanges["ready_found"][measured] == 0)


def _replications(scenario, layout, replications, weeks):
    for replication in range(replications):
        yield record_of(
            scenario,
            layout,
            seed=scenario.simulation.seed,
            replication=replication,
            length_min=weeks * 10080.0,
            warm_up_min=scenario.simulation.warm_up_min,
        )


@pytest.mark.worked_out(
    where="Poisson demand a = 20, lost when none of 26 is ready: load on bay j = a (B(j-1, a) - B(j, a))"
)
@pytest.mark.slow
def test_nearest_first_wears_out_the_front_bays(case, agree):
    """Demands 2 an hour, charge 10 h; the first bay works 95 % of the time and the last 26 %."""
    scenario, weeks = case("picking"), 76
    made = [
        (_bay_loads(record), _demands(record), _loss(record))
        for record in _replications(scenario, "nearest", 40, weeks)
    ]
    loads = np.array([each[0] for each in made])
    demands = np.array([each[1] for each in made]) / (2.0 * 168.0 * weeks)
    exact = [20.0 * (_erlang_loss(bay, 20.0) - _erlang_loss(bay + 1, 20.0)) for bay in range(26)]

    assert (round(exact[0], 4), round(exact[25], 4)) == (0.9524, 0.2605)
    assert loads.shape == (40, 26)
    rows = [("loss_share", "0.0372", np.array([each[2] for each in made])), ("mean demand, 1 is stated", 1.0, demands)]
    rows += [(f"load {bay + 1}_share", exact[bay], loads[:, bay]) for bay in range(26)]
    agree("nearest first, a = 20, 26 bays", rows, [demands - 1.0])


@pytest.mark.worked_out(where="longest rested first: load a (1 - B(26, a)) / 26 = 0.7406 on every bay")
def test_longest_rested_first_wears_all_bays_alike(case, agree):
    """The same demands are lost as under nearest first, and all bays work 74 % of the time."""
    scenario, weeks = case("picking"), 10
    made = list(_replications(scenario, "longest rested", 20, weeks))
    loads = np.array([_bay_loads(record) for record in made])

    rows = [(f"load {bay + 1}_share", "0.7406", loads[:, bay]) for bay in range(26)]
    agree("longest rested first, a = 20, 26 bays", rows)
    near = list(_replications(scenario, "nearest", 3, weeks))
    assert [_loss(record) for record in near] == [_loss(record) for record in made[:3]]
    assert np.ptp(np.mean(loads, axis=0)) < 0.002
