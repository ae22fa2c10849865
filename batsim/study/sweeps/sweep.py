"""A sweep: every point of a study, every layout, every replication, each case run once and kept."""

import platform
import time
from contextlib import closing
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

from batsim.measures import MEASURES, WITHIN_TARGET
from batsim.scenario.reading import completed_data
from batsim.scenario.settings import Settings
from batsim.scenario.study_file import Study, stated_study
from batsim.scenario.study_file import read_study as read_stated
from batsim.study.sweeps.agenda import Agenda, Shard, agenda_of
from batsim.study.sweeps.cases import Case
from batsim.study.sweeps.run_cases import Tally, run_cases
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
        lists = {"layouts": settings.layouts or study.layouts, "also_vary": also_vary, "measures": measures}
        listed = {key: [value] if isinstance(value, str) else list(value) for key, value in lists.items()}
        study = stated_study(study, {"vary": vary or {}, "design": design, **listed}, NAMES)
    agenda = agenda_of(study, settings)
    part = None if shard is None else Shard.read(shard)
    with closing(Store.open(IN_MEMORY if store is None else store)) as opened:
        manifest = _manifest(agenda, part, command, settings.workers, scheduler)
        return _run(agenda, agenda.cases(part), opened, settings, scheduler, manifest)


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
    cases: list[Case],
    store: Store,
    settings: Settings,
    scheduler: str | None,
    manifest: dict[str, Any],
) -> Sweep:
    """Run cases of an agenda into a store and read its results."""
    store.put_study(agenda.id, agenda.record, map(agenda.text_of, range(len(agenda.points))))
    number = store.begin_manifest(manifest)
    started, tally = time.perf_counter(), None
    try:
        tally = run_cases(agenda.study.scenario, cases, store, settings, scheduler)
    finally:
        counts = None if tally is None else {key: value for key, value in tally._asdict().items() if key != "wall_s"}
        manifest |= {"ended": _now(), "wall_s": round(time.perf_counter() - started, 3), "cases": counts}
        store.end_manifest(number, manifest)
    return result_of(agenda, tally, store, manifest)


def result_of(agenda: Agenda, tally: Tally, store: Store, manifest: dict[str, Any]) -> Sweep:
    """Read what a store holds of an agenda."""
    keys = {case.key for case in agenda.cases()}
    failures = {key: row for key, row in store.failures().items() if key in keys}
    missing = len(keys - store.keys() - failures.keys())
    return Sweep(agenda, tally, tuple(failures.values()), missing, values_of(agenda, store), manifest)


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
