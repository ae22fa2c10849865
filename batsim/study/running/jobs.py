"""One replication as a piece of work: what is run, what is kept of it, and what is told when it fails."""

import json
import pickle
import time
from collections.abc import Callable, Sequence
from functools import lru_cache
from hashlib import sha256
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

from batsim.errors import BatsimError, ScenarioError
from batsim.measures import measure
from batsim.room.simulation import simulate

if TYPE_CHECKING:
    from batsim.record import Record
    from batsim.scenario.site import Scenario

T = TypeVar("T")
Values = dict[str, float]
Take = Callable[["Record", "Scenario"], T]
"""What is kept of a record; a function at the top of its module, so that other processes find it."""
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
    changes: str = ""
    """What is stated otherwise in it, by path, as JSON; nothing when empty."""


class Failure(NamedTuple):
    """What is left of a job without a result."""

    kind: str
    """refused, failed or lost."""
    message: str
    error: BaseException | None = None
    """What was raised, where it can be handed on."""


class Parcel(NamedTuple):
    """Scenarios, and what is kept of each record, packed once for every process that works on them."""

    digest: bytes
    packed: bytes

    @classmethod
    def of(cls, scenarios: "Sequence[Scenario]", take: Take[Any]) -> "Parcel":
        """Pack them."""
        packed = pickle.dumps((tuple(scenarios), take), protocol=pickle.HIGHEST_PROTOCOL)
        return cls(sha256(packed).digest(), packed)


def measures_of(record: "Record", scenario: "Scenario") -> Values:
    """Every measure of a record, with the scenario's target for waits."""
    target = scenario.targets.waits
    return measure(record, None if target is None else target.minutes)


def run_job(scenarios: "Sequence[Scenario]", job: Job, take: Take[T]) -> T:
    """Simulate one replication and take what is wanted from its record."""
    scenario = scenarios[job.scenario]
    if job.changes:
        scenario = _changed(_Same(scenario), job.changes)
    record = simulate(
        scenario,
        job.layout,
        seed=job.seed,
        replication=job.replication,
        length_min=job.length_min,
        warm_up_min=job.warm_up_min,
    )
    return take(record, scenario)


def outcome_of(scenarios: "Sequence[Scenario]", job: Job, take: Take[T]) -> T | Failure:
    """Run a job; what goes wrong in it concerns no other."""
    try:
        return run_job(scenarios, job, take)
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
    scenarios, take = _opened(parcel)
    outcomes = [outcome_of(scenarios, job, take) for job in jobs]
    return time.perf_counter() - started, outcomes


class _Same:
    """A scenario as a key of a cache: by identity, kept alive by it."""

    def __init__(self, scenario: "Scenario") -> None:
        self.scenario = scenario

    def __hash__(self) -> int:
        return id(self.scenario)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and self.scenario is other.scenario


@lru_cache(maxsize=8)
def _changed(same: _Same, changes: str) -> "Scenario":
    """Scenario of a point; its replications follow one another, so a few are kept."""
    return same.scenario.changed(json.loads(changes))


_open: dict[bytes, Any] = {}
"""The parcel that this process works on, by its digest."""


def _opened(parcel: Parcel) -> Any:  # noqa: ANN401 - whatever was packed
    """Unpack a parcel, once."""
    found = _open.get(parcel.digest)
    if found is None:
        found = pickle.loads(parcel.packed)
        _open.clear()  # threads of a cluster's worker may be here at once
        _open[parcel.digest] = found
    return found


def _portable(error: Exception) -> BaseException | None:
    """Return an error if it can be sent to another process and back."""
    try:
        pickle.loads(pickle.dumps(error))
    except Exception:
        return None
    return error
