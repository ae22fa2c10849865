"""Where replications run: in this process, or spread over the machine's cores. The numbers are the same."""

import multiprocessing
import os
import signal
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from types import ModuleType
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar, overload

from batsim.measures import measure
from batsim.room.simulation import simulate

if TYPE_CHECKING:
    from batsim.record import Record
    from batsim.scenario.site import Scenario

POOL_PAYS_S = 1.0
"""Work left, in seconds, above which a pool of processes pays for its start."""
TRIED = 8
"""Jobs, spread over all, that are run first to tell how long the rest will take."""
CHUNK_S = 0.25
"""Least work in a chunk handed to another process, in seconds, so that handing over costs little."""


class Job(NamedTuple):
    """One replication to run."""

    layout: str
    replication: int
    seed: int
    length_min: float
    warm_up_min: float
    scenario: int = 0
    """Which of the scenarios."""


T = TypeVar("T")
Values = dict[str, float]
Progress = Callable[[int, int], None]
Take = Callable[["Record", "Scenario"], T]
"""What is kept of a record; a function at the top of its module, so that other processes find it."""

_sent: list[Any] = []
"""In a process of the pool: the scenarios, and what is taken from each record."""


def measures_of(record: "Record", scenario: "Scenario") -> Values:
    """Every measure of a record, with the scenario's target for waits."""
    target = scenario.targets.waits
    return measure(record, None if target is None else target.minutes)


def run_job(scenarios: "Sequence[Scenario]", job: Job, take: Take[T]) -> T:
    """Simulate one replication and take what is wanted from its record."""
    scenario = scenarios[job.scenario]
    record = simulate(
        scenario,
        job.layout,
        seed=job.seed,
        replication=job.replication,
        length_min=job.length_min,
        warm_up_min=job.warm_up_min,
    )
    return take(record, scenario)


@overload
def run_jobs(
    scenarios: "Sequence[Scenario]",
    jobs: list[Job],
    *,
    workers: int | None = None,
    progress: Progress | None = None,
) -> list[Values]: ...
@overload
def run_jobs(
    scenarios: "Sequence[Scenario]",
    jobs: list[Job],
    *,
    take: Take[T],
    workers: int | None = None,
    progress: Progress | None = None,
) -> list[T]: ...
def run_jobs(
    scenarios: "Sequence[Scenario]",
    jobs: list[Job],
    *,
    take: Take[Any] = measures_of,
    workers: int | None = None,
    progress: Progress | None = None,
) -> list[Any]:
    """Run jobs and return what is taken from their records, in the order of the jobs.

    The first ones run here. When what is left would take long, it is spread over processes; `workers` 1 keeps
    everything in this process, None means one process for each core.

    Parameters
    ----------
    scenarios
        Those that jobs name by number.
    jobs
        One for each replication.
    take
        Called with each record and its scenario, where the record was made; all measures when not given.
    workers, progress
        Most processes; called with replications done and in all.

    Returns
    -------
    list
        One entry for each job.
    """
    started = time.perf_counter()
    cores = workers or os.cpu_count() or 1
    results: dict[int, Any] = {}
    done = 0
    # Spread the first ones over the layouts, so that the estimate of what is left is fair.
    tried = range(0, len(jobs), max(1, len(jobs) // TRIED))
    order = sorted(range(len(jobs)), key=lambda number: number not in tried)
    for position, number in enumerate(order):
        left_s = (time.perf_counter() - started) / max(1, position) * (len(jobs) - position)
        if cores > 1 and position >= min(2, len(tried)) and left_s > POOL_PAYS_S:
            each_s = (time.perf_counter() - started) / position
            rest = order[position:]
            for numbers, values in _pooled((tuple(scenarios), take), jobs, rest, cores, each_s):
                results.update(zip(numbers, values, strict=True))
                done += len(numbers)
                if progress is not None:
                    progress(done, len(jobs))
            break
        results[number] = run_job(scenarios, jobs[number], take)
        done += 1
        if progress is not None:
            progress(done, len(jobs))
    return [results[number] for number in range(len(jobs))]


def _pooled(
    what: "tuple[tuple[Scenario, ...], Take[Any]]", jobs: list[Job], numbers: list[int], cores: int, each_s: float
) -> Iterator[tuple[list[int], list[Any]]]:
    """Run jobs in a pool of processes, chunk by chunk, in the order in which they are done."""
    size = max(1, min(round(CHUNK_S / max(each_s, 1e-6)), -(-len(numbers) // (4 * cores))))
    chunks = [numbers[start : start + size] for start in range(0, len(numbers), size)]
    method = "forkserver" if "forkserver" in multiprocessing.get_all_start_methods() else "spawn"
    context = multiprocessing.get_context(method)
    if method == "forkserver":
        context.set_forkserver_preload(["batsim.study.executors"])
    with ProcessPoolExecutor(min(cores, len(chunks)), mp_context=context, initializer=_receive, initargs=what) as pool:
        yield from _submitted(pool, jobs, chunks)


def _submitted(pool: Executor, jobs: list[Job], chunks: list[list[int]]) -> Iterator[tuple[list[int], list[Any]]]:
    """Submit chunks to an executor and hand on each when it is done; nothing waits once this is left."""
    try:
        with _main_left_out(), _interrupts_held_back():
            futures: dict[Future[list[Any]], list[int]] = {
                pool.submit(_run_chunk, [jobs[number] for number in chunk]): chunk for chunk in chunks
            }
        for future in as_completed(futures):
            yield futures[future], future.result()
    except BaseException:
        # Stopped or broken: what still runs is of no use to anybody.
        pool.shutdown(wait=False, cancel_futures=True)
        for process in multiprocessing.active_children():
            process.terminate()
        raise


@contextmanager
def _interrupts_held_back() -> Iterator[None]:
    """Start processes that leave an interrupt (Ctrl-C) to this one, which is told when they have started."""
    mask = getattr(signal, "pthread_sigmask", None)
    if mask is None:
        yield
        return
    before = mask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        mask(signal.SIG_SETMASK, before)


@contextmanager
def _main_left_out() -> Iterator[None]:
    """Start processes that do not run the caller's script again: they need nothing of it.

    Without this, a script that calls batsim without a guard for `__main__`, or comes from standard input, would
    break the pool.
    """
    main = sys.modules["__main__"]
    sys.modules["__main__"] = ModuleType("__main__")
    try:
        yield
    finally:
        sys.modules["__main__"] = main


def _receive(scenarios: "tuple[Scenario, ...]", take: Take[Any]) -> None:
    """Keep the scenarios in a new process; they are sent once, not with every chunk."""
    _sent[:] = [scenarios, take]


def _run_chunk(jobs: list[Job]) -> list[Any]:
    """Run some jobs in a process of the pool."""
    scenarios, take = _sent
    return [run_job(scenarios, job, take) for job in jobs]
