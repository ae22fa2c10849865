"""Many jobs on one engine: cut into chunks, handed out, gathered; the numbers are the same on every engine."""

import time
from collections.abc import Iterator, Sequence
from concurrent.futures import BrokenExecutor, Executor, Future
from contextlib import ExitStack
from itertools import islice
from queue import SimpleQueue
from typing import Any, TypeVar

from batsim.errors import SimulationError, StudyError, require
from batsim.scenario.settings import Schedule, Settings
from batsim.scenario.site import Scenario
from batsim.study.running.engines import Cluster, Engine, Processes, cores, quiet_start
from batsim.study.running.jobs import (
    FAILED,
    LOST,
    Change,
    Failure,
    Job,
    Parcel,
    Take,
    Work,
    jobs_of,
    measures_of,
    outcome_of,
    run_chunk,
)

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
Numbered = tuple[int, Any]


def run_jobs(
    scenarios: Sequence[Scenario],
    jobs: Sequence[Job],
    settings: Settings = Settings(),
    *,
    take: Take[T],
    change: Change | None = None,
) -> list[T]:
    """Run jobs and return what is taken from their records, in the order of the jobs.

    Parameters
    ----------
    scenarios
        Those that jobs name by number.
    jobs
        One for each replication.
    settings
        Their workers and progress hold; the rest is for the jobs already.
    take
        Called with each record and its scenario, where the record was made; `measures_of` takes all measures.
    change
        Makes the changes of a job to its scenario; needed where jobs have any.

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
    for number, outcome in outcomes(Work(tuple(scenarios), take, change), jobs, workers=settings.workers):
        if isinstance(outcome, Failure):
            raise _raised(jobs[number], outcome)
        results[number] = outcome
        if settings.progress is not None:
            settings.progress(len(results), len(jobs))
    return [results[number] for number in range(len(jobs))]


def run_each(
    scenarios: Sequence[Scenario],
    studied: Sequence[Sequence[Job]],
    settings: Settings,
    *,
    take: Take[T],
    change: Change | None = None,
) -> list[list[T]]:
    """Run the replications of each thing that is studied, all together; parameters as for `run_jobs`."""
    jobs = [job for replications in studied for job in replications]
    results = iter(run_jobs(scenarios, jobs, settings, take=take, change=change))
    return [list(islice(results, len(replications))) for replications in studied]


def run_schedule(schedule: Schedule, settings: Settings, *, take: Take[T]) -> dict[str, list[T]]:
    """Run the replications of a schedule; what is taken from their records, by layout."""
    studied = [jobs_of(schedule, layout) for layout in schedule.layouts]
    results = run_each([schedule.scenario], studied, settings, take=take)
    return dict(zip(schedule.layouts, results, strict=True))


def outcomes(
    work: Work, jobs: Sequence[Job], *, workers: int | None = None, scheduler: str | None = None
) -> Iterator[Numbered]:
    """Run jobs and hand on what becomes of each, numbered as they stand, in the order in which they are done.

    Parameters
    ----------
    work, jobs
        What they have in common, and the jobs themselves.
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
    width = _width(workers)
    if scheduler is not None:
        yield from _on(Cluster(scheduler), work, jobs, range(len(jobs)))
    elif width == 1:
        yield from ((number, outcome_of(work, job)) for number, job in enumerate(jobs))
    elif workers is not None:
        yield from _on(Processes(width), work, jobs, range(len(jobs)))
    else:
        yield from _here_first(width, work, jobs)


def _here_first(width: int, work: Work, jobs: Sequence[Job]) -> Iterator[Numbered]:
    """Run jobs in this process until it is clear that processes pay for what is left."""
    # Spread the first ones over the layouts, so that the estimate of what is left is fair.
    tried = range(0, len(jobs), max(1, len(jobs) // TRIED))
    order = [*tried, *(number for number in range(len(jobs)) if number not in tried)]
    started = time.perf_counter()
    for position, number in enumerate(order):
        job_s = (time.perf_counter() - started) / max(1, position)
        if position >= min(2, len(tried)) and job_s * (len(jobs) - position) > POOL_PAYS_S:
            yield from _on(Processes(width), work, jobs, order[position:], job_s)
            return
        yield number, outcome_of(work, jobs[number])


def _on(
    engine: Engine, work: Work, jobs: Sequence[Job], numbers: Sequence[int], job_s: float = 0.0
) -> Iterator[Numbered]:
    """Run some of the jobs on an engine."""
    with _Hands(engine, Parcel.of(work), job_s) as hands:
        yield from hands.outcomes(jobs, numbers)


class Runner(ExitStack):
    """Runs jobs of one scenario again and again, on processes that are started once.

    Parameters
    ----------
    scenario
        The one that the jobs run.
    workers
        Processes; None means one for each core, 1 keeps everything in this one.
    take, change
        As in `run_jobs`.
    """

    def __init__(
        self, scenario: Scenario, workers: int | None, take: Take[Any] = measures_of, change: Change | None = None
    ) -> None:
        super().__init__()
        self._work, width = Work((scenario,), take, change), _width(workers)
        self._hands = self.enter_context(_Hands(Processes(width), Parcel.of(self._work))) if width > 1 else None

    def run(self, jobs: Sequence[Job]) -> list[Any]:
        """Run jobs and return an outcome for each, in their order; a `Failure` where there is none."""
        if self._hands is None:
            return [outcome_of(self._work, job) for job in jobs]
        results = dict(self._hands.outcomes(jobs, range(len(jobs))))
        return [results[number] for number in range(len(jobs))]


def _width(workers: int | None) -> int:
    """Processes: as many as are asked for, else one for each core."""
    require(workers is None or workers >= 1, f"--workers must be at least 1 (got {workers})", StudyError)
    return workers or cores()


class _Hands:
    """Hands chunks of jobs to an engine, in a `with`; those that were with a lost worker are run again, apart."""

    def __init__(self, engine: Engine, parcel: Parcel, job_s: float = 0.0) -> None:
        self._engine, self._parcel = engine, parcel
        self._job_s = job_s
        """How long a job takes; 0 while that is not known. [s]"""
        self._executor: Executor
        self._flight: dict[Future[tuple[float, list[Any]]], Sequence[int]] = {}
        self._done: SimpleQueue[Future[tuple[float, list[Any]]]] = SimpleQueue()
        """Those that have landed. An interrupt may end this wait; one that ends `futures.wait` can leave a lock."""
        self._lost: list[Sequence[int]] = []
        self._broken = False

    def __enter__(self) -> "_Hands":
        self._executor = self._engine.open()
        return self

    def __exit__(self, kind: object, *_: object) -> None:
        self._engine.close(self._executor, stop=kind is not None)

    def outcomes(self, jobs: Sequence[Job], numbers: Sequence[int]) -> Iterator[Numbered]:
        """Run some of the jobs and hand on what becomes of each, by its number."""
        position = 0
        while position < len(numbers) or self._flight:
            width = self._engine.width
            while position < len(numbers) and len(self._flight) < AHEAD * width and not self._lost:
                chunk = numbers[position : position + _size(self._job_s, len(numbers) - position, width)]
                position += len(chunk)
                self._submit(jobs, chunk)
            yield from self._landed()
            yield from self._recovered(jobs)

    def _submit(self, jobs: Sequence[Job], chunk: Sequence[int]) -> None:
        """Hand out a chunk; it is lost when the executor is broken."""
        try:
            with quiet_start():
                future = self._executor.submit(run_chunk, self._parcel, [jobs[number] for number in chunk])
                future.add_done_callback(self._done.put)
        except BrokenExecutor:
            self._lost.append(chunk)
            self._broken = True
        else:
            self._flight[future] = chunk

    def _landed(self) -> Iterator[Numbered]:
        """Wait for chunks, hand on their results, and note those that are lost."""
        landed = [self._done.get()] if self._flight else []
        while not self._done.empty():
            landed.append(self._done.get())
        for future in landed:
            chunk = self._flight.pop(future, None)
            if chunk is None:  # of an executor that broke
                continue
            try:
                seconds, results = future.result()
            except Exception as error:
                self._lost.append(chunk)
                self._broken = self._broken or isinstance(error, BrokenExecutor)
                continue
            newest = NEWEST_SHARE if self._job_s else 1.0
            self._job_s += newest * (seconds / len(chunk) - self._job_s)
            yield from zip(chunk, results, strict=True)

    def _recovered(self, jobs: Sequence[Job]) -> Iterator[Numbered]:
        """Run lost chunks apart; with a broken executor whatever is in flight is lost too, and another is opened."""
        broken, self._broken = self._broken, False
        if broken:
            self._lost += self._flight.values()
            self._flight.clear()
            self._engine.close(self._executor, stop=True)
        lost, self._lost = self._lost, []
        for chunk in lost:
            yield from _apart(self._parcel, jobs, chunk, self._engine)
        if broken:
            self._executor = self._engine.open()


def _size(job_s: float, left: int, width: int) -> int:
    """Jobs in the next chunk: one until it is known how long a job takes, few at the end, so that all end together."""
    if not job_s:
        return 1
    return max(1, min(round(CHUNK_S / job_s), -(-left // (AHEAD * width))))


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
