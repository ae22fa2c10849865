"""Jobs on engines: order, sizes of chunks, what is done with lost workers and with what cannot be sent back."""

import os
import pickle
import signal
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import BrokenExecutor, Executor, Future
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

import batsim
from batsim.errors import ScenarioError, SimulationError, StudyError
from batsim.scenario.settings import Settings
from batsim.study.running import executors, jobs
from batsim.study.running.engines import quiet_start
from batsim.study.running.executors import CHUNK_S, TRIED, Runner, outcomes, run_jobs
from batsim.study.running.jobs import FAILED, LOST, REFUSED, Failure, Job, Parcel, Work, measures_of, run_chunk
from batsim.study.sweeps.agenda import restated
from tests.behaviour.sweeps import TWO_ROOMS, importable_takes, rooms

SICK = 5
"""Replication on which some takes come to grief."""
LEAST_S = 0.25
"""Work that a chunk must have for handing over to cost little. [s]"""
LOST_MESSAGE = "its worker was lost 3 times, each time with this job alone; it may need too much memory"
SCRIPT = """
from batsim.study.running.executors import run_jobs
from batsim.study.running.jobs import Job, measures_of
import batsim, os
jobs = [Job("north", number, 1, 500.0, 0.0) for number in range(4)]
found = run_jobs([batsim.read({file!r})], jobs, batsim.Settings(workers=2), take=measures_of)
print("once", len(found), sorted(found[0])[0])
"""


@pytest.fixture(scope="module")
def takes() -> Iterator[ModuleType]:
    """Functions that other processes find too."""
    with importable_takes() as found:
        yield found


def short(count: int = 8) -> list[Job]:
    """Jobs of a few hours."""
    return [Job("north", number, 1, 500.0, 0.0) for number in range(count)]


def work(take: Any = measures_of) -> Work:
    """What such jobs have in common."""
    return Work((rooms(),), take)


class Inline(Executor):
    """An executor that does everything at once, and says that each job took so long."""

    def __init__(self, each_s: float, sizes: list[int]) -> None:
        self.each_s, self.sizes = each_s, sizes

    def submit(self, _function: Any, _parcel: Any, chunk: Any, /, *_: Any, **__: Any) -> Future[Any]:
        """Answer each job with its replication."""
        self.sizes.append(len(chunk))
        future: Future[Any] = Future()
        future.set_result((self.each_s * len(chunk), [job.replication for job in chunk]))
        return future


class Bench:
    """An engine without processes; some of its workers are lost when they should be."""

    def __init__(
        self,
        width: int = 2,
        each_s: float = 0.01,
        sick: tuple[int, ...] = (),
        slow: tuple[int, ...] = (),
        broken: int = 0,
    ) -> None:
        self.width, self.each_s, self.sick, self.slow, self.broken = width, each_s, sick, slow, broken
        self.sizes: list[int] = []
        self.opened: list[Inline] = []
        self.closed: list[bool] = []
        self.alone: list[list[int]] = []

    def open(self) -> Executor:
        """Start again."""
        bench = self

        class Some(Inline):
            def submit(self, function: Any, parcel: Any, chunk: Any, /, *rest: Any, **more: Any) -> Future[Any]:
                if bench.broken and len(bench.sizes) + 1 == bench.broken:
                    bench.broken = 0
                    raise BrokenExecutor
                future = super().submit(function, parcel, chunk, *rest, **more)
                if any(job.replication in bench.sick for job in chunk):
                    future = Future()
                    future.set_exception(BrokenExecutor())
                return Future() if any(job.replication in bench.slow for job in chunk) else future

        self.opened.append(Some(self.each_s, self.sizes))
        return self.opened[-1]

    def close(self, executor: Executor, *, stop: bool) -> None:
        """Write down how."""
        assert executor is self.opened[-1]
        self.closed.append(stop)

    def apart(self, _: Parcel, chunk: list[Job]) -> list[Any] | None:
        """Run a chunk alone."""
        self.alone.append([job.replication for job in chunk])
        return None if any(job.replication in self.sick for job in chunk) else [job.replication for job in chunk]


def on(bench: Bench, count: int) -> Iterator[tuple[int, Any]]:
    """Outcomes of jobs on such an engine."""
    with executors._Hands(bench, Parcel(b"", b"")) as hands:
        yield from hands.outcomes(short(count), range(count))


# --- order and results ---


def test_results_stand_in_the_order_of_the_jobs(takes: ModuleType) -> None:
    """In one process and in two, with progress after each."""
    for workers in (1, 2, None):
        told: list[tuple[int, int]] = []
        found = run_jobs(
            [rooms()],
            short(),
            Settings(workers=workers, progress=lambda *each, told=told: told.append(each)),
            take=takes.number,
        )
        assert found == list(range(8))
        assert told == [(number, 8) for number in range(1, 9)]


def test_one_worker_stays_in_this_process_and_two_do_not(takes: ModuleType) -> None:
    """Told by the number of the process."""
    alone = dict(outcomes(work(takes.process), short(), workers=1))
    apart = dict(outcomes(work(takes.process), short(), workers=2))
    with Runner(rooms(), 1, takes.process) as one, Runner(rooms(), 2, takes.process) as two:
        kept = [[one.run(short()), one.run(short())], [two.run(short()), two.run(short())]]

    assert {process for _, process in alone.values()} == {os.getpid()}
    assert os.getpid() not in {process for _, process in apart.values()}
    assert {number: each[0] for number, each in apart.items()} == {number: number for number in range(8)}
    assert {process for run in kept[0] for _, process in run} == {os.getpid()}
    started = [{process for _, process in run} for run in kept[1]]
    assert len(started[0] | started[1]) <= 2  # they were started once
    assert os.getpid() not in started[0] | started[1]
    assert all([number for number, _ in run] == list(range(8)) for runs in kept for run in runs)


def test_all_measures() -> None:
    """The same to the last bit, whoever ran it."""
    alone, both = (run_jobs([rooms()], short(4), Settings(workers=count), take=measures_of) for count in (1, 2))
    with Runner(rooms(), 2) as runner:
        again = runner.run(short(4))

    assert list(map(repr, alone)) == list(map(repr, both)) == list(map(repr, again))
    assert len({each["downtime_min_per_truck_shift"] for each in alone}) > 1


def test_results_that_come_in_another_order() -> None:
    """Here the last are done first."""

    def backwards(*_: Any, **__: Any) -> Iterator[tuple[int, Any]]:
        yield from ((number, f"job {number}") for number in range(7, -1, -1))

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(executors, "outcomes", backwards)
        assert run_jobs([rooms()], short(), take=measures_of) == [f"job {number}" for number in range(8)]


@pytest.mark.parametrize("workers", [1, 2, None])
def test_no_jobs(workers: int | None) -> None:
    """No results."""
    assert list(outcomes(work(), [], workers=workers)) == []
    assert run_jobs([rooms()], [], Settings(workers=workers), take=measures_of) == []
    with Runner(rooms(), workers) as runner:
        assert runner.run([]) == []


@pytest.mark.parametrize("workers", [0, -1])
def test_workers_that_are_none(workers: int) -> None:
    """Are refused before anything runs, wherever they are asked for."""
    message = f"--workers must be at least 1 (got {workers})"
    asked = [
        lambda: list(outcomes(work(), short(), workers=workers)),
        lambda: Runner(rooms(), workers),
        lambda: batsim.run(rooms(), batsim.Settings(replications=2, workers=workers)),
        lambda: batsim.sweep(rooms(), batsim.Settings(workers=workers), vary={"layouts.north.batteries": [14, 16]}),
    ]
    for each in asked:
        with pytest.raises(StudyError) as caught:
            each()
        assert str(caught.value) == message


def test_a_script_without_a_guard_runs_once() -> None:
    """Also from standard input; its processes do not run it again."""
    script = SCRIPT.format(file=str(TWO_ROOMS))
    done = subprocess.run([sys.executable, "-"], input=script, capture_output=True, text=True, check=False)

    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("once 4 ")
    assert done.stdout.count("\n") == 1


def test_starting_processes_leaves_this_one_as_it_was() -> None:
    """Its main module, and what Ctrl-C does to it; also when that goes wrong."""
    main, mask = sys.modules["__main__"], signal.pthread_sigmask(signal.SIG_BLOCK, [])
    seen: list[bool] = []

    def start() -> None:
        with quiet_start():
            seen.append(sys.modules["__main__"] is main)
            seen.append(signal.SIGINT in signal.pthread_sigmask(signal.SIG_BLOCK, []))
            raise LookupError

    with pytest.raises(LookupError):
        start()

    assert seen == [False, True]
    assert sys.modules["__main__"] is main
    assert signal.pthread_sigmask(signal.SIG_BLOCK, []) == mask


# --- here or in processes ---


def test_short_work_stays_here(takes: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    """Processes would take longer to start than the work takes."""
    monkeypatch.setattr(executors, "cores", lambda: 4)
    monkeypatch.setattr(executors, "POOL_PAYS_S", 1000.0)
    monkeypatch.setattr(executors, "Processes", lambda _: pytest.fail("started processes"))

    found = list(outcomes(work(takes.number), short(20)))

    # Some that are spread over all come first: they tell how long the rest will take.
    assert [number for number, _ in found[: TRIED + 2]] == [*range(0, 20, 2)]
    assert dict(found) == {number: number for number in range(20)}


def test_one_core_needs_no_estimate(takes: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    """One after the other."""
    monkeypatch.setattr(executors, "cores", lambda: 1)
    monkeypatch.setattr(executors, "POOL_PAYS_S", 0.0)

    assert list(outcomes(work(takes.number), short())) == [(number, number) for number in range(8)]


def test_long_work_goes_to_processes(monkeypatch: pytest.MonkeyPatch, takes: ModuleType) -> None:
    """After two jobs; chunks are of a good size from the first, as it is known how long a job takes."""
    bench = Bench(each_s=0.02)
    monkeypatch.setattr(executors, "cores", lambda: 2)
    monkeypatch.setattr(executors, "POOL_PAYS_S", 0.0)
    monkeypatch.setattr(executors, "Processes", lambda _: bench)

    found = list(outcomes(work(takes.number), short(2000)))

    assert [number for number, _ in found[:2]] == [0, 250]
    assert bench.sizes[0] > 1
    assert sum(bench.sizes) == 1998
    assert dict(found) == {number: number for number in range(2000)}


# --- chunks ---


@pytest.mark.parametrize("width", [1, 2, 16])
def test_a_chunk_is_worth_its_hand_over(width: int) -> None:
    """At least a quarter of a second of work, however long a job takes, unless a single one takes longer."""
    for each_s in (10.0 ** (power / 50.0) for power in range(-250, 100)):
        size = executors._size(each_s, 10**9, width)
        assert size == max(1, round(CHUNK_S / each_s))
        assert size * each_s >= LEAST_S
        assert size == 1 or size * each_s <= 2.0 * CHUNK_S


def test_the_first_chunks_are_single_and_the_last_are_small() -> None:
    """Until it is known how long a job takes; and so that all workers end together."""
    assert executors._size(0.0, 10_000, 4) == 1
    assert [executors._size(0.01, left, 4) for left in (1000, 320, 160, 17, 8, 1)] == [40, 40, 20, 3, 1, 1]


def test_chunks_of_a_long_run() -> None:
    """The jobs of 10 ms are handed out by the forty, but for the first four and the tail."""
    bench = Bench(width=2, each_s=0.01)
    found = list(on(bench, 3000))

    assert sorted(found) == [(number, number) for number in range(3000)]
    assert bench.sizes[:4] == [1] * 4
    cut = next(number for number, size in enumerate(bench.sizes) if number > 3 and size < 40)
    assert bench.sizes[4:cut] == [40] * (cut - 4)
    assert sum(bench.sizes[:cut]) > 2800
    assert all(later <= sooner for sooner, later in zip(bench.sizes[cut:], bench.sizes[cut + 1 :], strict=False))
    assert bench.closed == [False]


def test_chunks_follow_the_newest_ones() -> None:
    """When jobs become ten times as long, chunks become smaller."""
    bench = Bench(width=1, each_s=0.01)
    results = on(bench, 5000)
    for number, _ in results:
        if number == 1000:
            bench.opened[0].each_s = 0.1
        if number == 3000:
            break
    results.close()  # type: ignore[attr-defined]

    assert max(bench.sizes) == 40
    assert bench.sizes[-1] == 4
    assert bench.closed == [True]  # nobody waits for what is still at work


# --- lost workers ---


def test_a_job_that_kills_its_worker_is_blamed_alone(takes: ModuleType) -> None:
    """Those that were with it are run again and come out as ever; once with many, once with the same processes."""
    found = dict(outcomes(work(takes.killed), short(), workers=2))
    with Runner(rooms(), 2, takes.killed) as runner:
        first, second = runner.run(short()[SICK - 1 :]), runner.run(short(2))

    assert found.pop(SICK) == Failure(LOST, LOST_MESSAGE)
    assert found == {number: number for number in range(8) if number != SICK}
    assert first == [SICK - 1, Failure(LOST, LOST_MESSAGE), SICK + 1, SICK + 2]
    assert second == [0, 1]


def test_a_chunk_that_was_lost_is_run_apart() -> None:
    """Whole, then job by job; the one that is lost each time is blamed after three, and the rest goes on."""
    bench = Bench(width=1, each_s=0.1, sick=(50,))
    found = dict(on(bench, 200))

    assert found.pop(50) == Failure(LOST, LOST_MESSAGE)
    assert found == {number: number for number in range(200) if number != 50}
    chunk = next(each for each in bench.alone if 50 in each)
    assert len(chunk) == 4
    assert [each for each in bench.alone if 50 in each] == [chunk, *[[50]] * 3]
    assert [each for each in bench.alone if len(each) == 1 and each != [50]] == [[n] for n in chunk if n != 50]
    assert bench.closed == [True, False]
    assert len(bench.opened) == 2


def test_workers_that_are_gone_before_a_chunk_is_handed_out() -> None:
    """The chunk and those in flight are run apart, and new workers are started."""
    bench = Bench(width=2, broken=10)
    found = list(on(bench, 500))

    assert sorted(found) == [(number, number) for number in range(500)]
    assert len(bench.opened) == 2
    assert bench.closed == [True, False]
    assert 1 <= len(bench.alone) <= 4


def test_what_was_at_work_when_a_worker_was_lost() -> None:
    """Is run apart too, though nobody will ever hear of it; it is not blamed."""
    bench = Bench(sick=(0,), slow=(1, 3))
    found = dict(on(bench, 100))

    assert found.pop(0) == Failure(LOST, LOST_MESSAGE)
    assert found == {number: number for number in range(1, 100)}
    assert sorted(each for each in bench.alone if each != [0]) == [[1], [3]]


def test_many_that_lose_their_worker() -> None:
    """Each is found."""
    sick = (0, 1, 17, 499)
    found = dict(on(Bench(sick=sick), 500))

    assert {number for number, each in found.items() if each == Failure(LOST, LOST_MESSAGE)} == set(sick)
    assert len(found) == 500


# --- failures ---


@pytest.mark.parametrize("workers", [1, 2])
@pytest.mark.parametrize(
    ("take", "message"), [("raised", "LookupError: no such thing"), ("raised_here", "TwoPartsError: this and that")]
)
def test_an_error_in_one_job_concerns_no_other(takes: ModuleType, workers: int, take: str, message: str) -> None:
    """Whether it can leave its process or not; `run_jobs` raises it, or tells it with its layout and replication."""
    taken = getattr(takes, take)
    found = dict(outcomes(work(taken), short(), workers=workers))
    with Runner(rooms(), workers, taken) as runner:
        again = runner.run(short())

    assert found[SICK][:2] == again[SICK][:2] == (FAILED, message)
    assert {number: each for number, each in found.items() if number != SICK} == {n: n for n in range(8) if n != SICK}
    with pytest.raises(LookupError if take == "raised" else SimulationError) as caught:
        run_jobs([rooms()], short(), Settings(workers=workers), take=taken)
    told = "no such thing" if take == "raised" else f"layout 'north', replication {SICK}: {message}"
    assert str(caught.value) == told


def test_a_result_that_cannot_be_sent_back(takes: ModuleType) -> None:
    """Is a failure of its job, where there is something to send."""
    found = dict(outcomes(work(takes.kept_here), short(), workers=2))
    here = dict(outcomes(work(takes.kept_here), short(), workers=1))

    assert found[SICK][:2] == (FAILED, "TypeError: cannot pickle '_thread.lock' object")
    assert [found[number] for number in range(8) if number != SICK] == [n for n in range(8) if n != SICK]
    assert not isinstance(here[SICK], Failure)


def test_a_lost_worker_is_no_fault_of_batsim(monkeypatch: pytest.MonkeyPatch) -> None:
    """`run_jobs` says so with the job's name."""
    monkeypatch.setattr(executors, "Processes", lambda _: Bench(sick=(SICK,)))
    with pytest.raises(StudyError) as caught:
        run_jobs([rooms()], short(), Settings(workers=2), take=measures_of)

    assert str(caught.value) == f"layout 'north', replication {SICK}: {LOST_MESSAGE}"


def test_what_the_scenario_does_not_allow(takes: ModuleType) -> None:
    """Is refused with the rule, in any process."""
    bad = Job("north", 1, 1, 500.0, 0.0, 0, '{"layouts.north.batteries":-1}')
    message = (
        f"{TWO_ROOMS}: 1 problem\n"
        f"  {TWO_ROOMS}: layouts.north.batteries: must be at least 1, or one for each battery type (got -1)"
    )
    for workers in (1, 2):
        found = dict(outcomes(Work((rooms(),), takes.number, restated), [*short(1), bad], workers=workers))
        assert found[0] == 0
        assert found[1][:2] == (REFUSED, message)
        with pytest.raises(ScenarioError) as caught:
            run_jobs([rooms()], [bad], Settings(workers=workers), take=measures_of, change=restated)
        assert str(caught.value) == message


# --- parcels ---


def named(_record: Any, scenario: batsim.Scenario) -> str:
    """Name of the scenario."""
    return f"{scenario.site.name}, {scenario.layouts['north'].batteries['']}"


def test_a_job_names_its_scenario() -> None:
    """And what is otherwise in it."""
    renamed = batsim.changed(rooms(), {"site.name": "another place"})
    wanted = [
        Job("north", 0, 1, 500.0, 0.0, 1),
        Job("north", 0, 1, 500.0, 0.0, 0, '{"layouts.north.batteries":14}'),
        Job("north", 0, 1, 500.0, 0.0, 1, '{"layouts.north.batteries":15}'),
    ]
    assert run_jobs([rooms(), renamed], wanted, Settings(workers=1), take=named, change=restated) == [
        "another place, 16",
        "two rooms, 14",
        "another place, 15",
    ]


def test_a_parcel_is_known_by_what_is_in_it(takes: ModuleType) -> None:
    """So that a worker that has one need not unpack it again."""
    one, other = Parcel.of(work(takes.number)), Parcel.of(work(takes.process))

    assert one == Parcel.of(work(takes.number))
    assert one.digest != other.digest
    assert one.digest != Parcel.of(Work((rooms(), rooms()), takes.number)).digest


def test_a_parcel_is_unpacked_once(takes: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    """Until another one comes."""
    unpacked: list[int] = []
    loads = pickle.loads
    monkeypatch.setattr(jobs.pickle, "loads", lambda packed: (unpacked.append(len(packed)), loads(packed))[1])
    one, other = Parcel.of(work(takes.number)), Parcel.of(work(takes.raised))
    monkeypatch.setattr(jobs, "_open", {})

    chunks = [run_chunk(parcel, short(2)) for parcel in (one, one, other, other, one)]

    assert [results for _, results in chunks] == [[0, 1]] * 5
    assert all(seconds > 0.0 for seconds, _ in chunks)
    assert unpacked == [len(one.packed), len(other.packed), len(one.packed)]


def test_replications_of_a_point_share_its_scenario(takes: ModuleType) -> None:
    """Its changes are made once."""
    made: list[str] = []

    def change(scenario: batsim.Scenario, changes: str) -> batsim.Scenario:
        made.append(changes)
        return restated(scenario, changes)

    points = [f'{{"layouts.north.batteries":{number}}}' for number in (14, 15)]
    jobs_of_points = [Job("north", number, 1, 500.0, 0.0, 0, point) for point in points for number in range(3)]

    found = run_jobs(
        [batsim.read(Path(TWO_ROOMS))], jobs_of_points, Settings(workers=1), take=takes.number, change=change
    )
    assert found == [0, 1, 2, 0, 1, 2]
    assert made == points
