"""What a study comes to: its points, its cases, and the keys by which what is finished is found again."""

import json
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from hashlib import blake2b
from typing import Any, NamedTuple

from batsim.errors import StudyError, require
from batsim.scenario.factors import Factor
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.reading import changed, completed_data, source_of
from batsim.scenario.settings import Schedule, Settings
from batsim.scenario.site import Scenario
from batsim.scenario.study_file import Study
from batsim.study.running.jobs import Job
from batsim.study.sweeps.columns import names_of, part_columns
from batsim.study.sweeps.model_version import model_version
from batsim.study.sweeps.points import Point, Points, points_of

MOST_SHARDS = 1_000_000
KEY_BYTES = 16
LEFT_OUT = (
    "question", "layouts", "simulation", "targets", "calibration",
    "prices", "present", "equipment", "room", "building", "supply", "standards",
)  # fmt: skip
"""Parts of a scenario on which no number depends, or of which only some does; that is added below."""
OF_LAYOUT_LEFT_OUT = ("owned", "fixed")
"""Parts of a layout on which no number depends; how many are owned of what can no longer be had is added below."""


class Case(NamedTuple):
    """A job and its key.

    A key is made of the scenario after the catalogue has filled it in (of its layouts only the one that is run), the
    changes that concern that layout, length, warm-up, seed, replication and the version of the model. The same key
    means the same numbers to the last bit.
    """

    key: bytes
    job: Job


class Shard(NamedTuple):
    """One part of several into which the cases are dealt, for machines that do not know of one another."""

    number: int
    of: int

    @classmethod
    def read(cls, text: str) -> "Shard":
        """Read such as `3/20`."""
        number, of = map(int, text.split("/")) if re.fullmatch(r"[0-9]{1,7}/[0-9]{1,7}", text) else (0, 0)
        rule = f"--shard needs a part of a whole, such as 3/20 (got {text})"
        require(1 <= number <= of <= MOST_SHARDS, rule, StudyError)
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
    def record(self) -> dict[str, Any]:
        """Everything that finds its cases again in a store, as plain data."""
        schedule, scenario = self.schedule, self.study.scenario
        lies_in = layouts_of(scenario, self.points.factors)
        return {
            "question": self.study.question,
            "scenario": scenario.site.name,
            "design": self.study.design._asdict(),
            "factors": [
                {"path": factor.path, "may_be": factor.text, "layout": lies_in[factor.path]}
                for factor in self.points.factors
            ],
            "layouts": {layout: base.hex() for layout, base in bases_of(scenario, schedule.layouts).items()},
            "names": list(names_of(scenario)),
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

    def cases(self, shard: Shard | None = None) -> list[Case]:
        """Cases of all points, each once though several points share it; of a shard every so-manyeth."""
        cases = list({case.key: case for point in self.points.all for case in cases_of(self.record, point)}.values())
        return cases if shard is None else cases[shard.number - 1 :: shard.of]


def agenda_of(study: Study, settings: Settings = Settings()) -> Agenda:
    """Work out what a study comes to, without running it; parameters as for `sweep`."""
    runs = study.runs
    of_study: dict[str, Any] = {
        "replications": runs.replications,
        "weeks": None if runs.length_min is None else runs.length_min / WEEK_MIN,
        "warm_up_weeks": None if runs.warm_up_min is None else runs.warm_up_min / WEEK_MIN,
        "seed": runs.seed,
        "confidence": runs.confidence_share,
    }
    open_settings = {name: value for name, value in of_study.items() if getattr(settings, name) is None}
    schedule = replace(settings, layouts=settings.layouts or study.layouts, **open_settings).schedule(study.scenario)
    return Agenda(study, schedule, points_of(study, schedule.seed))


def cases_of(record: dict[str, Any], point: Point) -> Iterator[Case]:
    """Cases of a point, layout by layout, from what a store keeps of its study."""
    lies_in = {factor["path"]: factor["layout"] for factor in record["factors"]}
    times = record["length_min"], record["warm_up_min"]
    for layout, base in record["layouts"].items():
        changes, base_key = changes_in(layout, point, lies_in), bytes.fromhex(base)
        for replication in range(record["replications"]):
            job = Job(layout, replication, record["seed"], *times, changes=changes, by_calendar=True)
            yield Case(key_of(base_key, job), job)


def layouts_of(scenario: Scenario, factors: Iterable[Factor]) -> dict[str, str | None]:
    """The layout that the path of each factor lies in; None where it concerns all of them."""
    source = source_of(scenario)
    return {factor.path: source.layout_of(factor.path) for factor in factors}


def changes_in(layout: str, point: Point, lies_in: dict[str, str | None]) -> str:
    """Changes of a point that concern a layout, as a job carries them."""
    own = {path: value for path, value in point.items() if lies_in[path] in (None, layout)}
    return _text(own) if own else ""


def restated(scenario: Scenario, changes: str) -> Scenario:
    """Make the changes that a job carries."""
    return changed(scenario, json.loads(changes))


def bases_of(scenario: Scenario, layouts: Iterable[str]) -> dict[str, bytes]:
    """Digest of the scenario as far as each layout needs it."""
    whole: dict[str, Any] = completed_data(scenario)
    waits, bases = scenario.targets.waits, {}
    for layout in layouts:
        part = {
            **{key: value for key, value in whole.items() if key not in LEFT_OUT},
            "layout": {key: value for key, value in whole["layouts"][layout].items() if key not in OF_LAYOUT_LEFT_OUT},
            "start_week": scenario.simulation.start_week,
            "waits": None if waits is None else waits.minutes,
            "model": model_version(),
            **_of_parts(scenario),
            **_no_more_than(scenario, layout),
        }
        bases[layout] = blake2b(_text(part).encode(), digest_size=KEY_BYTES).digest()
    return bases


def _of_parts(scenario: Scenario) -> dict[str, Any]:
    """What the columns on parts of a site rest on; nothing where no layout states areas."""
    columns = [column.name for column in part_columns(scenario)]
    waits = {name: each.waits.minutes for name, each in scenario.targets.groups.items() if each.waits is not None}
    return {"columns": columns, "group_waits": waits} if columns else {}


def _no_more_than(scenario: Scenario, layout: str) -> dict[str, Any]:
    """How many there are of what can no longer be had, as more are refused; nothing where nothing says so."""
    chargers = [(name, "") for name, charger in scenario.chargers.items() if charger.discontinued]
    lots = [
        (name, lot)
        for name, battery in scenario.batteries.items()
        for lot, stated in battery.lots.items()
        if not stated.can_grow
    ]
    kept = {each: scenario.kept(layout, *each) for each in (*chargers, *lots)}
    there = [[*each, number.number] for each, number in kept.items() if number is not None]
    return {"no_more_than": there} if there else {}


def key_of(base: bytes, job: Job) -> bytes:
    """Key of a job whose scenario and layout have this digest."""
    asked = f"{job.seed} {job.replication} {job.length_min!r} {job.warm_up_min!r} {job.layout}\n{job.changes}"
    return blake2b(asked.encode(), key=base, digest_size=KEY_BYTES).digest()


def _text(data: object) -> str:
    """Plain data as text that is the same for the same data."""
    return json.dumps(data, ensure_ascii=False, separators=(",", ":"))
