"""How fast: reading a scenario, and the measures of a simulated year with everything in it.

`pytest tests/benchmarks --benchmark-enable -n 0 -s` times; a normal run only goes through each once, briefly. How fast
a year itself is beside others, see `test_ratios`.
"""

from pathlib import Path

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

import batsim
from batsim.measures import measure
from batsim.scenario.site import Scenario
from tests.benchmarks import textbook
from tests.runs import record_of

CASES = Path(__file__).parent / "cases"
YEAR_MIN = textbook.YEAR_MIN
SHORT_MIN = 7 * 1440.0


@pytest.fixture(scope="module")
def three_shifts() -> Scenario:
    return batsim.read(CASES / "three_shifts.yaml")


def length_min(benchmark: BenchmarkFixture) -> float:
    """A year when timed, a week when only gone through."""
    return YEAR_MIN if benchmark.enabled else SHORT_MIN


def simulate(scenario: Scenario, length: float) -> batsim.Record:
    return record_of(scenario, "side rollers", seed=1, replication=0, length_min=length, warm_up_min=0.0)


def test_measures_of_three_shifts(benchmark: BenchmarkFixture, three_shifts: Scenario):
    record = simulate(three_shifts, length_min(benchmark))
    found = benchmark.pedantic(measure, args=(record,), rounds=5, warmup_rounds=1)
    assert found["exchanges_per_day"] > 100


def test_reading_a_scenario(benchmark: BenchmarkFixture):
    site = benchmark(batsim.read, CASES / "three_shifts.yaml")
    assert list(site.layouts) == ["side rollers"]
