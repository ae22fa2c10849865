"""Runs that are kept: a slim form of what a run says, that form as plain numbers, and the store in which it is found.

What was simulated once is not simulated again, by a decision that goes on where another was killed, nor by a plan that
follows it.
"""

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from functools import lru_cache
from hashlib import blake2b
from pathlib import Path
from typing import Any

import numpy as np

from batsim.decision.trials import Run
from batsim.errors import ScenarioError, StudyError
from batsim.measures.mean_week import QUARTERS
from batsim.measures.warmth import Hardship
from batsim.measures.windows import Floats
from batsim.plan.evidence import AreaEvidence, RunEvidence, take
from batsim.record.record import Record
from batsim.scenario.site import Scenario
from batsim.study.running.counts import Counts
from batsim.study.running.jobs import Failure, Job, Results
from batsim.study.sweeps.agenda import KEY_BYTES, bases_of, key_of
from batsim.study.sweeps.model_version import model_version
from batsim.study.sweeps.store import CaseRow, Names, Store

SETTLING = (
    "record", "study/levers.py", "study/levers.csv", "study/running/counts.py", "study/running/jobs.py",
    "plan/evidence.py", "decision/kept.py",
)  # fmt: skip
"""Parts of the package, beside those of the model, on which a number that is kept may depend."""
NUMBERS = "<f8"
"""Numbers as a store has them: of 8 bytes, the least byte first."""
BETWEEN, ESCAPED = "/", {"%": "%25", "/": "%2F"}
"""What stands between the steps of a name, and what stands in a step for it and for what begins that."""
NOT_KEPT = "only runs of a scenario as its file states it can be kept; read it again, or keep nothing"

Steps = tuple[str, ...]
"""A name, step by step."""
Tree = dict[str, Any]


def take_for_decision(record: Record, scenario: Scenario) -> RunEvidence:
    """Take from a record what the equipment list and the cost of a year need, and no more.

    As `batsim.plan.evidence.take`, but without lots, waits of exchanges and powers of truck-shifts; the load is that
    of one mean week where whole weeks were measured; of the gas of each area there is the quarter of an hour in which
    its space has most. So checks of hydrogen in the air and of strength say nothing here; all others hold.
    """
    evidence = take(record, scenario)
    return evidence._replace(
        results=evidence.results._replace(lots={}),
        load_kw=_mean_week(evidence.load_kw),
        waits_min=np.zeros(0),
        shift_kw={},
        areas={name: area._replace(gas_m3_per_h=_most_gas(evidence, area)) for name, area in evidence.areas.items()},
    )


def _mean_week(load_kw: Floats) -> Floats:
    """Mean of whole weeks, which begins where they begin; what is not whole weeks stays as it is. [kW]"""
    weeks, more = divmod(load_kw.size, QUARTERS)
    if more or not weeks:
        return load_kw
    mean: Floats = load_kw.reshape(weeks, QUARTERS).mean(axis=0)
    return mean


def _most_gas(evidence: RunEvidence, area: AreaEvidence) -> Floats:
    """Gas of an area in the quarter of an hour in which all areas of its space have most together. [m3/h]"""
    most = int(np.argmax(evidence.gas_m3_per_h(in_truck=area.in_truck)))
    return area.gas_m3_per_h[most : most + 1].copy()


def flat(evidence: RunEvidence) -> tuple[Names, Floats]:
    """What a run says as names and a number for each; `unflat` makes the same of them, to the last bit.

    A name is what it is about, then whose it is, then the measure: `groups/docks/downtime_min_per_truck_shift`,
    `hardships/yard/lead 48 V/charges`, `load_kw/0`. The one area of a layout without areas has no name. What is empty
    has no number: a truck group without truck-shifts is not among the powers again.
    """
    found = list(_numbers(_tree_of(evidence), ()))
    return tuple(_name(steps) for steps, _ in found), np.array([number for _, number in found], NUMBERS)


def unflat(names: Names, values: Floats) -> RunEvidence:
    """What a run says, from what `flat` made of it."""
    tree = _tree(names, values)
    part = {name: tree.get(name, {}) for name in (*Results._fields, *RunEvidence._fields, *AreaEvidence._fields)}
    lots = {(battery, lot): of_lot for battery, lots in part["lots"].items() for lot, of_lot in lots.items()}
    return RunEvidence(
        results=Results(part["site"], part["areas"], part["groups"], part["battery_types"], lots),
        load_kw=_array(part["load_kw"]),
        days_per_week=part["days_per_week"],
        truck_hours_per_week=part["truck_hours_per_week"],
        truck_shifts_per_week=part["truck_shifts_per_week"],
        waits_min=_array(part["waits_min"]),
        shift_kw={group: _array(powers) for group, powers in part["shift_kw"].items()},
        areas={name: _area(part, name) for name in part["in_truck"]},
    )


def _tree_of(evidence: RunEvidence) -> Tree:
    """What a run says by what it is about; each field of an area is a branch with all areas."""
    apart = ("results", "areas")
    return {
        **evidence.results._asdict(),
        **{name: value for name, value in evidence._asdict().items() if name not in apart},
        **{
            name: {area: getattr(of_area, name) for area, of_area in evidence.areas.items()}
            for name in AreaEvidence._fields
        },
    }


def _numbers(found: object, steps: Steps) -> Iterator[tuple[Steps, float]]:
    """Numbers of a branch, each with the steps to it."""
    if isinstance(found, Hardship):
        found = found._asdict()
    elif isinstance(found, np.ndarray):
        found = dict(zip(map(str, range(found.size)), found.tolist(), strict=True))
    if isinstance(found, Mapping):
        for name, branch in found.items():
            yield from _numbers(branch, (*steps, *((name,) if isinstance(name, str) else name)))
    else:
        yield steps, float(found)  # type: ignore[arg-type]  # leaves are numbers


def _name(steps: Steps) -> str:
    """One name for some steps, which may have any character in them."""
    return BETWEEN.join(map(_escaped, steps))


def _escaped(step: str) -> str:
    """A step as it stands in a name."""
    for character, escaped in ESCAPED.items():
        step = step.replace(character, escaped)
    return step


@lru_cache(maxsize=64)
def _steps(names: Names) -> tuple[Steps, ...]:
    """Steps of each name; all rows of a layout have the same names."""
    return tuple(tuple(map(_step, name.split(BETWEEN))) for name in names)


def _step(text: str) -> str:
    """A step as it was before it was put into a name."""
    for character, escaped in reversed(ESCAPED.items()):
        text = text.replace(escaped, character)
    return text


def _tree(names: Names, values: Floats) -> Tree:
    """Numbers as branches and leaves again."""
    tree: Tree = {}
    for steps, value in zip(_steps(names), values.tolist(), strict=True):
        branch = tree
        for step in steps[:-1]:
            branch = branch.setdefault(step, {})
        branch[steps[-1]] = value
    return tree


def _array(numbered: Mapping[str, float]) -> Floats:
    """Numbers in a row, in their order."""
    return np.array(list(numbered.values()), dtype=np.float64)


def _area(part: Tree, name: str) -> AreaEvidence:
    """What is kept of an area."""
    return AreaEvidence(
        in_truck=bool(part["in_truck"][name]),
        gas_m3_per_h=_array(part["gas_m3_per_h"].get(name, {})),
        hardships={
            battery: Hardship(**{**went, "charges": int(went["charges"]), "outside": int(went["outside"])})
            for battery, went in part["hardships"].get(name, {}).items()
        },
        lives=part["lives"].get(name, {}),
        attended_min_per_day=part["attended_min_per_day"][name],
    )


class Kept(ExitStack):
    """Runs jobs that were not run before, and finds the others in a store; closed at the end of a `with`.

    A run is found again by the scenario as far as its layout needs it, what the job changes, and the code that makes
    the numbers. Prices, targets but for their minutes of waiting, and the survey may be stated otherwise. Whether what
    a job changes is allowed is not asked of a run that is found.

    Parameters
    ----------
    run
        Runs what is missing; it takes what `take_for_decision` takes.
    scenario
        The one that the jobs run.
    layouts
        Layouts that they may name.
    store
        File of the store, made if it is not there; None keeps nothing.

    Raises
    ------
    StudyError
        When the scenario was changed in memory since it was read, or the store cannot be used.
    """

    def __init__(self, run: Run, scenario: Scenario, layouts: Iterable[str], store: Path | str | None) -> None:
        super().__init__()
        self._run = run
        self._bases = {} if store is None else _bases(scenario, layouts, store)
        self._store = None if store is None else Store.open(store)
        if self._store is not None:
            self.callback(self._store.close)
        self._remembered: dict[Job, RunEvidence | Failure] = {}
        self.found = 0
        """Runs that were found in the store."""
        self.asked = 0
        """Different runs that were asked for, found or simulated."""

    def run(self, jobs: Sequence[Job]) -> list[RunEvidence | Failure]:
        """Return an outcome for each job, in their order; what had to be run is in the store then, failures are not."""
        new = [job for job in dict.fromkeys(jobs) if job not in self._remembered]
        self.asked += len(new)
        self._remembered |= dict(zip(new, self._found_or_run(new) if new else (), strict=True))
        return [self._remembered[job] for job in jobs]

    def _found_or_run(self, jobs: Sequence[Job]) -> list[RunEvidence | Failure]:
        """Outcomes of jobs that nobody asked for before."""
        if self._store is None:
            return self._run(jobs)
        keys = [key_of(self._bases[job.layout], _keyed(job)) for job in jobs]
        known: dict[bytes, RunEvidence | Failure] = {**_read(self._store, set(keys))}
        self.found += sum(key in known for key in keys)
        missing = {key: job for key, job in zip(keys, jobs, strict=True) if key not in known}
        if missing:
            ran = dict(zip(missing, self._run(list(missing.values())), strict=True))
            self._add((key, missing[key], each) for key, each in ran.items() if isinstance(each, RunEvidence))
            known |= ran
        return [known[key] for key in keys]

    def _add(self, runs: Iterable[tuple[bytes, Job, RunEvidence]]) -> None:
        """Keep what runs say: of each layout all or nothing."""
        assert self._store is not None  # asked before
        rows: dict[Names, list[CaseRow]] = {}
        for key, job, evidence in runs:
            names, values = flat(evidence)
            row = CaseRow(key, job.layout, str(_keyed(job).changes), job.seed, job.replication, values.tobytes())
            rows.setdefault(names, []).append(row)
        for names, of_names in rows.items():
            self._store.add(names, of_names)


def _read(store: Store, keys: Iterable[bytes]) -> dict[bytes, RunEvidence]:
    """What runs say that a store has, by key."""
    found = store.named_measures(keys)
    return {key: unflat(names, np.frombuffer(measures, NUMBERS)) for key, (names, measures) in found.items()}


def _bases(scenario: Scenario, layouts: Iterable[str], store: Path | str) -> dict[str, bytes]:
    """Digest of all on which the runs of each layout rest, the changes of a job left out; other layouts do not count.

    Raises
    ------
    StudyError
        When what the scenario says stands in no file.
    """
    figures = {name: figure.value for name, figure in sorted(scenario.figures.stated.items())}
    waits = {name: of.waits.minutes for name, of in scenario.targets.groups.items() if of.waits is not None}
    beside = _text([sorted(waits.items()), figures, model_version(*SETTLING)]).encode()
    bases = {}
    for layout in layouts:
        try:
            of_layout = bases_of(scenario.with_layouts([layout]), [layout])[layout]
        except ScenarioError as error:
            rules = "; ".join(problem.rule for problem in error.problems)
            msg = f"{store}: {NOT_KEPT} ({scenario.file}: {rules})"
            raise StudyError(msg) from error
        bases[layout] = blake2b(beside, key=of_layout, digest_size=KEY_BYTES).digest()
    return bases


def _keyed(job: Job) -> Job:
    """A job whose changes are a text with all that a key is to tell apart beside its times and numbers."""
    counts, changes = job.changes, {}
    if counts:
        assert isinstance(counts, Counts)  # runs of a decision have no other changes
        numbers = [(*counted, float(number)) for counted, number in counts.numbers]
        changes = {"layout": counts.layout, "numbers": numbers, "levers": counts.levers}
    return job._replace(changes=_text({**changes, "season": job.season, "by_calendar": job.by_calendar}))


def _text(data: object) -> str:
    """Plain data as text that is the same for the same data."""
    return json.dumps(data, ensure_ascii=False, separators=(",", ":"))
