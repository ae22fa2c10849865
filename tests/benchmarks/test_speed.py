"""How fast: a simulated year with everything in it, against a textbook loop with nothing in it.

`pytest tests/benchmarks --benchmark-enable -n 0 -s` times; a normal run only goes through each once, briefly. What
carries over from one machine to another is the ratio.
"""

import statistics
import time
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
MOST_TIMES_TEXTBOOK = 1.5
ROUNDS = 7


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


def test_a_year_takes_at_most_one_and_a_half_times_the_textbook_loop(
    benchmark: BenchmarkFixture, three_shifts: Scenario, capsys: pytest.CaptureFixture[str]
):
    """Rounds of the two take turns, so that a change of the machine's pace meets both; processor time, medians."""
    length = length_min(benchmark)
    plain = textbook.simulate(1, length).exchanges
    full = simulate(three_shifts, length).count("exchanges")
    assert full == pytest.approx(plain, rel=0.1)
    times: list[tuple[float, float]] = []

    def one_of_each() -> None:
        start = time.process_time()
        textbook.simulate(1, length)
        middle = time.process_time()
        simulate(three_shifts, length)
        times.append((middle - start, time.process_time() - middle))

    benchmark.pedantic(one_of_each, rounds=ROUNDS)
    if benchmark.disabled:
        return
    textbook_s, batsim_s = (statistics.median(each) for each in zip(*times, strict=True))
    ratio, by_exchange = batsim_s / textbook_s, (batsim_s / full) / (textbook_s / plain)
    with capsys.disabled():
        print(  # noqa: T201 - the numbers are what a benchmark is run for
            f"\na simulated year: textbook {textbook_s:.3f} s ({plain} exchanges), batsim {batsim_s:.3f} s "
            f"({full} exchanges): {ratio:.2f} times for a year, {by_exchange:.2f} times for an exchange"
        )
    assert ratio <= MOST_TIMES_TEXTBOOK
