"""Cases run into a store: what is there is left alone, what is finished is kept, whatever happens next."""

import time
from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

from batsim.scenario.settings import Settings
from batsim.study.running.executors import outcomes
from batsim.study.running.jobs import REFUSED, Failure, Work
from batsim.study.sweeps.cases import Case, measure_names, measured, restated
from batsim.study.sweeps.store import CaseRow, FailureRow, Store

if TYPE_CHECKING:
    from batsim.scenario.site import Scenario

KEEP_EVERY_S = 0.25
"""What is finished is written down at least as often as this, in seconds."""


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


def run_cases(
    scenario: "Scenario",
    cases: Sequence[Case],
    store: Store,
    settings: Settings = Settings(),
    scheduler: str | None = None,
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
    settings
        Their workers hold; their progress is called with cases finished and in all.
    scheduler
        Address of a Dask scheduler whose workers run the cases instead.
    """
    started = time.perf_counter()
    finished = store.keys()
    refused = {key for key, row in store.failures().items() if row.kind == REFUSED}
    left = [case for case in cases if case.key not in finished | refused]
    found = sum(case.key in finished for case in cases)
    before = len(cases) - len(left)
    tell = settings.progress or _nobody
    keeper = _Keeper(store, measure_names(scenario))
    try:
        work, jobs = Work((scenario,), measured, restated), [case.job for case in left]
        for number, outcome in outcomes(work, jobs, workers=settings.workers, scheduler=scheduler):
            keeper.add(left[number], outcome)
            if keeper.due():
                keeper.keep()
                tell(before + keeper.done + keeper.failed, len(cases))
    finally:
        keeper.keep()
    if left:
        tell(len(cases), len(cases))
    failed = keeper.failed + before - found
    return Tally(len(cases), found, keeper.done, failed, time.perf_counter() - started)


def _nobody(done: int, of: int) -> None:
    """Tell nobody how far it is."""


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
        """Whether it is time to write down."""
        return time.monotonic() - self._kept > KEEP_EVERY_S

    def keep(self) -> None:
        """Write down what is finished."""
        rows, failures = self._rows, self._failures
        self._rows, self._failures, self._kept = [], [], time.monotonic()
        if rows or failures:
            self._store.add(self._names, rows, failures)
