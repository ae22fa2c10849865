"""What a study comes to: its points, its cases and the keys by which they are found again."""

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from hashlib import blake2b
from typing import Any, NamedTuple

from batsim.errors import StudyError
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.reading import source_of
from batsim.scenario.settings import Schedule, Settings
from batsim.scenario.study_file import Study
from batsim.study.running.jobs import Job, jobs_of
from batsim.study.sweeps.cases import Case, Keys, measure_names
from batsim.study.sweeps.model_version import model_version
from batsim.study.sweeps.points import Points, points_of

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
    schedule: Schedule
    points: Points

    @cached_property
    def keys(self) -> Keys:
        """Keys of its cases."""
        return Keys(self.study.scenario)

    @cached_property
    def record(self) -> dict[str, Any]:
        """Everything that finds its cases again in a store, as plain data."""
        schedule = self.schedule
        return {
            "question": self.study.question,
            "scenario": self.study.scenario.site.name,
            "design": self.study.design._asdict(),
            "factors": [
                {
                    "path": factor.path,
                    "may_be": factor.text,
                    "layout": source_of(self.study.scenario).layout_of(factor.path),
                }
                for factor in self.points.factors
            ],
            "layouts": {layout: self.keys.base(layout).hex() for layout in schedule.layouts},
            "names": list(measure_names(self.study.scenario)),
            "shown": list(self.study.measures),
            "seed": schedule.seed,
            "replications": schedule.replications,
            "length_min": schedule.length_min,
            "warm_up_min": schedule.warm_up_min,
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
        point = self.points.all[number]
        for job in jobs_of(self.schedule):
            yield job._replace(changes=self.keys.changes(job.layout, point))

    def cases(self, shard: Shard | None = None) -> list[Case]:
        """Cases of all points, each once though several points share it; of a shard every so-manyeth."""
        jobs: dict[bytes, Job] = {}
        for number in range(len(self.points)):
            for job in self.jobs(number):
                jobs.setdefault(self.keys.key(job), job)
        cases = [Case(key, job) for key, job in jobs.items()]
        return cases if shard is None else cases[shard.number - 1 :: shard.of]


def agenda_of(study: Study, settings: Settings = Settings()) -> Agenda:
    """Work out what a study comes to, without running it; parameters as for `sweep`."""
    runs = study.runs

    def weeks(given: float | None, minutes: float | None) -> float | None:
        return minutes / WEEK_MIN if given is None and minutes is not None else given

    schedule = replace(
        settings,
        layouts=settings.layouts or study.layouts,
        replications=runs.replications if settings.replications is None else settings.replications,
        weeks=weeks(settings.weeks, runs.length_min),
        warm_up_weeks=weeks(settings.warm_up_weeks, runs.warm_up_min),
        seed=runs.seed if settings.seed is None else settings.seed,
        confidence=runs.confidence_share if settings.confidence is None else settings.confidence,
    ).schedule(study.scenario)
    return Agenda(study, schedule, points_of(study, schedule.seed))
