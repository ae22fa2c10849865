"""Many jobs on one engine: cut into chunks, handed out, gathered; the numbers are the same on every engine."""

import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, wait
from typing import TYPE_CHECKING, Any, TypeVar, overload

from batsim.errors import SimulationError, StudyError
from batsim.study.running.engines import Cluster, Engine, Processes, cores, quiet_start
from batsim.study.running.jobs import (
    FAILED,
    LOST,
    Failure,
    Job,
    Parcel,
    Take,
    Values,
    measures_of,
    outcome_of,
    run_chunk,
)

if TYPE_CHECKING:
    from batsim.scenario.site import Scenario

POOL_PAYS_S = 1.0
"""Work left, in seconds, above which a pool of processes pays for its start."""
TRIED = 8
"""Jobs, spread over all, that are run first to tell how long the rest will take."""
CHUNK_S = 0.4
"""Work in a chunk, in seconds; a quarter of a second is enough for handing over to cost little."""
AHEAD = 2
"""Chunks for each worker that are handed out ahead, so that none waits for its next."""
NEWEST_SHARE = 0.5
"""Weight of the newest chunk in the estimate of how long a job takes."""
TRIES = 3
"""Times that a job may lose its worker, each time alone, before it is blamed."""

T = TypeVar("T")
Progress = Callable[[int, int], None]
Numbered = tuple[int, Any]

__all__ = ["Job", "Progress", "Take", "Values", "measures_of", "outcomes", "run_jobs"]


@overload
def run_jobs(
    scenarios: "Sequence[Scenario]",
    jobs: Sequence[Job],
    *,
    workers: int | None = None,
    progress: Progress | None = None,
) -> list[Values]: ...
@overload
def run_jobs(
    scenarios: "Sequence[Scenario]",
    jobs: Sequence[Job],
    *,
    take: Take[T],
    workers: int | None = None,
    progress: Progress | None = None,
) -> list[T]: ...
def run_jobs(
    scenarios: "Sequence[Scenario]",
    jobs: Sequence[Job],
    *,
    take: Take[Any] = measures_of,
    workers: int | None = None,
    progress: Progress | None = None,
) -> list[Any]:
    """Run jobs and return what is taken from their records, in the order of the jobs.

    Parameters
    ----------
    scenarios
        Those that jobs name by number.
    jobs
        One for each replication.
    take
        Called with each record and its scenario, where the record was made; all measures when not given.
    workers, progress
        As in `outcomes`; called with replications done and in all.

    Returns
    -------
    list
        One entry for each job.

    Raises
    ------
    BatsimError
        What went wrong in the first job that has no result.
    """
    results: dict[int, Any] = {}
    for number, outcome in outcomes(scenarios, jobs, take=take, workers=workers):
        if isinstance(outcome, Failure):
            raise _raised(jobs[number], outcome)
        results[number] = outcome
        if progress is not None:
            progress(len(results), len(jobs))
    return [results[number] for number in range(len(jobs))]


def outcomes(
    scenarios: "Sequence[Scenario]",
    jobs: Sequence[Job],
    *,
    take: Take[Any] = measures_of,
    workers: int | None = None,
    scheduler: str | None = None,
) -> Iterator[Numbered]:
    """Run jobs and hand on what becomes of each, numbered as they stand, in the order in which they are done.

    Parameters
    ----------
    scenarios, jobs, take
        As in `run_jobs`.
    workers
        Processes; 1 keeps everything in this one. None runs the first jobs here and takes one process for each core
        when what is left would take long.
    scheduler
        Address of a Dask scheduler whose workers run the jobs instead.

    Yields
    ------
    tuple
        Number of a job, and what is taken from its record or a `Failure`.

    Raises
    ------
    StudyError
        When there are no workers.
    """
    if scheduler is not None:
        yield from _spread(Parcel.of(scenarios, take), jobs, range(len(jobs)), Cluster(scheduler), 0.0)
        return
    width = _width(workers)
    if workers is not None and workers > 1:
        yield from _spread(Parcel.of(scenarios, take), jobs, range(len(jobs)), Processes(width), 0.0)
        return
    started = time.perf_counter()
    # Spread the first ones over the layouts, so that the estimate of what is left is fair.
    tried = range(0, len(jobs), max(1, len(jobs) // TRIED))
    order = [*tried, *(number for number in range(len(jobs)) if number not in tried)] if width > 1 else range(len(jobs))
    for position, number in enumerate(order):
        each_s = (time.perf_counter() - started) / max(1, position)
        if width > 1 and position >= min(2, len(tried)) and each_s * (len(jobs) - position) > POOL_PAYS_S:
            yield from _spread(Parcel.of(scenarios, take), jobs, order[position:], Processes(width), each_s)
            return
        yield number, outcome_of(scenarios, jobs[number], take)


class Runner:
    """Runs jobs of one scenario again and again, on processes that are started once.

    Parameters
    ----------
    scenario
        What the jobs' changes are made to.
    workers
        Processes; None means one for each core, 1 keeps everything in this one.
    take
        As in `run_jobs`.
    """

    def __init__(self, scenario: "Scenario", workers: int | None, take: Take[Any] = measures_of) -> None:
        self._scenario, self._take = scenario, take
        self._engine = Processes(_width(workers))
        self._parcel = Parcel.of([scenario], take)
        self._executor: Executor | None = None

    def __enter__(self) -> "Runner":
        return self

    def __exit__(self, kind: object, *_: object) -> None:
        if self._executor is not None:
            self._engine.close(self._executor, stop=kind is not None)

    def run(self, jobs: Sequence[Job]) -> list[Any]:
        """Run jobs and return an outcome for each, in their order; a `Failure` where there is none."""
        found: dict[int, Any] = {}
        if self._engine.width == 1:
            return [outcome_of([self._scenario], job, self._take) for job in jobs]
        if self._executor is None:
            self._executor = self._engine.open()
        flight: dict[Future[tuple[float, list[Any]]], Sequence[int]] = {}
        executor, parcel = self._executor, self._parcel
        lost = [[number] for number in range(len(jobs)) if not _submit(executor, parcel, jobs, [number], flight)]
        for future, chunk in flight.items():
            try:
                found[chunk[0]] = future.result()[1][0]
            except Exception:
                lost.append(list(chunk))
        if lost:
            self._engine.close(self._executor, stop=True)
            self._executor = self._engine.open()
        for chunk in lost:
            found.update(_apart(self._parcel, jobs, chunk, self._engine))
        return [found[number] for number in range(len(jobs))]


def _width(workers: int | None) -> int:
    """Processes: as many as are asked for, else one for each core."""
    if workers is not None and workers < 1:
        msg = f"--workers must be at least 1 (got {workers})"
        raise StudyError(msg)
    return workers or cores()


def _spread(
    parcel: Parcel, jobs: Sequence[Job], numbers: Sequence[int], engine: Engine, each_s: float
) -> Iterator[Numbered]:
    """Run jobs on an engine chunk by chunk; chunks that were with a lost worker are run again, apart."""
    executor = engine.open()
    flight: dict[Future[tuple[float, list[Any]]], Sequence[int]] = {}
    position, stop = 0, True
    try:
        while position < len(numbers) or flight:
            lost: list[Sequence[int]] = []
            while position < len(numbers) and len(flight) < AHEAD * engine.width and not lost:
                size = _size(each_s, len(numbers) - position, engine.width)
                chunk = numbers[position : position + size]
                position += len(chunk)
                if not _submit(executor, parcel, jobs, chunk, flight):
                    lost.append(chunk)
            done, _ = wait(flight, return_when=FIRST_COMPLETED)
            broken = bool(lost)
            for future in done:
                chunk = flight.pop(future)
                try:
                    seconds, results = future.result()
                except Exception as error:
                    lost.append(chunk)
                    broken = broken or isinstance(error, BrokenExecutor)
                    continue
                newest = NEWEST_SHARE if each_s else 1.0
                each_s += newest * (seconds / len(chunk) - each_s)
                yield from zip(chunk, results, strict=True)
            if broken:
                lost += flight.values()
                flight.clear()
                engine.close(executor, stop=True)
            for chunk in lost:
                yield from _apart(parcel, jobs, chunk, engine)
            if broken:
                executor = engine.open()
        stop = False
    finally:
        engine.close(executor, stop=stop)


def _submit(
    executor: Executor,
    parcel: Parcel,
    jobs: Sequence[Job],
    chunk: Sequence[int],
    flight: dict[Future[tuple[float, list[Any]]], Sequence[int]],
) -> bool:
    """Hand out a chunk; False when the executor is broken."""
    try:
        with quiet_start():
            flight[executor.submit(run_chunk, parcel, [jobs[number] for number in chunk])] = chunk
    except BrokenExecutor:
        return False
    return True


def _size(each_s: float, left: int, width: int) -> int:
    """Jobs in the next chunk: one until it is known how long a job takes, few at the end, so that all end together."""
    if not each_s:
        return 1
    return max(1, min(round(CHUNK_S / each_s), -(-left // (AHEAD * width))))


def _apart(parcel: Parcel, jobs: Sequence[Job], chunk: Sequence[int], engine: Engine) -> Iterator[Numbered]:
    """Run a chunk that was with a lost worker where it harms no other: whole, and if that fails job by job."""
    results = engine.apart(parcel, [jobs[number] for number in chunk]) if len(chunk) > 1 else None
    if results is not None:
        yield from zip(chunk, results, strict=True)
        return
    for number in chunk:
        for _ in range(TRIES):
            results = engine.apart(parcel, [jobs[number]])
            if results is not None:
                yield number, results[0]
                break
        else:
            message = f"its worker was lost {TRIES} times, each time with this job alone; it may need too much memory"
            yield number, Failure(LOST, message)


def _raised(job: Job, failure: Failure) -> BaseException:
    """Error for a job without a result."""
    if failure.error is not None:
        return failure.error
    msg = f"layout '{job.layout}', replication {job.replication}: {failure.message}"
    return SimulationError(msg) if failure.kind == FAILED else StudyError(msg)
