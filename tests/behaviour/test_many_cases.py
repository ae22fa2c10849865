"""Many small cases on a cluster whose workers come and go: the store is that of a calm run, to the last bit."""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import pytest

import batsim
from batsim.scenario.parts.week import DAY_MIN, WEEK_MIN
from batsim.scenario.settings import Settings
from batsim.scenario.site import Scenario
from batsim.study.running.engines import Cluster
from batsim.study.sweeps.sweep import sweep
from tests.behaviour.killing import PATIENCE_S, wait_until
from tests.behaviour.sweeps import RUN_TIME, TWO_ROOMS, tables

pytest.importorskip("distributed")

DASK = Path(sys.executable).with_name("dask")
ROOT = Path(__file__).parents[2]
RUN_TIMES, LAYOUTS = 10, 2
FEW, MANY = 300, 100_000


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Scenario:
    """The two rooms with two trucks, so that a day takes a few milliseconds."""
    file = tmp_path_factory.mktemp("small") / "site.yaml"
    file.write_text(TWO_ROOMS.read_text(encoding="utf-8").replace("count: 8", "count: 2"), encoding="utf-8")
    return batsim.read(file)


def swept(scenario: Scenario, store: Path, cases: int, **how: Any) -> int:
    """Run a study of so many cases of a day; return how many were run."""
    settings = Settings(
        weeks=DAY_MIN / WEEK_MIN,
        warm_up_weeks=0.0,
        replications=cases // (RUN_TIMES * LAYOUTS),
        progress=how.pop("progress", None),
        workers=how.pop("workers", None),
    )
    vary = {RUN_TIME: [f"{3 + number / 4} h" for number in range(RUN_TIMES)]}
    return sweep(scenario, settings, vary=vary, store=store, **how).tally.run


@contextmanager
def started(*arguments: object) -> "Iterator[subprocess.Popen[bytes]]":
    """Run a part of a cluster; it is killed in the end."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    process = subprocess.Popen(
        [DASK, *map(str, arguments)], env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        yield process
    finally:
        process.kill()
        process.wait()


def worker(address: str, folder: Path) -> Any:
    """A worker of one thread that nobody starts again."""
    return started("worker", address, "--nthreads", 1, "--no-nanny", "--no-dashboard", "--local-directory", folder)


@contextmanager
def scheduler(folder: Path) -> Iterator[str]:
    """A scheduler; its address."""
    file = folder / "scheduler.json"
    with started("scheduler", "--host", "127.0.0.1", "--port", 0, "--no-dashboard", "--scheduler-file", file):
        assert wait_until(lambda: file.exists() and file.read_text().endswith("}"), PATIENCE_S)
        yield json.loads(file.read_text())["address"]


def threads(address: str) -> int:
    """Threads of the workers that a scheduler has; none while nobody answers."""
    client = pytest.importorskip("distributed").Client(address, set_as_default=False)
    try:
        return sum(client.nthreads().values())
    finally:
        client.close()


def disturbed(scenario: Scenario, store: Path, cases: int) -> int:
    """Run the study on two workers, of which one is killed after a third of it; then another one comes.

    Returns the number of cases that were run.
    """
    folder = store.parent
    with ExitStack() as stack:
        address = stack.enter_context(scheduler(folder))
        first, _ = (stack.enter_context(worker(address, folder)) for _ in range(2))
        assert wait_until(lambda: threads(address) == 2, PATIENCE_S)

        def disturb(done: int, of: int) -> None:
            if done > of // 3 and first.poll() is None:
                first.kill()
                first.wait()
                stack.enter_context(worker(address, folder))

        run = swept(scenario, store, cases, scheduler=address, progress=disturb)
        assert first.poll() == -signal.SIGKILL
        assert wait_until(lambda: threads(address) == 2, PATIENCE_S)
    return run


@pytest.mark.slow
@pytest.mark.parametrize("cases", [FEW, MANY])
def test_workers_come_and_go(tmp_path: Path, small: Scenario, cases: int) -> None:
    """No case is lost, run twice into the store, or has another number."""
    assert swept(small, tmp_path / "calm.store", cases) == cases
    assert disturbed(small, tmp_path / "dask.store", cases) == cases

    assert tables(tmp_path / "dask.store") == tables(tmp_path / "calm.store")


def test_width_of_a_cluster_that_grows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Workers that come later are given work too."""
    monkeypatch.setattr("batsim.study.running.engines.LOOK_EVERY_S", 0.0)
    with scheduler(tmp_path) as address, worker(address, tmp_path):
        engine = Cluster(address)
        assert wait_until(lambda: engine.width == 1, PATIENCE_S)
        with worker(address, tmp_path):
            assert wait_until(lambda: engine.width == 2, PATIENCE_S)
        engine.close(engine.open(), stop=True)
