"""A mid-size room with attendants by shift, a break and priorities, written a second time with a queueing library.

The twin is made with Ciw (Palmer, Knight, Harper & Hawa, Journal of Simulation 13 (2019) 68-82, from memory): trucks
circulate between work and a node whose servers follow the day. Its clock starts at 06:00, when both shifts begin anew.
A job that is under way when its people's shift ends is finished, and takes nobody from the next shift; in the break of
30 min every job, 25 min at most, comes to its end.
"""

import ciw
import numpy as np
from scipy import stats

import batsim
from tests.behaviour.ledger import CASES
from tests.runs import record_of

REPLICATIONS, WEEKS = 24, 14
WARM_UP_MIN, LENGTH_MIN = 2 * 1440.0, WEEKS * 7 * 1440.0
GROUPS = {"first": (7, ciw.dists.Gamma(4.0, 50.0)), "second": (9, ciw.dists.Exponential(1.0 / 260.0))}
"""Trucks and run time of each group. Gamma of mean 200 min and coefficient of variation 0.5."""


def _twin(seed):
    """Mean wait of each group, and exchanges a day of both, in one run of the twin."""
    ciw.seed(seed)
    network = ciw.create_network(
        arrival_distributions={
            name: [ciw.dists.Sequential([1e-6] * trucks + [float("inf")]), None] for name, (trucks, _) in GROUPS.items()
        },
        service_distributions={name: [run, ciw.dists.Uniform(5.0, 25.0)] for name, (_, run) in GROUPS.items()},
        routing={name: [[0.0, 1.0], [1.0, 0.0]] for name in GROUPS},
        priority_classes={"first": 0, "second": 1},
        number_of_servers=[
            float("inf"),
            ciw.Schedule(numbers_of_servers=[2, 0, 2, 1], shift_end_dates=[360, 390, 720, 1440], preemption=False),
        ],
    )
    simulation = ciw.Simulation(network)
    simulation.simulate_until_max_time(WARM_UP_MIN + LENGTH_MIN)
    rows = [
        (row.customer_class, row.waiting_time)
        for row in simulation.get_all_records()
        if row.node == 2 and row.service_start_date >= WARM_UP_MIN
    ]
    waits = [np.mean([wait for name, wait in rows if name == group]) for group in GROUPS]
    return (*waits, len(rows) / (7.0 * WEEKS))


def _room(replication):
    """The same of one replication of the room."""
    scenario = batsim.read(CASES / "attendants_room.yaml")
    record = record_of(
        scenario, "room", seed=5, replication=replication, length_min=LENGTH_MIN, warm_up_min=WARM_UP_MIN
    )
    visits = record.columns("exchanges")
    inside = visits["start_min"] >= WARM_UP_MIN
    waits = visits["start_min"] - visits["joined_min"]
    return (*(np.mean(waits[inside & (visits["group"] == group)]) for group in (0, 1)), np.sum(inside) / (7.0 * WEEKS))


def test_the_twin_waits_as_long():
    """The 99.9 % interval of each difference holds zero, and is narrow: at most 5 % of the value to each side."""
    twin = np.array([_twin(seed) for seed in range(REPLICATIONS)])
    room = np.array([_room(replication) for replication in range(REPLICATIONS)])

    difference = np.mean(room, axis=0) - np.mean(twin, axis=0)
    spread = np.sqrt((np.var(room, axis=0, ddof=1) + np.var(twin, axis=0, ddof=1)) / REPLICATIONS)
    half = stats.t.ppf(0.9995, 2 * REPLICATIONS - 2) * spread
    assert np.all(np.abs(difference) <= half), f"{np.mean(room, axis=0)} {np.mean(twin, axis=0)} {half}"
    assert np.all(half <= 0.05 * np.mean(twin, axis=0)), f"{half / np.mean(twin, axis=0)}"
    assert np.mean(room[:, 0]) < 0.7 * np.mean(room[:, 1])  # who goes first waits less
