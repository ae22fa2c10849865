"""The room of `textbook` in Ciw: batteries go round between trucks, stations, chargers and their cool-down.

A battery keeps its truck until a station is free. That its truck then waits for a ready one, and works on another one
while it is exchanged, cannot be said; so there are a few exchanges more.
"""

from math import inf

import ciw

from tests.benchmarks.textbook import (
    BATTERIES,
    CHARGERS,
    COOL_MIN,
    EXCHANGE_CV,
    EXCHANGE_MIN,
    RUN_CV,
    RUN_MIN,
    STATIONS,
    TRUCKS,
    YEAR_MIN,
)


def gamma(mean: float, cv: float) -> ciw.dists.Gamma:
    """Law of a duration. [min]"""
    return ciw.dists.Gamma(1.0 / (cv * cv), mean * cv * cv)


def simulate(seed: int, length_min: float = YEAR_MIN) -> int:
    """Run the network for a time and return the exchanges."""
    ciw.seed(seed)
    charge_min = 60.0 + 0.8 * RUN_MIN
    network = ciw.create_network(
        arrival_distributions=[ciw.dists.Sequential([1e-6] * BATTERIES + [inf]), None, None, None],
        service_distributions=[
            gamma(RUN_MIN, RUN_CV),
            gamma(EXCHANGE_MIN, EXCHANGE_CV),
            gamma(charge_min, 0.8 * RUN_MIN * RUN_CV / charge_min),
            ciw.dists.Deterministic(COOL_MIN),
        ],
        number_of_servers=[TRUCKS, STATIONS, CHARGERS, inf],
        queue_capacities=[inf, 0, inf, inf],
        routing=[[0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0], [0.0, 0.0, 0.0, 1.0], [1.0, 0.0, 0.0, 0.0]],
    )
    simulation = ciw.Simulation(network)
    simulation.simulate_until_max_time(length_min)
    return sum(record.node == 2 for record in simulation.get_all_records(only=["service"]))
