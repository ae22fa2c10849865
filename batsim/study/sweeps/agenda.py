"""What a study comes to: its points, its cases and the keys by which they are found again."""

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from hashlib import blake2b
from typing import Any, NamedTuple

from batsim.errors import StudyError
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.reading import source_of
from batsim.scenario.study_file import Study
from batsim.study.running.jobs import Job
from batsim.study.running.replications import Settings, settings
from batsim.study.sweeps.cases import Keys, key_of, measure_names
from batsim.study.sweeps.model_version import model_version
from batsim.study.sweeps.points import Points, points_of
from batsim.study.sweeps.run_cases import Case

MOST_SHARDS = 1_000_000


class Shard(NamedTuple):
    """One part of several into which the cases are dealt, for machines that do not know of one another."""

    number: int
    of: int

    @classmethod
    def read(cls, text: str) -> "Shard":
        """Read such as `3/20`."""
        number, of = map(int, text.split("/")) if re.fullmatch(r"[0-9]{1,7}/[0-9]{1,7}", text) else (0, 0)
        if not 1 <= number <= of <= MOST_SHARDS:
            msg = f"--shard needs a part of a whole, such as 3/20 (got {text})"
            raise StudyError(msg)
        return cls(number, of)

    @property
    def text(self) -> str:
        """Such as `3/20`."""
        return f"{self.number}/{self.of}"


@dataclass(frozen=True)
class Agenda:
    """A study with its points and cases."""

    study: Study
    settings: Settings
    points: Points

    @cached_property
    def keys(self) -> Keys:
        """Keys of its cases."""
        return Keys(self.study.scenario)

    @cached_property
    def record(self) -> dict[str, Any]:
        """Everything that finds its cases again in a store, as plain data."""
        stated = self.settings
        return {
            "question": self.study.question,
            "scenario": self.study.scenario.site.name,
            "design": self.study.design._asdict(),
            "factors": [
                {"path": each.path, "may_be": each.text, "layout": source_of(self.study.scenario).layout_of(each.path)}
                for each in self.points.factors
            ],
            "layouts": {layout: self.keys.base(layout).hex() for layout in stated.layouts},
            "names": list(measure_names(self.study.scenario)),
            "shown": list(self.study.measures),
            "seed": stated.seed,
            "replications": stated.replications,
            "length_min": stated.length_min,
            "warm_up_min": stated.warm_up_min,
            "model": model_version(),
        }

    @property
    def id(self) -> str:
        """Digest of what the study asks for."""
        return blake2b(json.dumps(self.record, sort_keys=True).encode(), digest_size=8).hexdigest()

    @property
    def design_text(self) -> str:
        """Such as `latin hypercube of 64`."""
        return self.study.design.text

    def text_of(self, number: int) -> str:
        """Changes of a point as JSON."""
        return json.dumps(self.points.all[number], ensure_ascii=False)

    def jobs(self, number: int) -> Iterator[Job]:
        """Jobs of a point, layout by layout."""
        stated, point = self.settings, self.points.all[number]
        for layout in stated.layouts:
            changes = self.keys.changes(layout, point)
            for replication in range(stated.replications):
                yield Job(layout, replication, stated.seed, stated.length_min, stated.warm_up_min, 0, changes)

    def cases(self, shard: Shard | None = None) -> list[Case]:
        """Cases of all points, each once though several points share it; of a shard every so-manyeth."""
        found: dict[bytes, Job] = {}
        for number in range(len(self.points)):
            for job in self.jobs(number):
                found.setdefault(key_of(self.keys.base(job.layout), job), job)
        cases = [Case(key, job) for key, job in found.items()]
        return cases if shard is None else cases[shard.number - 1 :: shard.of]


def agenda_of(
    study: Study,
    replications: int | None = None,
    weeks: float | None = None,
    warm_up_weeks: float | None = None,
    seed: int | None = None,
) -> Agenda:
    """Work out what a study comes to, without running it; parameters as for `sweep`."""
    runs, scenario = study.runs, study.scenario
    stated = settings(
        scenario,
        study.layouts,
        runs.replications if replications is None else replications,
        _weeks(runs.length_min) if weeks is None else weeks,
        _weeks(runs.warm_up_min) if warm_up_weeks is None else warm_up_weeks,
        runs.seed if seed is None else seed,
        runs.confidence_share,
    )
    return Agenda(study, stated, points_of(study, stated.seed))


def _weeks(minutes: float | None) -> float | None:
    return None if minutes is None else minutes / WEEK_MIN
