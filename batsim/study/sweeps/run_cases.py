"""Cases run into a store: what is there is left alone, what is finished is kept, whatever happens next."""

import time
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, NamedTuple

from batsim.study.running.executors import outcomes
from batsim.study.running.jobs import REFUSED, Failure, Job, Work
from batsim.study.sweeps.cases import measure_names, measured, restated
from batsim.study.sweeps.store import CaseRow, FailureRow, Store

if TYPE_CHECKING:
    from batsim.scenario.site import Scenario

KEEP_EVERY_S = 0.25
"""What is finished is written down at least as often as this, in seconds."""


class Case(NamedTuple):
    """A job and its key."""

    key: bytes
    job: Job


class Tally(NamedTuple):
    """What became of the cases of a run."""

    cases: int
    """In all."""
    found: int
    """Finished before."""
    run: int
    """Finished in this run."""
    failed: int
    """Without a result."""
    wall_s: float


class Where(NamedTuple):
    """Where cases are run."""

    workers: int | None = None
    scheduler: str | None = None


def run_cases(
    scenario: "Scenario",
    cases: Sequence[Case],
    store: Store,
    where: Where,
    progress: Callable[[int, int], None] | None = None,
) -> Tally:
    """Run the cases that a store does not hold yet, and keep each as soon as it is finished.

    Parameters
    ----------
    scenario
        The one that the jobs change.
    cases
        Each key at most once.
    store
        Open for writing.
    where
        Processes, or the scheduler of a cluster.
    progress
        Called with cases finished and in all.
    """
    started = time.perf_counter()
    there = store.keys()
    refused = {key for key, row in store.failures().items() if row.kind == REFUSED}
    left = [case for case in cases if case.key not in there and case.key not in refused]
    found = sum(case.key in there for case in cases)
    before = len(cases) - len(left)
    keeper = _Keeper(store, measure_names(scenario))
    try:
        jobs = [case.job for case in left]
        work = Work((scenario,), measured, restated)
        for number, outcome in outcomes(work, jobs, workers=where.workers, scheduler=where.scheduler):
            keeper.add(left[number], outcome)
            if keeper.due():
                keeper.keep()
                if progress is not None:
                    progress(before + keeper.done + keeper.failed, len(cases))
    finally:
        keeper.keep()
    if progress is not None and left:
        progress(len(cases), len(cases))
    failed = keeper.failed + before - found
    return Tally(len(cases), found, keeper.done, failed, time.perf_counter() - started)


class _Keeper:
    """What is finished and not yet in the store."""

    def __init__(self, store: Store, names: tuple[str, ...]) -> None:
        self._store, self._names = store, names
        self._rows: list[CaseRow] = []
        self._failures: list[FailureRow] = []
        self._kept = time.monotonic()
        self.done = self.failed = 0

    def add(self, case: Case, outcome: bytes | Failure) -> None:
        """Take what became of a case."""
        key, job = case
        who = (key, job.layout, str(job.changes), job.seed, job.replication)
        if isinstance(outcome, Failure):
            self._failures.append(FailureRow(*who, outcome.kind, outcome.message))
            self.failed += 1
        else:
            self._rows.append(CaseRow(*who, outcome))
            self.done += 1

    def due(self) -> bool:
        """Tell whether it is time to write down."""
        return time.monotonic() - self._kept > KEEP_EVERY_S

    def keep(self) -> None:
        """Write down what is finished."""
        rows, failures = self._rows, self._failures
        self._rows, self._failures, self._kept = [], [], time.monotonic()
        if rows or failures:
            self._store.add(self._names, rows, failures)
