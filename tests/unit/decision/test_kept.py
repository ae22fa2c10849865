"""Runs that are kept: what is left of a run is enough for money and equipment, and what was run once is found again."""

import pickle
import signal
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import batsim
from batsim.decision.kept import SETTLING, Kept, flat, take_for_decision, unflat
from batsim.errors import StudyError
from batsim.measures.mean_week import QUARTERS
from batsim.measures.warmth import Hardship
from batsim.plan.draft import Draft, draft_of
from batsim.plan.evidence import AreaEvidence, Evidence, RunEvidence, take
from batsim.record.record import Record
from batsim.scenario.parts.week import Weeks
from batsim.scenario.settings import Schedule, Settings
from batsim.scenario.site import Scenario
from batsim.study.levers import AT_LEVEL, SPREAD, Lever
from batsim.study.running.counts import BATTERIES, CHARGERS, Counted, Counts, with_counts
from batsim.study.running.executors import Runner
from batsim.study.running.jobs import FAILED, REFUSED, Failure, Job, Results, Work, jobs_of, outcome_of
from batsim.study.running.replications import runs_of
from batsim.study.sweeps.export import export_store
from batsim.study.sweeps.model_version import model_version
from batsim.study.sweeps.store import Store, merge_stores

ROOT = Path(__file__).parents[3]
SCENARIOS = ROOT / "scenarios"
FILE = Path(__file__).parents[1] / "cases" / "size_small.yaml"
SMALL = batsim.read(FILE)
KESTREL, SALTMARSH = (batsim.read(SCENARIOS / f"{name}.yaml") for name in ("kestrel-lane", "saltmarsh-road"))
SHORT = Settings(weeks=0.05, warm_up_weeks=0.01, replications=3)
ROOM = "room"
KILLED = """
import os, signal, sys
import batsim
from batsim.decision.kept import Kept, take_for_decision
from batsim.scenario.settings import Settings
from batsim.study.running.executors import Runner
from batsim.study.running.jobs import jobs_of

scenario, store = batsim.read(sys.argv[1]), sys.argv[2]
jobs = jobs_of(Settings(weeks=0.05, warm_up_weeks=0.01, replications=3).schedule(scenario), "room")
runner = Runner(scenario, 1, take_for_decision)

def run(asked):
    done = runner.run(asked)
    if asked == jobs[2:]:
        os.kill(os.getpid(), signal.SIGKILL)
    return done

with Kept(run, scenario, ["room"], store) as kept:
    kept.run(jobs[:2])
    kept.run(jobs)
"""
"""Is killed when all three runs are done, and two of them are kept."""


def both(record: Record, scenario: Scenario) -> tuple[RunEvidence, RunEvidence]:
    """All that a plan takes from a record, and what a decision takes."""
    return take(record, scenario), take_for_decision(record, scenario)


def drafts(scenario: Scenario, layout: str, settings: Settings) -> list[Draft]:
    """Drafts of a layout by all that was taken from its runs, and by what a decision takes from the same."""
    schedule = replace(settings, layouts=[layout]).schedule(scenario)
    found: list[list[Evidence]] = [[], []]
    for part in (schedule, *schedule.seasons.values()):
        taken = [outcome_of(Work((scenario,), both), job) for job in jobs_of(part, layout)]
        for parts, runs in zip(found, zip(*taken, strict=True), strict=True):
            parts.append(Evidence(layout, runs_of(part, {layout: [run.results for run in runs]}), runs))
    return [draft_of(scenario, replace(parts[0], seasons=tuple(parts[1:]))) for parts in found]


def schedule_of(scenario: Scenario, settings: Settings = SHORT) -> Schedule:
    """A schedule of short runs."""
    return settings.schedule(scenario)


def counts(batteries: int = 8, *levers: Lever) -> Counts:
    """Counts of the small room."""
    return Counts(ROOM, ((Counted(BATTERIES, "plain"), batteries), (Counted(CHARGERS, "electronic_iuia"), 4)), levers)


def made_up(number: float = 1.0, **other: Any) -> RunEvidence:
    """What a run says that never was; names of groups and areas may be anything."""
    results = Results({"wait": number, "none": np.nan}, {}, {"a/b": {"wait": -0.0}}, {"50 %2F": {"wait": np.inf}}, {})
    went = {"50 %2F": Hardship(3, 1, np.inf, -np.inf, 0.1 + 0.2)}
    areas = {"": AreaEvidence(True, np.array([number]), went, {"50 %2F": np.nan}, 7.0)}
    evidence = RunEvidence(results, np.array([1.5, 0.1, number]), 5.0, 40.0, 6.0, np.zeros(0), {}, areas)
    return evidence._replace(**other)


class MadeUpRuns:
    """Runs jobs that nobody simulates, and notes them."""

    def __init__(self, outcome: RunEvidence | Failure | None = None) -> None:
        self.ran: list[Job] = []
        self.outcome = outcome

    def run(self, jobs: Sequence[Job]) -> list[RunEvidence | Failure]:
        """Outcomes that tell in which order they came."""
        done = len(self.ran)
        self.ran += jobs
        return [self.outcome or made_up(float(done + number)) for number, _ in enumerate(jobs)]


def never(jobs: Sequence[Job]) -> list[RunEvidence | Failure]:
    """Runs nothing."""
    pytest.fail(f"{len(jobs)} jobs are run again")


def found(store: Path, scenario: Scenario, jobs: Sequence[Job], layouts: Sequence[str] = (ROOM,)) -> int:
    """How many of some jobs are found in a store; the others are made up."""
    with Kept(MadeUpRuns().run, scenario, layouts, store) as kept:
        kept.run(jobs)
    return kept.found


def bits(evidence: RunEvidence) -> bytes:
    """All that is in it, to the last bit."""
    return pickle.dumps(evidence)


def same(one: RunEvidence | Failure, other: RunEvidence | Failure) -> bool:
    """Whether two runs say the same in the same order, to the last bit; kinds of numbers count."""
    assert isinstance(one, RunEvidence)
    assert isinstance(other, RunEvidence)
    return repr(one) == repr(other) and flat(one)[1].tobytes() == flat(other)[1].tobytes()


# --- what is taken ---


@pytest.mark.parametrize(
    ("scenario", "layout", "settings"),
    [
        (KESTREL, "side rollers", Settings(weeks=1, warm_up_weeks=1, replications=2)),
        (KESTREL, "side rollers", Settings(weeks=2, warm_up_weeks=0.3, replications=1)),
        (KESTREL, "in the truck", Settings(weeks=1.5, warm_up_weeks=0.5, replications=1)),
        (SALTMARSH, "each its own way", Settings(weeks=2, warm_up_weeks=0, replications=1)),
        (SALTMARSH, "today", Settings(weeks=1, warm_up_weeks=1, replications=2)),
    ],
)
def test_it_is_enough_for_money_and_equipment(scenario: Scenario, layout: str, settings: Settings) -> None:
    """The same lines, and the same air for the simulated gas; by hour of the week, by season and by area too."""
    full, slim = drafts(scenario, layout, settings)

    assert slim.equipment == full.equipment
    assert [line.what for line in slim.money.lines] == [line.what for line in full.money.lines]
    assert [line.basis for line in slim.money.lines] == [line.basis for line in full.money.lines]
    for one, other in zip(slim.money.lines, full.money.lines, strict=True):
        assert one.per_year == pytest.approx(other.per_year, rel=1e-9)
    assert slim.money.at_equal_work == pytest.approx(full.money.at_equal_work, rel=1e-9)
    assert [space.simulated_gas_m3_per_h for space in slim.ventilations] == pytest.approx(
        [space.simulated_gas_m3_per_h for space in full.ventilations], rel=1e-9
    )


def test_temperatures_are_checked_by_it_too() -> None:
    """All checks are as they were but those of strength, and of hydrogen in the air over time."""
    full, slim = drafts(KESTREL, "side rollers", Settings(weeks=1, warm_up_weeks=0, replications=1))
    left = [check for check in full.checks if check not in slim.checks]

    assert {check.name for check in left} == {"power of the work", "simulated hydrogen"}
    assert "temperature at the start of charges" in {check.name for check in slim.checks}


def test_it_is_slim() -> None:
    """A mean week of load, one quarter of gas for each area, and nothing of single exchanges and truck-shifts."""
    (job,) = jobs_of(Settings(weeks=3, warm_up_weeks=0.5, replications=1).schedule(SALTMARSH), "today")
    full, slim = outcome_of(Work((SALTMARSH,), both), job)

    assert (full.load_kw.size, slim.load_kw.size) == (3 * QUARTERS, QUARTERS)
    assert slim.load_kw[7] == pytest.approx(np.mean(full.load_kw[[7, 7 + QUARTERS, 7 + 2 * QUARTERS]]))
    assert {area.gas_m3_per_h.size for area in slim.areas.values()} == {1}
    assert (slim.waits_min.size, slim.shift_kw) == (0, {})
    assert full.waits_min.size > 100
    assert slim.results[:4] == full.results[:4]
    assert len(bits(slim)) < len(bits(full)) / 5


def test_gas_of_a_space_is_that_of_its_areas_at_the_same_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """The most of each area comes at another time; what charges in the truck is in another space."""
    quiet = made_up().areas[""]
    gas = {"a": (False, [1.0, 0.0, 4.0]), "b": (False, [5.0, 2.0, 3.0]), "c": (True, [0.0, 8.0, 9.5])}
    areas = {
        name: quiet._replace(in_truck=in_truck, gas_m3_per_h=np.array(course))
        for name, (in_truck, course) in gas.items()
    }
    evidence = made_up(areas=areas)
    monkeypatch.setattr("batsim.decision.kept.take", lambda *_: evidence)

    slim = take_for_decision(None, None)  # type: ignore[arg-type]  # nothing is taken from them

    assert [float(np.max(evidence.gas_m3_per_h(in_truck=in_truck))) for in_truck in (False, True)] == [7.0, 9.5]
    assert [slim.gas_m3_per_h(in_truck=in_truck).tolist() for in_truck in (False, True)] == [[7.0], [9.5]]


def test_lots_are_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither money nor equipment asks for them."""
    evidence = made_up(results=made_up().results._replace(lots={("plain", "old"): {"due": 3.0}}))
    monkeypatch.setattr("batsim.decision.kept.take", lambda *_: evidence)

    slim = take_for_decision(None, None)  # type: ignore[arg-type]  # nothing is taken from them

    assert slim.results == evidence.results._replace(lots={})


def test_other_processes_find_what_takes_it() -> None:
    """It is a function at the top of its module."""
    assert pickle.loads(pickle.dumps(take_for_decision)) is take_for_decision


# --- names and numbers ---


def test_names_tell_what_numbers_are() -> None:
    """What it is about comes first, the measure last."""
    names, values = flat(made_up(2.5))
    by_name = dict(zip(names, values.tolist(), strict=True))

    assert by_name["site/wait"] == 2.5
    assert by_name["groups/a%2Fb/wait"] == 0.0
    assert by_name["hardships//50 %252F/charges"] == 3.0
    assert (by_name["in_truck/"], by_name["attended_min_per_day/"]) == (1.0, 7.0)
    assert [by_name[f"load_kw/{number}"] for number in range(3)] == [1.5, 0.1, 2.5]
    assert by_name["days_per_week"] == 5.0
    assert len(by_name) == len(names)


@pytest.mark.parametrize(
    "evidence",
    [
        made_up(),
        made_up(areas={"/": made_up().areas[""]._replace(in_truck=False), "%25": made_up().areas[""]}),
        made_up(waits_min=np.array([3.0, np.nan]), shift_kw={"a/b": np.array([0.25])}),
        made_up(results=made_up().results._replace(lots={("b/1", "old"): {"due": 3.0}, ("b", "1/old"): {"due": 4.0}})),
        made_up(load_kw=np.arange(12.0)),
    ],
    ids=["plain", "areas", "waits and powers", "lots", "more than ten"],
)
def test_names_and_numbers_are_the_run_again(evidence: RunEvidence) -> None:
    """To the last bit, whatever things are called."""
    assert same(unflat(*flat(evidence)), evidence)


def test_a_simulated_run_is_the_same_again() -> None:
    """Of three areas, in two spaces, with all measures."""
    (job,) = jobs_of(Settings(weeks=0.2, warm_up_weeks=0, replications=1).schedule(SALTMARSH), "each its own way")
    slim = outcome_of(Work((SALTMARSH,), take_for_decision), job)

    again = unflat(*flat(slim))

    assert same(again, slim)
    assert [area.in_truck for area in again.areas.values()] == [False, False, True]


# --- the store ---


def test_what_was_run_is_found(tmp_path: Path) -> None:
    """With the same numbers, in the order that is asked for; only what is missing is run, and that once."""
    store, jobs = tmp_path / "a.store", jobs_of(schedule_of(SMALL), ROOM, changes=counts())
    with Runner(SMALL, 1, take_for_decision, with_counts) as runner:
        with Kept(runner.run, SMALL, [ROOM], store) as kept:
            first = kept.run(jobs[:1])
        with Kept(runner.run, SMALL, [ROOM], store) as kept:
            more = kept.run([jobs[2], jobs[1], jobs[0], jobs[2]])
            assert (kept.found, kept.asked) == (1, 3)
        fresh = runner.run(jobs)
    with Kept(never, SMALL, [ROOM], store) as kept:
        again = [*kept.run(jobs[:2]), *kept.run(jobs)]

    assert (kept.found, kept.asked) == (3, 3)
    assert more[0] is more[3]
    expected = [fresh[number] for number in (0, 2, 1, 0, 2, 0, 1, 0, 1, 2)]
    assert all(map(same, [*first, *more, *again], expected))


@pytest.mark.parametrize("stored", [False, True])
def test_nothing_is_run_twice(tmp_path: Path, stored: bool) -> None:
    """With a store or without one, also of layouts that stand in no file; failures are no exception."""
    runs, jobs = MadeUpRuns(Failure(REFUSED, "no way")), jobs_of(schedule_of(SMALL), ROOM)
    scenario = SMALL if stored else SMALL.with_layout("other", SMALL.layouts[ROOM])
    with Kept(runs.run, scenario, [ROOM], tmp_path / "a.store" if stored else None) as kept:
        once = kept.run(jobs[:2])
        again = kept.run(jobs)

    assert (runs.ran, kept.found, kept.asked) == (jobs, 0, 3)
    assert (once, again) == ([runs.outcome] * 2, [runs.outcome] * 3)
    assert [each.name for each in tmp_path.glob("*.store")] == ["a.store"] * stored


@pytest.mark.parametrize("kind", [REFUSED, FAILED])
def test_failures_are_not_kept(tmp_path: Path, kind: str) -> None:
    """They are handed on, and run again later; the others of the same call are kept."""
    store, jobs = tmp_path / "a.store", jobs_of(schedule_of(SMALL), ROOM)

    def run(asked: Sequence[Job]) -> list[RunEvidence | Failure]:
        return [Failure(kind, "no way") if job == jobs[1] else made_up() for job in asked]

    with Kept(run, SMALL, [ROOM], store) as kept:
        outcomes = kept.run(jobs)
    again = MadeUpRuns()
    with Kept(again.run, SMALL, [ROOM], store) as kept:
        kept.run(jobs)

    assert outcomes[1] == Failure(kind, "no way")
    assert (again.ran, kept.found) == ([jobs[1]], 2)


TARGETS = {"targets": {"waits": "95 % under 5 min", "groups": {"trucks": {"waits": "95 % under 9 min"}}}}


@pytest.mark.parametrize(
    ("change", "kept"),
    [
        ({"prices.attendant": "44 EUR/h"}, True),
        ({"targets.downtime_per_truck_shift": "at most 1 min"}, True),
        ({"targets.groups.trucks.waits": "80 % under 9 min"}, True),
        ({"simulation.replications": 4}, True),
        ({"layouts.room.stations": 3}, False),
        ({"trucks[0].count": 5}, False),
        ({"targets.waits": "95 % under 6 min"}, False),
        ({"targets.groups.trucks.waits": "95 % under 7 min"}, False),
        ({"figures": {"lever.spread": "11 min"}}, False),
    ],
)
def test_what_a_run_rests_on(tmp_path: Path, change: dict[str, object], kept: bool) -> None:
    """Prices, what is asked of the room, and how often it is simulated may change; the rest may not."""
    scenario, store = batsim.changed(SMALL, TARGETS), tmp_path / "a.store"
    jobs = jobs_of(schedule_of(scenario), ROOM, changes=counts(8, Lever(SPREAD, "trucks")))
    found(store, scenario, jobs)

    assert found(store, batsim.changed(scenario, change), jobs) == (3 if kept else 0)


def test_figures_given_in_memory_count(tmp_path: Path) -> None:
    """As those that the file states anew."""
    store, jobs = tmp_path / "a.store", jobs_of(schedule_of(SMALL), ROOM)
    found(store, SMALL, jobs)
    stated = batsim.changed(SMALL, {"figures": {"lever.spread": "11 min"}}).figures

    assert found(store, SMALL.with_figures(stated), jobs) == 0


JOB = Job(ROOM, 0, 3, 600.0, 60.0, changes=counts())


OTHERS = (
    JOB._replace(replication=1),
    JOB._replace(seed=4),
    JOB._replace(length_min=900.0),
    JOB._replace(warm_up_min=30.0),
    JOB._replace(season=Weeks(47, 51)),
    JOB._replace(season=None, by_calendar=True),
    JOB._replace(changes=""),
    JOB._replace(changes=counts(9)),
    JOB._replace(changes=counts(8, Lever(AT_LEVEL, "trucks"))),
    JOB._replace(changes=counts(8, Lever(SPREAD, "trucks", 20.0))),
    JOB._replace(changes=counts(8, Lever(SPREAD, "trucks", 21.0))),
    JOB._replace(changes=counts(8, Lever(SPREAD, "trucks", 20.0, "all day"))),
    JOB._replace(changes=counts()._replace(numbers=((Counted(BATTERIES, "plain"), 8),))),
    JOB._replace(changes=counts()._replace(numbers=((Counted(BATTERIES, "plain", "old"), 8),))),
    JOB._replace(changes=counts()._replace(numbers=((Counted(BATTERIES, "plain", "", "old"), 8),))),
)
"""What differs from it, and from one another."""


def test_jobs_are_told_apart(tmp_path: Path) -> None:
    """By everything that they may differ in: none is taken for another, and each is found."""
    store, runs = tmp_path / "a.store", MadeUpRuns()
    with Kept(runs.run, SMALL, [ROOM], store) as kept:
        outcomes = kept.run([JOB, *OTHERS])
    with Kept(never, SMALL, [ROOM], store) as kept:
        again = kept.run([*OTHERS, JOB])

    assert runs.ran == [JOB, *OTHERS]
    assert all(map(same, again, [*outcomes[1:], outcomes[0]]))


def test_the_same_count_in_another_form_is_the_same(tmp_path: Path) -> None:
    """As numbers come out of a table."""
    store, other = tmp_path / "a.store", counts(np.int64(8))  # type: ignore[arg-type]  # that is the question
    found(store, SMALL, [JOB])

    assert found(store, SMALL, [JOB._replace(changes=other)]) == 1


def test_other_layouts_do_not_count(tmp_path: Path) -> None:
    """A run is found whichever layouts are asked for, and whatever the others state."""
    store, layout = tmp_path / "a.store", "side rollers"
    job = Job(layout, 0, 1, 600.0, 60.0)
    found(store, KESTREL.with_layouts([layout]), [job], [layout])

    assert found(store, KESTREL, [job], list(KESTREL.layouts)) == 1
    others = batsim.changed(KESTREL, {"layouts.hoist.stations": 3})
    assert found(store, others, [job], [layout]) == 1


def test_other_code_finds_no_old_numbers(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Also of what lies outside the model."""
    store = tmp_path / "a.store"
    found(store, SMALL, [JOB])
    monkeypatch.setattr("batsim.decision.kept.model_version", lambda *_: "0.1.0+another")

    assert found(store, SMALL, [JOB]) == 0


def test_what_settles_kept_numbers_is_there() -> None:
    """Each part of the package that is named, and each has a part in the version, which follows that of the model."""
    package = Path(batsim.__file__).parent

    assert [part for part in SETTLING if not (package / part).exists()] == []
    assert model_version(*SETTLING).startswith(f"{model_version()}+")
    assert len({model_version(*SETTLING), *(model_version(part) for part in SETTLING)}) == len(SETTLING) + 1


def test_layouts_made_in_memory_cannot_be_kept(tmp_path: Path) -> None:
    """They stand in no file; no store is made."""
    made = SMALL.with_layout(ROOM, SMALL.layouts[ROOM].with_counts(stations=3))
    with pytest.raises(StudyError) as caught:
        Kept(never, made, [ROOM], tmp_path / "a.store")

    assert str(caught.value) == (
        f"{tmp_path / 'a.store'}: only runs of a scenario as its file states it can be kept; read it again, or keep "
        f"nothing ({FILE}: its layouts were changed in memory; change paths first, then layouts)"
    )
    assert list(tmp_path.iterdir()) == []


def test_what_was_finished_outlasts_a_killed_process(tmp_path: Path) -> None:
    """The rest is run; the numbers are those of a process that nobody killed."""
    store = tmp_path / "a.store"
    done = subprocess.run([sys.executable, "-c", KILLED, str(FILE), str(store)], cwd=ROOT, check=False)
    assert done.returncode == -signal.SIGKILL

    jobs = jobs_of(schedule_of(SMALL), ROOM)
    rest: list[Job] = []
    with Runner(SMALL, 1, take_for_decision) as runner:

        def run(asked: Sequence[Job]) -> list[RunEvidence | Failure]:
            rest.extend(asked)
            return runner.run(asked)

        with Kept(run, SMALL, [ROOM], store) as kept:
            outcomes = kept.run(jobs)
        assert all(map(same, outcomes, runner.run(jobs)))

    assert (kept.found, rest) == (2, jobs[2:])


def test_stores_are_put_together(tmp_path: Path) -> None:
    """What either has is found; their rows have the same names."""
    jobs = jobs_of(schedule_of(SMALL), ROOM)
    one, other, whole = (tmp_path / f"{name}.store" for name in ("one", "other", "whole"))
    found(one, SMALL, jobs[:2])
    found(other, SMALL, jobs[2:])

    assert merge_stores(whole, [one, other]) == {str(one): 2, str(other): 1}
    with Kept(never, SMALL, [ROOM], whole) as kept:
        kept.run(jobs)
    with Store.open(whole, write=False) as store:
        assert store._connection.execute("SELECT count(*) FROM names").fetchone() == (1,)


def test_a_store_of_decisions_alone_is_not_exported(tmp_path: Path) -> None:
    """It holds no study; that is said, and no table is written."""
    store = tmp_path / "a.store"
    found(store, SMALL, [JOB])
    with pytest.raises(StudyError) as caught:
        export_store(store, tmp_path / "a.csv")

    assert str(caught.value) == f"{store}: holds no study"
    assert not (tmp_path / "a.csv").exists()
