"""How fast: the formulas that every use and every charge of a battery comes by, against a bare function call.

`pytest tests/benchmarks --benchmark-enable -n 0 -s` times; a normal run only goes through each once. What carries over
from one machine to another is the number of bare calls that a formula is worth.
"""

import statistics
import time
import timeit
from functools import partial

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from batsim.formulas.charging import charge_phases
from batsim.formulas.discharge import Cell, capacity_factor, discharge_at_power, soc_after
from batsim.formulas.gassing import GasLaw, gas_current_a
from batsim.formulas.heat import charge_end_degc
from batsim.formulas.phases import Profile, cut, phases_totals, rest_of
from batsim.formulas.wear import Life, discharge_damage

MOST_US = 10.0
ROUNDS = 25
CALLS = 2000

IUIA = Profile("IUIa", 100.0, 25.0, 1.0, 1.15, 0.99, 2.25, 2.4, 2.6)
FALLING = Profile("W", 0.0, 20.0, 0.0, 1.2, 0.99, 2.25, 2.4, 2.52, 70.0, 0.2, 40.0, 0.8)
LITHIUM = Profile("CC-CV", 250.0, 25.0, 0.04, 1.0, 1.0, 3.35, 3.6, 3.6)
CELL = Cell(500.0, 24, 1.97, 0.16, 0.5, 1.2, 0.891, 1.0)
LIFE = Life(1200.0, 0.8, 1.2, 2.0, 30.0, 10.0)
SLOPES = {"rated_degc": 30.0, "warm_per_k": 0.006, "knee_degc": 20.0, "cold_per_k": 0.01}
COLD = ((-18.0, 0.51), (-10.0, 0.61), (0.0, 0.71))
GAS = GasLaw(reference_a=0.1, reference_v=2.23, reference_degc=25.0, per_v=11.0, per_k=0.06)


def bare(value: float) -> float:
    """What a formula costs that works nothing out."""
    return value


CHARGE = charge_phases(IUIA, 500.0, 400.0, 460.0)
FORMULAS = {
    "a bare call": partial(bare, 1.0),
    "charge_phases, IUIa": partial(charge_phases, IUIA, 500.0, 400.0, 460.0),
    "charge_phases, W": partial(charge_phases, FALLING, 500.0, 400.0, 480.0),
    "charge_phases, CC-CV": partial(charge_phases, LITHIUM, 500.0, 400.0, 400.0),
    "phases_totals": partial(phases_totals, CHARGE, 24),
    "cut": partial(cut, CHARGE, 5.0),
    "rest_of": partial(rest_of, CHARGE, 3.5),
    "discharge": partial(discharge_at_power, 1.0, 0.2, 2500.0, CELL),
    "discharge, part": partial(discharge_at_power, 0.8, 0.7, 5000.0, CELL),
    "soc_after": partial(soc_after, 1.0, 5.0, 2500.0, CELL),
    "soc_after, strong": partial(soc_after, 1.0, 2.0, 5000.0, CELL),
    "capacity_factor": partial(capacity_factor, 25.0, **SLOPES, cold_table=COLD),
    "capacity_factor, cold": partial(capacity_factor, -5.0, **SLOPES, cold_table=COLD),
    "discharge_damage": partial(discharge_damage, 0.75, 35.0, LIFE),
    "charge_end_degc": partial(charge_end_degc, 30.0, 20.0, 4.0, 20.0, 10.0, 8.0),
    "gas_current_a": partial(gas_current_a, 2.6, 40.0, GAS),
}


def test_a_formula_takes_at_most_ten_microseconds(benchmark: BenchmarkFixture, capsys: pytest.CaptureFixture[str]):
    """They take turns, so that a change of the machine's pace meets all; processor time, medians."""
    calls = CALLS if benchmark.enabled else 1
    times_us: dict[str, list[float]] = {name: [] for name in FORMULAS}

    def some_of_each() -> None:
        for name, formula in FORMULAS.items():
            times_us[name].append(timeit.timeit(formula, timer=time.process_time, number=calls) / calls * 1e6)

    benchmark.pedantic(some_of_each, rounds=ROUNDS)
    assert all(times_us.values())
    if benchmark.disabled:
        return
    found_us = {name: statistics.median(times) for name, times in times_us.items()}
    bare_us = found_us["a bare call"]
    with capsys.disabled():
        print()  # noqa: T201 - the numbers are what a benchmark is run for
        for name, us in found_us.items():
            print(f"{name:24}{us:8.2f} us{us / bare_us:8.1f} bare calls")  # noqa: T201 - the same
    assert {name: us for name, us in found_us.items() if us > MOST_US} == {}
