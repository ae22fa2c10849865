"""Cases: jobs known by their content, so that what is finished is found again, whoever ran it."""

import json
from collections.abc import Iterable
from functools import cached_property
from hashlib import blake2b
from typing import TYPE_CHECKING, Any, NamedTuple

from batsim.scenario.reading import changed, completed_data, source_of
from batsim.study.sweeps.model_version import model_version

if TYPE_CHECKING:
    from batsim.record import Record
    from batsim.scenario.site import Scenario
    from batsim.study.running.jobs import Job

KEY_BYTES = 16
LEFT_OUT = (
    "question", "layouts", "simulation", "targets",
    "prices", "present", "equipment", "room", "building", "supply", "standards",
)  # fmt: skip
"""Parts of a scenario on which no number depends, or of which only some does; that is added below."""


class Case(NamedTuple):
    """A job and its key."""

    key: bytes
    job: "Job"


class Keys:
    """Keys of the cases of one scenario.

    A key is made of the scenario after the catalogue has filled it in (of its layouts only the one that is run), the
    changes that concern that layout, length, warm-up, seed, replication and the version of the model. The same key
    means the same numbers to the last bit.
    """

    def __init__(self, scenario: "Scenario") -> None:
        self._scenario = scenario
        self._bases: dict[str, bytes] = {}
        self._layouts: dict[str, str | None] = {}

    @cached_property
    def _data(self) -> dict[str, Any]:
        return completed_data(self._scenario)

    def base(self, layout: str) -> bytes:
        """Digest of the scenario as far as one layout needs it."""
        if layout not in self._bases:
            whole, waits = self._data, self._scenario.targets.waits
            part = {
                **{key: value for key, value in whole.items() if key not in LEFT_OUT},
                "layout": whole["layouts"][layout],
                "start_week": self._scenario.simulation.start_week,
                "waits": None if waits is None else waits.minutes,
                "model": model_version(),
            }
            self._bases[layout] = blake2b(_text(part).encode(), digest_size=KEY_BYTES).digest()
        return self._bases[layout]

    def changes(self, layout: str, point: dict[str, Any]) -> str:
        """Changes of a point that concern a layout, as a job carries them."""
        for path in point:
            if path not in self._layouts:
                self._layouts[path] = source_of(self._scenario).layout_of(path)
        return changes_of({path: value for path, value in point.items() if self._layouts[path] in (None, layout)})

    def key(self, job: "Job") -> bytes:
        """Key of a job."""
        return key_of(self.base(job.layout), job)


def changes_of(point: dict[str, Any]) -> str:
    """Changes as a job carries them."""
    return _text(point) if point else ""


def restated(scenario: "Scenario", changes: str) -> "Scenario":
    """Make the changes that a job carries."""
    return changed(scenario, json.loads(changes))


def key_of(base: bytes, job: "Job") -> bytes:
    """Key of a job whose scenario and layout have this digest."""
    spent = f"{job.seed} {job.replication} {job.length_min!r} {job.warm_up_min!r} {job.layout}\n{job.changes}"
    return blake2b(spent.encode(), key=base, digest_size=KEY_BYTES).digest()


def measured(record: "Record", scenario: "Scenario") -> bytes:
    """Every measure of a record as the bytes that a store keeps: 8-byte floats, the least byte first."""
    import numpy as np  # noqa: PLC0415 - heavy

    from batsim.study.running.jobs import measures_of  # noqa: PLC0415 - the room comes with it

    return np.fromiter(measures_of(record, scenario).values(), "<f8").tobytes()


def measure_names(scenario: "Scenario") -> tuple[str, ...]:
    """Names of the measures in those bytes."""
    from batsim.measures import MEASURES, WITHIN_TARGET  # noqa: PLC0415 - with the rest

    also: Iterable[str] = (WITHIN_TARGET.name,) if scenario.targets.waits is not None else ()
    return (*MEASURES, *also)


def _text(data: object) -> str:
    """Plain data as text that is the same for the same data."""
    return json.dumps(data, ensure_ascii=False, separators=(",", ":"))
