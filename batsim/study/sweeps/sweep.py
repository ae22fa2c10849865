"""A sweep: every point of a study, every layout, every replication, each case run once and kept."""

import platform
import time
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

from batsim.measures import MEASURES, WITHIN_TARGET
from batsim.scenario.reading import completed_data
from batsim.scenario.study_file import Study, stated_study
from batsim.scenario.study_file import read_study as read_stated
from batsim.study.sweeps.agenda import Agenda, Shard, agenda_of
from batsim.study.sweeps.run_cases import Tally, Where, run_cases
from batsim.study.sweeps.store import IN_MEMORY, Store
from batsim.study.sweeps.sweep_result import Sweep, values_of

if TYPE_CHECKING:
    from batsim.scenario.site import Scenario

PACKAGES = ("batsim", "simpy", "numpy", "scipy", "pandas", "pydantic")
"""Packages whose versions a manifest names."""
NAMES = (*MEASURES, WITHIN_TARGET.name)
"""Measures that a study may show."""


def sweep(
    study: "str | Path | Study | Scenario",
    *,
    vary: dict[str, Any] | None = None,
    design: str | dict[str, int] = "grid",
    layouts: "tuple[str, ...] | list[str] | str | None" = None,
    also_vary: tuple[str, ...] | list[str] | str = (),
    measures: tuple[str, ...] | list[str] | str = ("downtime_min_per_truck_shift",),
    replications: int | None = None,
    weeks: float | None = None,
    warm_up_weeks: float | None = None,
    seed: int | None = None,
    store: "str | Path | None" = None,
    workers: int | None = None,
    scheduler: str | None = None,
    shard: str | None = None,
    command: str = "",
    progress: Callable[[int, int], None] | None = None,
) -> Sweep:
    """Run a study, or go on with one: what its store holds is not run again.

    Parameters
    ----------
    study
        A study file, a study as `read_study` returns it, or a scenario; with a scenario the next arguments say the
        rest.
    vary, design, layouts, also_vary, measures
        As in a study file; for a scenario only.
    replications, weeks, warm_up_weeks, seed
        In place of what the study or the scenario says.
    store
        File that keeps finished cases; in memory when not given.
    workers, scheduler
        Processes of this machine, or the address of a Dask scheduler.
    shard
        Such as `3/20`: only the third of twenty parts of the cases.
    command
        Command line, for the manifest.
    progress
        Called with cases finished and in all.

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
        lists = {"layouts": layouts or (), "also_vary": also_vary, "measures": measures}
        stated = {key: [value] if isinstance(value, str) else list(value) for key, value in lists.items()}
        if not stated["layouts"]:
            del stated["layouts"]
        study = stated_study(study, {"vary": vary or {}, "design": design, **stated}, NAMES)
    agenda = agenda_of(study, replications, weeks, warm_up_weeks, seed)
    part = None if shard is None else Shard.read(shard)
    with closing(Store.open(IN_MEMORY if store is None else store)) as kept:
        return _run(agenda, part, kept, Where(workers, scheduler), command, progress)


def read_study(path: str | Path) -> Study:
    """Read a study file and the scenario that it names.

    Raises
    ------
    ScenarioError
        With everything that is wrong, each with file, line, column, path, rule and value.
    """
    return read_stated(path, NAMES)


def _run(
    agenda: Agenda,
    shard: Shard | None,
    store: Store,
    where: Where,
    command: str,
    progress: Callable[[int, int], None] | None,
) -> Sweep:
    """Run an agenda into a store and read its results."""
    begun = datetime.now(UTC)
    manifest = _manifest(agenda, shard, where, command) | {
        "begun": begun.isoformat(timespec="seconds"),
        "ended": None,
        "wall_s": None,
        "cases": None,
    }
    store.put_study(agenda.id, agenda.record, map(agenda.text_of, range(len(agenda.points))))
    number = store.begin_manifest(manifest)
    started, tally = time.perf_counter(), None
    try:
        tally = run_cases(agenda.study.scenario, agenda.cases(shard), store, where, progress)
    finally:
        manifest |= {
            "ended": datetime.now(UTC).isoformat(timespec="seconds"),
            "wall_s": round(time.perf_counter() - started, 3),
            "cases": None
            if tally is None
            else {key: value for key, value in tally._asdict().items() if key != "wall_s"},
        }
        store.end_manifest(number, manifest)
    return result_of(agenda, tally, store, manifest)


def result_of(agenda: Agenda, tally: Tally, store: Store, manifest: dict[str, Any]) -> Sweep:
    """Read what a store holds of an agenda."""
    keys = {case.key for case in agenda.cases()}
    failures = {key: row for key, row in store.failures().items() if key in keys}
    missing = len(keys - store.keys() - failures.keys())
    return Sweep(agenda, tally, tuple(failures.values()), missing, values_of(agenda, store), manifest)


def _manifest(agenda: Agenda, shard: Shard | None, where: Where, command: str) -> dict[str, Any]:
    """What made a result, as STRESS-DES asks for (Monks et al., J. Simulation 13, 2019)."""
    return {
        "study": agenda.id,
        "file": agenda.study.file,
        **agenda.record,
        "scenario_completed": completed_data(agenda.study.scenario),
        "shard": None if shard is None else shard.text,
        "command": command,
        "workers": where.workers,
        "scheduler": where.scheduler,
        "versions": {name: version(name) for name in PACKAGES} | {"python": platform.python_version()},
        "machine": platform.platform(),
    }
