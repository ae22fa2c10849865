"""A sweep that is killed at any moment goes on where it was; a worker that is killed is not missed."""

import json
import os
import signal
import time
from contextlib import suppress
from pathlib import Path
from random import Random
from typing import Any

import pytest

from tests.behaviour.killing import PATIENCE_S, finished, nobody_left, processes, started, wait_until, workers_of
from tests.behaviour.sweeps import command, manifests, study_file, tables

pytestmark = pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="finds processes in /proc")

REPLICATIONS, WEEKS = 10, 0.2
CASES = 12 * REPLICATIONS
"""Nine points for the north room and three for the south room."""

Tables = dict[str, list[tuple[Any, ...]]]


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Tables]:
    """The study file, and what its store holds when nobody disturbs it."""
    folder = tmp_path_factory.mktemp("undisturbed")
    file = study_file(folder, replications=REPLICATIONS, weeks=WEEKS)
    done = command("sweep", file, "--store", folder / "calm.store", "--workers", 1)
    assert (done.returncode, done.stderr) == (0, "")
    calm = tables(folder / "calm.store")
    assert (len(calm["cases"]), len(calm["failures"]), len(calm["studies"])) == (CASES, 0, 1)
    return file, calm


def sweeping(file: Path, store: Path, workers: int) -> tuple[object, ...]:
    """Words of the command that sweeps."""
    return "sweep", file, "--store", store, "--workers", workers


# --- the coordinator, or anybody ---


def kill_once(file: Path, store: Path, workers: int, random: Random) -> bool:
    """Run a sweep and kill its coordinator or a worker at some moment; tell whether the sweep came to its end."""
    before = finished(store)
    enough = random.randint(before, CASES - 1) if random.random() < 0.8 and before < CASES else -1
    pause_s = random.uniform(0.0, 0.3 if enough >= 0 else 1.5)
    aim_at_worker = random.random() < 0.4
    with started(*sweeping(file, store, workers)) as process:
        assert wait_until(lambda: finished(store) > enough or process.poll() is not None, PATIENCE_S)
        time.sleep(pause_s)
        targets = workers_of(process.pid) if aim_at_worker else []
        with suppress(ProcessLookupError):
            os.kill(random.choice(targets) if targets else process.pid, signal.SIGKILL)
        out, err = process.communicate(timeout=PATIENCE_S)
        assert nobody_left(process.pid), processes(process.pid)
        assert finished(store) >= before
        if process.returncode == 0:
            assert err == ""
            assert f"{CASES} cases: " in out
            return True
        assert (process.returncode, out) == (-signal.SIGKILL, "")
        # Python's own helper cleans up after a process that could not, and says so.
        assert all("resource_tracker" in line or line.startswith("  warnings.warn(") for line in err.splitlines())
        return False


def kill_often(folder: Path, undisturbed: tuple[Path, Tables], workers: int, kills: int, seed: int) -> int:
    """Kill sweeps until there were so many kills; each store is brought to its end and compared."""
    file, calm = undisturbed
    random = Random(seed)
    cut_short = 0
    store = folder / "0.store"
    for number in range(kills):
        if kill_once(file, store, workers, random):
            assert tables(store) == calm
            store = folder / f"{number + 1}.store"
        else:
            cut_short += 1
    before = finished(store)
    done = command("sweep", file, "--store", store, "--workers", workers)
    assert (done.returncode, done.stderr) == (0, "")
    assert tables(store) == calm
    last = swept_counts(store)
    assert last == {"cases": CASES, "found": before, "run": CASES - before, "failed": 0}
    return cut_short


def swept_counts(store: Path) -> Any:
    """Counts of the last run of a store; those of runs that were killed at work are not there.

    One that was killed when its work was done, and before it had ended, has its counts.
    """
    runs = [json.loads(text) for text in manifests(store)]
    for run in runs[:-1]:
        assert (run["cases"] is None) == (run["ended"] is None)
        assert run["cases"] is None or run["cases"]["found"] + run["cases"]["run"] == CASES
    return runs[-1]["cases"]


@pytest.mark.parametrize(
    ("workers", "kills", "seed"),
    [(2, 1, 8), *(pytest.param(*each, marks=pytest.mark.slow) for each in [(1, 1, 3), (2, 3, 7)])],
)
def test_killed_some_times(
    tmp_path: Path, undisturbed: tuple[Path, Tables], workers: int, kills: int, seed: int
) -> None:
    """The store that comes of it is that of a calm run, row by row, and nothing was run twice."""
    assert kill_often(tmp_path, undisturbed, workers, kills, seed) >= 1


@pytest.mark.slow
@pytest.mark.parametrize(("workers", "seed"), [(2, 11), (1, 12)])
def test_killed_many_times(tmp_path: Path, undisturbed: tuple[Path, Tables], workers: int, seed: int) -> None:
    """The same, twenty times."""
    assert kill_often(tmp_path, undisturbed, workers, 20, seed) >= 5


# --- a worker alone ---


def test_a_worker_that_is_killed_is_not_missed(tmp_path: Path, undisturbed: tuple[Path, Tables]) -> None:
    """What it had is run again elsewhere; the sweep ends well and says nothing of it."""
    file, calm = undisturbed
    store = tmp_path / "worker.store"
    with started(*sweeping(file, store, 2)) as process:
        assert wait_until(lambda: finished(store) > 0, PATIENCE_S)
        workers = workers_of(process.pid)
        assert len(workers) == 2
        os.kill(workers[0], signal.SIGKILL)
        out, err = process.communicate(timeout=PATIENCE_S)
        assert nobody_left(process.pid)

    assert (process.returncode, err) == (0, "")
    assert f"{CASES} cases: {CASES} run in " in out
    assert tables(store) == calm


def test_all_workers_killed_again_and_again(tmp_path: Path, undisturbed: tuple[Path, Tables]) -> None:
    """A few times in a row: no case is blamed."""
    file, calm = undisturbed
    store = tmp_path / "workers.store"
    kills = 0
    with started(*sweeping(file, store, 2)) as process:
        for _ in range(3):
            assert wait_until(lambda: workers_of(process.pid) or process.poll() is not None, PATIENCE_S)
            time.sleep(0.1)
            for worker in workers_of(process.pid):
                with suppress(ProcessLookupError):
                    os.kill(worker, signal.SIGKILL)
                    kills += 1
        out, err = process.communicate(timeout=PATIENCE_S)

    assert kills > 2
    assert (process.returncode, err) == (0, "")
    assert "without a result" not in out
    assert tables(store) == calm


def test_two_sweeps_cannot_write_to_one_store(tmp_path: Path, undisturbed: tuple[Path, Tables]) -> None:
    """The second is refused while the first is at work, and welcome when it was killed."""
    file, calm = undisturbed
    store = tmp_path / "shared.store"
    with started(*sweeping(file, store, 1)) as process:
        assert wait_until(lambda: finished(store) > 0, PATIENCE_S)
        os.kill(process.pid, signal.SIGSTOP)  # so that it is at work for as long as it takes
        second = command("sweep", file, "--store", store)
        process.kill()
        process.communicate()
    third = command("sweep", file, "--store", store, "--workers", 1)

    assert (second.returncode, second.stdout) == (2, "")
    assert second.stderr == (
        f"{store}: another process is writing to this store; wait for it, or choose another name\n"
    )
    assert (third.returncode, third.stderr) == (0, "")
    assert tables(store) == calm
