"""How fast beside others: batsim, textbook SimPy, Ciw and a bare event loop, in turns in one run.

`pytest tests/benchmarks/test_ratios.py -m slow -n 0` prints what an exchange takes. What carries over from one
machine to another is the ratio; it is held against that in `ratios.csv`. Where other processes crowd the caches, all
but the smallest loops slow down, so batsim has become slower only if it has beside textbook SimPy and beside Ciw.
"""

import csv
import time
from collections.abc import Callable
from pathlib import Path

import pytest

import batsim
from batsim.room import truck
from tests.benchmarks import ciw_room, heapq_loop, textbook
from tests.runs import record_of

TESTS = Path(__file__).parents[1]
RECORDED = Path(__file__).with_name("ratios.csv")
LENGTH_MIN = 4 * 7 * 1440.0
ROUNDS = 12
MOST_WORSE = 1.1
PYTHON, CIW = "textbook SimPy", "Ciw"


def rooms() -> dict[str, Callable[[], int]]:
    """What is timed, by its name: each runs once and returns its exchanges."""
    built = "plain" if truck.__file__.endswith(".py") else "compiled"
    everything = batsim.read(TESTS / "benchmarks" / "cases" / "three_shifts.yaml")
    queueing = batsim.read(TESTS / "behaviour" / "cases" / "reference_room.yaml")

    def simulated(scenario: batsim.Scenario, layout: str) -> int:
        return record_of(scenario, layout, seed=1, length_min=LENGTH_MIN, warm_up_min=0.0).count("exchanges")

    return {
        PYTHON: lambda: textbook.simulate(1, LENGTH_MIN).exchanges,
        "heapq loop": lambda: heapq_loop.simulate(1, LENGTH_MIN).exchanges,
        CIW: lambda: ciw_room.simulate(1, LENGTH_MIN),
        f"batsim, queueing mode, {built}": lambda: simulated(queueing, "room"),
        f"batsim, everything, {built}": lambda: simulated(everything, "side rollers"),
    }


def times_us(timed: dict[str, Callable[[], int]], rounds: int) -> dict[str, float]:
    """Processor time of an exchange by each, the least of some rounds in which they take turns. [us]"""
    least = dict.fromkeys(timed, float("inf"))
    for _ in range(rounds):
        for name, run in timed.items():
            started = time.process_time()
            exchanges = run()
            least[name] = min(least[name], (time.process_time() - started) / exchanges * 1e6)
    return least


def recorded() -> dict[str, tuple[float, float]]:
    """Ratios that were found, to textbook SimPy and to Ciw, by name."""
    with RECORDED.open(newline="") as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    return {row["written as"]: (float(row["to textbook SimPy"]), float(row["to Ciw"])) for row in rows}


def test_all_are_about_the_same_room():
    """The same trucks, run and exchange times: as many exchanges in the same time."""
    exchanges = {name: run() for name, run in rooms().items()}
    assert min(exchanges.values()) > 0.9 * max(exchanges.values())
    assert set(exchanges) <= set(recorded())


@pytest.mark.slow
def test_no_ratio_is_a_tenth_worse_than_recorded(capsys: pytest.CaptureFixture[str]):
    found, known = times_us(rooms(), ROUNDS), recorded()
    ratios = {name: (us / found[PYTHON], us / found[CIW]) for name, us in found.items()}
    with capsys.disabled():
        print(f"\n{'an exchange':34}{'us':>7}{'to SimPy':>10}{'recorded':>10}{'to Ciw':>8}{'recorded':>10}")  # noqa: T201 - told to who runs it
        for name, (to_simpy, to_ciw) in ratios.items():
            was = known[name]
            print(f"{name:34}{found[name]:7.1f}{to_simpy:10.2f}{was[0]:10.2f}{to_ciw:8.2f}{was[1]:10.2f}")  # noqa: T201
    worse = {
        name: ratio
        for name, ratio in ratios.items()
        if name.startswith("batsim")
        and all(now > MOST_WORSE * before for now, before in zip(ratio, known[name], strict=True))
    }
    assert worse == {}
