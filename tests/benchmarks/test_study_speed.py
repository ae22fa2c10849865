"""How fast: sweeps of one-week cases on one worker, two, and a cluster; sizing.

`pytest tests/benchmarks --benchmark-enable -n 0 -s` times; a normal run only goes through each once, briefly.
The textbook loop of the same week is timed in the same run: what carries over to another machine is the ratio.
"""

import gc
import statistics
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

import batsim
from batsim.scenario.settings import Settings
from batsim.scenario.site import Scenario
from batsim.scenario.study_file import stated_study
from batsim.study.sweeps.agenda import agenda_of
from batsim.study.sweeps.store import Store
from batsim.study.sweeps.sweep import run_cases
from tests.benchmarks import textbook

ROOM = Path(__file__).parents[1] / "behaviour" / "cases" / "reference_room.yaml"
KESTREL = Path(__file__).parents[2] / "scenarios" / "kestrel-lane.yaml"
WEEK_MIN = 7 * 1440.0
MOST_TIMES_TEXTBOOK = 1.5
LEAST_GAIN_OF_TWO = 1.9
MOST_TIMES_POOL = 1.25
MOST_SIZE_S, MOST_CELLS = 30.0, 60
MOST_GROWTH_MIB = 8.0


@pytest.fixture(scope="module")
def room() -> Scenario:
    return batsim.read(ROOM)


def swept(
    room: Scenario,
    store: Path,
    points: int,
    replications: int,
    workers: int | None = None,
    scheduler: str | None = None,
    clock: Callable[[], float] = time.perf_counter,
) -> float:
    """Seconds of a sweep of one-week cases into a store, start and stop included."""
    study = stated_study(
        room,
        {
            "vary": {"trucks[0].run_time.mean": {"between": ["440 min", "460 min"]}},
            "design": {"latin_hypercube": points},
        },
        ("downtime_min_per_truck_shift",),
    )
    agenda = agenda_of(study, Settings(replications=replications, weeks=1.0, warm_up_weeks=0.0))
    wanted = agenda.cases()
    with closing(Store.open(store)) as kept:
        started = clock()
        tally = run_cases(room, wanted, kept, Settings(workers=workers), scheduler)
        took = clock() - started
    assert tally.run == points * replications
    return took


def cases(benchmark: BenchmarkFixture, many: int) -> tuple[int, int]:
    """Points and replications: so many cases when timed, four when only gone through."""
    return (many // 10, 10) if benchmark.enabled else (2, 2)


def say(capsys: pytest.CaptureFixture[str], text: str) -> None:
    with capsys.disabled():
        print(f"\n{text}")  # noqa: T201 - the numbers are what a benchmark is run for


def test_a_case_costs_little_more_than_the_textbook_loop(
    benchmark: BenchmarkFixture, room: Scenario, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    """One worker, measures stored; the two take turns; processor time, medians."""
    points, replications = cases(benchmark, 100)
    times: list[tuple[float, float]] = []

    def one_of_each() -> None:
        number = len(times)
        store = tmp_path / f"{number}.store"
        seconds = swept(room, store, points, replications, workers=1, clock=time.process_time)
        started = time.process_time()
        for seed in range(points * replications):
            textbook.simulate(seed, WEEK_MIN)
        plain = time.process_time() - started
        times.append((seconds / (points * replications), plain / (points * replications)))

    benchmark.pedantic(one_of_each, rounds=5 if benchmark.enabled else 1)
    if benchmark.disabled:
        return
    case_s, plain_s = (statistics.median(each) for each in zip(*times, strict=True))
    say(capsys, f"a case {1e3 * case_s:.1f} ms, the textbook week {1e3 * plain_s:.1f} ms: {case_s / plain_s:.2f} times")
    assert case_s / plain_s <= MOST_TIMES_TEXTBOOK


def test_two_workers_are_nearly_twice_as_fast(
    benchmark: BenchmarkFixture, room: Scenario, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    """1,000 cases, start and stop included."""
    points, replications = cases(benchmark, 1000)
    times: list[tuple[float, float]] = []

    def one_of_each() -> None:
        number = len(times)
        one = swept(room, tmp_path / f"one{number}.store", points, replications, workers=1)
        two = swept(room, tmp_path / f"two{number}.store", points, replications, workers=2)
        times.append((one, two))

    benchmark.pedantic(one_of_each, rounds=3 if benchmark.enabled else 1)
    if benchmark.disabled:
        return
    one, two = (statistics.median(each) for each in zip(*times, strict=True))
    say(capsys, f"1,000 cases: one worker {one:.1f} s, two {two:.1f} s: {one / two:.2f} times as fast")
    assert one / two >= LEAST_GAIN_OF_TWO


def test_a_cluster_keeps_up_with_a_pool(
    benchmark: BenchmarkFixture, room: Scenario, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    """Two local Dask workers against a pool of two, 600 cases; the cluster stands before the clock starts."""
    if benchmark.disabled:
        assert benchmark.pedantic(swept, args=(room, tmp_path / "pool.store", 2, 2, 2), rounds=1) > 0.0
        return
    from distributed import LocalCluster  # noqa: PLC0415 - heavy, and only when timed

    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=":0") as cluster:
        times: list[tuple[float, float]] = []

        def one_of_each() -> None:
            number = len(times)
            pool = swept(room, tmp_path / f"pool{number}.store", 60, 10, workers=2)
            dask = swept(room, tmp_path / f"dask{number}.store", 60, 10, scheduler=cluster.scheduler_address)
            times.append((pool, dask))

        benchmark.pedantic(one_of_each, rounds=3)
    pool, dask = (statistics.median(each) for each in zip(*times, strict=True))
    say(capsys, f"600 cases: pool of two {pool:.1f} s, two Dask workers {dask:.1f} s: {dask / pool:.2f} times")
    assert dask / pool <= MOST_TIMES_POOL


def test_a_worker_does_not_grow(
    benchmark: BenchmarkFixture, room: Scenario, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    """Resident memory of the process after 200 cases and after 1,000 more."""
    few, many = ((20, 10), (100, 10)) if benchmark.enabled else ((2, 1), (3, 1))
    swept(room, tmp_path / "few.store", *few, workers=1)
    gc.collect()
    before = resident_mib()
    benchmark.pedantic(lambda: swept(room, tmp_path / "many.store", *many, workers=1), rounds=1)
    gc.collect()
    grown = resident_mib() - before
    if benchmark.disabled:
        return
    say(capsys, f"memory: {before:.0f} MiB after 200 cases, {grown:+.1f} MiB after 1,000 more")
    assert grown <= MOST_GROWTH_MIB


def resident_mib() -> float:
    """Memory of this process that is in use. [MiB]"""
    status = Path("/proc/self/status")
    if not status.exists():
        pytest.skip("no /proc here")
    line = next(each for each in status.read_text().splitlines() if each.startswith("VmRSS"))
    return int(line.split()[1]) / 1024.0


def test_sizing_one_layout_of_the_parts_warehouse(benchmark: BenchmarkFixture, capsys: pytest.CaptureFixture[str]):
    site, layout = batsim.read(KESTREL), "side rollers" if benchmark.enabled else "in the truck"
    weeks = None if benchmark.enabled else 0.2
    settings = Settings(layout, workers=2, weeks=weeks, warm_up_weeks=weeks)
    found = benchmark.pedantic(batsim.decide, args=(site, settings), rounds=1)
    one = found[layout]
    if benchmark.disabled:
        assert one.runs > 0
        return
    seconds = benchmark.stats.stats.max
    say(capsys, f"sizing: {seconds:.1f} s, {len(one.tested)} of {one.cells} cells, {one.runs} runs: {one.counts}")
    assert len(one.tested) <= MOST_CELLS
    assert seconds <= MOST_SIZE_S
