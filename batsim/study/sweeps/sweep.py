"""A sweep: every point of a study, every layout, every replication, each case run once and kept."""

import platform
import time
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

from batsim.scenario.reading import completed_data
from batsim.scenario.settings import Settings
from batsim.scenario.site import Scenario
from batsim.scenario.study_file import Study, stated_study
from batsim.scenario.study_file import read_study as read_stated
from batsim.study.running.executors import outcomes
from batsim.study.running.jobs import REFUSED, Failure, Work
from batsim.study.running.runs import UNITS
from batsim.study.sweeps.agenda import Agenda, Case, Shard, agenda_of, restated
from batsim.study.sweeps.columns import measured, names_of
from batsim.study.sweeps.store import IN_MEMORY, CaseRow, FailureRow, Store
from batsim.study.sweeps.sweep_result import Sweep, Tally, values_of

PACKAGES = ("batsim", "simpy", "numpy", "scipy", "pandas", "pydantic")
"""Packages whose versions a manifest names."""
KEEP_EVERY_S = 0.25
"""What is finished is written down at least as often as this, in seconds."""
NAMES = tuple(UNITS)
"""Measures that a study may show."""


def sweep(
    study: "str | Path | Study | Scenario",
    settings: Settings = Settings(),
    *,
    vary: dict[str, Any] | None = None,
    design: str | dict[str, int] = "grid",
    also_vary: tuple[str, ...] | list[str] | str = (),
    measures: tuple[str, ...] | list[str] | str = ("downtime_min_per_truck_shift",),
    store: "str | Path | None" = None,
    scheduler: str | None = None,
    shard: str | None = None,
    command: str = "",
) -> Sweep:
    """Run a study, or go on with one: what its store holds is not run again.

    Parameters
    ----------
    study
        A study file, a study as `read_study` returns it, or a scenario.
    settings
        What is run, in place of what the study or the scenario says.
    vary, design, also_vary, measures
        As in a study file; for a scenario only.
    store
        File that keeps finished cases; in memory when not given.
    scheduler
        Address of a Dask scheduler whose workers run the cases, in place of processes of this machine.
    shard
        Such as `3/20`: only the third of twenty parts of the cases.
    command
        Command line, for the manifest.

    Returns
    -------
    Sweep
        Values by layout and measure for every point, frames, sensitivity.

    Raises
    ------
    ScenarioError, StudyError
        When the study cannot be read, or its store cannot be used.
    """
    if isinstance(study, str | Path):
        study = read_study(study)
    elif not isinstance(study, Study):
        layouts, also, shown = (_listed(entry) for entry in (settings.layouts or study.layouts, also_vary, measures))
        keys = {"vary": vary or {}, "design": design, "layouts": layouts, "also_vary": also, "measures": shown}
        study = stated_study(study, keys, NAMES)
    agenda = agenda_of(study, settings)
    part = None if shard is None else Shard.read(shard)
    with Store.open(IN_MEMORY if store is None else store) as opened:
        opened.put_study(agenda.id, agenda.record, agenda.points.all)
        manifest = _manifest(agenda, part, command, settings.workers, scheduler)
        number, started, counts = opened.begin_manifest(manifest), time.perf_counter(), None
        try:
            tally = run_cases(agenda.study.scenario, agenda.cases(part), opened, settings, scheduler)
            counts = {key: value for key, value in tally._asdict().items() if key != "wall_s"}
        finally:
            manifest |= {"ended": _now(), "wall_s": round(time.perf_counter() - started, 3), "cases": counts}
            opened.end_manifest(number, manifest)
        return _result(agenda, tally, opened, manifest)


def _listed(entry: Iterable[str]) -> list[str]:
    """Entry of a study file that is a list; one of a single entry may be that entry."""
    return [entry] if isinstance(entry, str) else list(entry)


def _result(agenda: Agenda, tally: Tally, store: Store, manifest: dict[str, Any]) -> Sweep:
    """Read what a store holds of an agenda."""
    keys = {case.key for case in agenda.cases()}
    failures = {key: row for key, row in store.failures().items() if key in keys}
    missing = len(keys - store.keys() - failures.keys())
    return Sweep(agenda, tally, tuple(failures.values()), missing, values_of(agenda, store), manifest)


def read_study(path: str | Path) -> Study:
    """Read a study file and the scenario that it names.

    Raises
    ------
    ScenarioError
        With everything that is wrong, each with file, line, column, path, rule and value.
    """
    return read_stated(path, NAMES)


def run_cases(
    scenario: Scenario,
    cases: Sequence[Case],
    store: Store,
    settings: Settings = Settings(),
    scheduler: str | None = None,
) -> Tally:
    """Run the cases that a store does not hold yet, and keep each as soon as it is finished, whatever happens next.

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
    left, finished = _not_done(cases, store)
    before = len(cases) - len(left)
    keeper = _Keeper(store, names_of(scenario))
    try:
        work, jobs = Work((scenario,), measured, restated), [case.job for case in left]
        for number, outcome in outcomes(work, jobs, workers=settings.workers, scheduler=scheduler):
            keeper.add(left[number], outcome)
            if keeper.due():
                keeper.keep()
                _tell(settings, before + keeper.done + keeper.failed, len(cases))
    finally:
        keeper.keep()
    if left:
        _tell(settings, len(cases), len(cases))
    failed = keeper.failed + before - finished
    return Tally(len(cases), finished, keeper.done, failed, time.perf_counter() - started)


def _not_done(cases: Sequence[Case], store: Store) -> tuple[list[Case], int]:
    """Cases that are still to be run, a failure of batsim among them; and how many are finished."""
    finished = store.keys()
    refused = {key for key, row in store.failures().items() if row.kind == REFUSED}
    left = [case for case in cases if case.key not in finished | refused]
    return left, sum(case.key in finished for case in cases)


def _tell(settings: Settings, done: int, of: int) -> None:
    """Tell whoever wants to know how far it is."""
    if settings.progress is not None:
        settings.progress(done, of)


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


def _manifest(
    agenda: Agenda, shard: Shard | None, command: str, workers: int | None, scheduler: str | None
) -> dict[str, Any]:
    """What makes a result, as STRESS-DES asks for (Monks et al., J. Simulation 13, 2019); its end is still open."""
    return {
        "study": agenda.id,
        "file": agenda.study.file,
        **agenda.record,
        "scenario_completed": completed_data(agenda.study.scenario),
        "shard": None if shard is None else shard.text,
        "command": command,
        "workers": workers,
        "scheduler": scheduler,
        "versions": {name: version(name) for name in PACKAGES} | {"python": platform.python_version()},
        "machine": platform.platform(),
        "begun": _now(),
        "ended": None,
        "wall_s": None,
        "cases": None,
    }


def _now() -> str:
    """Time of day and date, for people."""
    return datetime.now(UTC).isoformat(timespec="seconds")
