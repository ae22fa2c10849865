"""One replication as a piece of work: what is run, what is kept of it, and what is told when it fails."""

import pickle
import time
from collections.abc import Callable, Hashable
from functools import lru_cache
from hashlib import sha256
from typing import Any, NamedTuple, TypeVar

from batsim.errors import BatsimError, ScenarioError
from batsim.measures import MEASURES, WITHIN_TARGET, measure
from batsim.record.record import Record
from batsim.room.simulation import replicate
from batsim.scenario.parts.targets import Targets
from batsim.scenario.parts.week import Weeks
from batsim.scenario.settings import Schedule
from batsim.scenario.site import SameScenario, Scenario

T = TypeVar("T")
Values = dict[str, float]
Take = Callable[[Record, Scenario], T]
"""What is kept of a record; a function at the top of its module, so that other processes find it."""
Change = Callable[[Scenario, Any], Scenario]
"""How a job's changes are made to its scenario; a function at the top of its module too."""
REFUSED, FAILED, LOST = "refused", "failed", "lost"
"""Why a job has no result: its scenario breaks a rule, batsim failed, or its worker was lost with it, each time."""


class Job(NamedTuple):
    """One replication to run."""

    layout: str
    replication: int
    seed: int
    length_min: float
    warm_up_min: float
    scenario: int = 0
    """Which of the scenarios."""
    changes: Hashable = ""
    """What is different in it, in the form that the `change` of its work knows; nothing when empty."""
    season: Weeks | None = None
    """Season that is run; None for the normal weeks."""
    by_calendar: bool = False
    """Whether it begins in `start_week`, whatever season that is."""


def jobs_of(
    schedule: Schedule, layout: str, *, numbers: range | None = None, scenario: int = 0, changes: Hashable = ""
) -> list[Job]:
    """Replications of a layout: those of its schedule when no others are named."""
    times = schedule.length_min, schedule.warm_up_min
    numbers = range(schedule.replications) if numbers is None else numbers
    return [Job(layout, number, schedule.seed, *times, scenario, changes, schedule.season) for number in numbers]


class Failure(NamedTuple):
    """What is left of a job without a result."""

    kind: str
    """refused, failed or lost."""
    message: str
    error: BaseException | None = None
    """What was raised, where it can be handed on."""


class Work(NamedTuple):
    """What jobs have in common."""

    scenarios: tuple[Scenario, ...]
    """Those that jobs name by number."""
    take: Take[Any]
    change: Change | None = None
    """Makes a job's changes; needed where jobs have any."""


class Parcel(NamedTuple):
    """Work, packed once for every process that has a part in it."""

    digest: bytes
    packed: bytes

    @classmethod
    def of(cls, work: Work) -> "Parcel":
        """Pack it."""
        packed = pickle.dumps(work, protocol=pickle.HIGHEST_PROTOCOL)
        return cls(sha256(packed).digest(), packed)


def measures_of(record: Record, scenario: Scenario) -> Values:
    """Every measure of a record, with the scenario's target for waits."""
    target = scenario.targets.waits
    return measure(record, None if target is None else target.minutes)


class Results(NamedTuple):
    """Measures of one replication: of the site, of each named area, truck group, battery type, and lot of it."""

    site: Values
    areas: dict[str, Values]
    groups: dict[str, Values]
    battery_types: dict[str, Values]
    lots: dict[tuple[str, str], Values]
    """By battery type and lot; none where lots are not told apart."""


def results_of(record: Record, scenario: Scenario) -> Results:
    """Every measure of a record, and those that its areas, truck groups and battery types have of their own."""
    from batsim.measures.parts import (  # noqa: PLC0415 - numpy only when measuring
        area_measures,
        group_measures,
        lot_measures,
        type_measures,
    )

    wait_min = None if scenario.targets.waits is None else scenario.targets.waits.minutes
    types = dict.fromkeys(kind.battery_type for kind in record.facts.battery_types)
    lots = dict.fromkeys((kind.battery_type, lot) for kind in record.facts.battery_types for lot in kind.lots)
    return Results(
        measures_of(record, scenario),
        {area.name: area_measures(record, area.name, wait_min) for area in record.facts.areas if area.name},
        {
            name: group_measures(record, number, _wait_target_min(scenario.targets, name))
            for number, name in enumerate(record.facts.groups)
        },
        {name: type_measures(record, name) for name in types},
        {(name, lot): lot_measures(record, name, lot) for name, lot in lots},
    )


def _wait_target_min(targets: Targets, group: str) -> float | None:
    """Wait that counts as within target for a truck group: its own, or that of the site. [min]"""
    own = targets.groups[group].waits if group in targets.groups else None
    target = own or targets.waits
    return None if target is None else target.minutes


def measure_names(scenario: Scenario) -> tuple[str, ...]:
    """Names of those measures, in their order."""
    return (*MEASURES, *(() if scenario.targets.waits is None else (WITHIN_TARGET.name,)))


def outcome_of(work: Work, job: Job) -> Any:  # noqa: ANN401 - whatever is taken, or a failure
    """Simulate one replication and take what is wanted from its record; what goes wrong in it concerns no other."""
    times = {"length_min": job.length_min, "warm_up_min": job.warm_up_min}
    try:
        scenario = work.scenarios[job.scenario]
        if job.changes:
            assert work.change is not None  # who states changes says how they are made
            scenario = _changed(work.change, SameScenario(scenario), job.changes)
        if not job.by_calendar:
            scenario = _in_weeks(SameScenario(scenario), job.season)
        record = replicate(scenario, job.layout, seed=job.seed, replication=job.replication, **times)
        return work.take(record, scenario.in_layout(job.layout))
    except ScenarioError as error:
        return Failure(REFUSED, str(error), error)
    except Exception as error:
        return failed(error)


def failed(error: Exception) -> Failure:
    """Failure of a job in which batsim, or what takes from its record, raised an error."""
    kind = "" if isinstance(error, BatsimError) else f"{type(error).__name__}: "
    return Failure(FAILED, f"{kind}{error}", _portable(error))


def run_chunk(parcel: Parcel, jobs: list[Job]) -> tuple[float, list[Any]]:
    """Run some jobs where this is called; return the seconds that it took, and an outcome for each."""
    started = time.perf_counter()
    work = _opened(parcel)
    outcomes = [outcome_of(work, job) for job in jobs]
    return time.perf_counter() - started, outcomes


@lru_cache(maxsize=8)
def _changed(change: Change, same: SameScenario, changes: Hashable) -> Scenario:
    """Scenario of a point; its replications follow one another, so a few are kept."""
    return change(same.scenario, changes)


@lru_cache(maxsize=8)
def _in_weeks(same: SameScenario, season: Weeks | None) -> Scenario:
    """Scenario of a season, the same for its replications, so that its layouts are worked out once."""
    return same.scenario.in_weeks(season)


_open: dict[bytes, Work] = {}
"""The work that this process has a part in, by the digest of its parcel."""


def _opened(parcel: Parcel) -> Work:
    """Unpack a parcel, once."""
    work = _open.get(parcel.digest)
    if work is None:
        work = pickle.loads(parcel.packed)
        _open.clear()  # threads of a cluster's worker may be here at once
        _open[parcel.digest] = work
    return work


def _portable(error: Exception) -> BaseException | None:
    """Return an error if it can be sent to another process and back."""
    try:
        pickle.loads(pickle.dumps(error))
    except Exception:
        return None
    return error
