"""A study comes out the same to the last bit wherever, in whatever order and in however many parts it is run."""

import logging
import sys
from pathlib import Path

import numpy as np
import pytest

from batsim.errors import StudyError
from batsim.study.running.executors import outcomes
from batsim.study.running.jobs import Failure, Job, Work, measures_of
from batsim.study.sweeps.store import Store
from tests.behaviour.sweeps import (
    BATTERIES,
    CASES,
    POINTS,
    RUN_TIME,
    VARY,
    bits,
    importable_takes,
    rooms,
    swept,
    tables,
)

WHOLE = {"cases": CASES, "found": 0, "run": CASES, "failed": 0}


@pytest.fixture(scope="module")
def alone(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[tuple[str, str], bytes]]:
    """The study in one process: its store, and its values."""
    store = tmp_path_factory.mktemp("alone") / "alone.store"
    found = swept(store)
    counts = found.tally._asdict()
    del counts["wall_s"]
    assert counts == WHOLE
    assert (found.missing, found.failures, len(found.agenda.points)) == (0, (), POINTS)
    return store, bits(found)


def test_chance_is_at_work(alone: tuple[Path, dict[tuple[str, str], bytes]]) -> None:
    """The replications and the layouts differ, so that sameness means something."""
    found = swept(alone[0])
    table = found.values["north"]["downtime_min_per_truck_shift"]

    assert np.isfinite(table).all()
    assert len(set(table.ravel().tolist())) > POINTS
    assert not (table == found.values["south"]["downtime_min_per_truck_shift"]).any()


@pytest.mark.parametrize("workers", [2, 3])
def test_processes(tmp_path: Path, alone: tuple[Path, dict[tuple[str, str], bytes]], workers: int) -> None:
    """Several processes against one."""
    found = swept(tmp_path / "many.store", workers=workers)

    assert bits(found) == alone[1]
    assert tables(tmp_path / "many.store") == tables(alone[0])


def test_in_memory(alone: tuple[Path, dict[tuple[str, str], bytes]]) -> None:
    """Without a store on the disk."""
    assert bits(swept()) == alone[1]


def test_left_to_itself(
    tmp_path: Path, alone: tuple[Path, dict[tuple[str, str], bytes]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first cases here, the rest in processes, as it does by itself when the work is long."""
    monkeypatch.setattr("batsim.study.running.executors.POOL_PAYS_S", 0.0)
    monkeypatch.setattr("batsim.study.running.executors.cores", lambda: 2)

    found = swept(tmp_path / "itself.store", workers=None)

    assert bits(found) == alone[1]
    assert tables(tmp_path / "itself.store") == tables(alone[0])


def test_shards(tmp_path: Path, alone: tuple[Path, dict[tuple[str, str], bytes]]) -> None:
    """Three parts on three machines, put together."""
    parts = [tmp_path / f"{number}.store" for number in (1, 2, 3)]
    run = [swept(part, shard=f"{number}/3", workers=number) for number, part in enumerate(parts, start=1)]

    assert [each.tally.run for each in run] == [CASES // 3] * 3
    assert [each.missing for each in run] == [CASES - CASES // 3] * 3
    held = [{row[0] for row in tables(part)["cases"]} for part in parts]
    assert len(set.union(*held)) == sum(map(len, held)) == CASES

    with Store.open(tmp_path / "whole.store") as whole:
        assert [whole.take_over(part) for part in parts] == [CASES // 3] * 3
    assert tables(tmp_path / "whole.store") == tables(alone[0])
    found = swept(tmp_path / "whole.store")
    assert (found.tally.found, found.tally.run, found.missing) == (CASES, 0, 0)
    assert bits(found) == alone[1]


def test_more_shards_than_cases(tmp_path: Path) -> None:
    """The last of them have nothing to do."""
    found = swept(tmp_path / "part.store", shard="40/40")

    assert (found.tally.cases, found.tally.run, found.missing) == (0, 0, CASES)


def test_another_order_of_points(tmp_path: Path, alone: tuple[Path, dict[tuple[str, str], bytes]]) -> None:
    """Values the other way round: the same cases, the same numbers, at other points."""
    found = swept(tmp_path / "back.store", vary={path: values[::-1] for path, values in VARY.items()})
    back = {
        (layout, measure): table[::-1].tobytes()
        for layout, by_measure in found.values.items()
        for measure, table in by_measure.items()
    }

    assert back == alone[1]
    assert tables(tmp_path / "back.store")["cases"] == tables(alone[0])["cases"]


@pytest.mark.parametrize("workers", [1, 2])
def test_stopped_half_way(
    tmp_path: Path, alone: tuple[Path, dict[tuple[str, str], bytes]], monkeypatch: pytest.MonkeyPatch, workers: int
) -> None:
    """What was finished is kept and not run again."""
    monkeypatch.setattr("batsim.study.sweeps.sweep.KEEP_EVERY_S", -1.0)
    store = tmp_path / "half.store"

    def stop(done: int, of: int) -> None:
        if done >= of // 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        swept(store, workers=workers, progress=stop)
    half = tables(store)
    found = swept(store, workers=workers)

    assert len(half["cases"]) == CASES // 2
    assert set(half["cases"]) < set(tables(alone[0])["cases"])
    assert (found.tally.found, found.tally.run) == (CASES // 2, CASES // 2)
    assert bits(found) == alone[1]
    assert tables(store) == tables(alone[0])


def test_begun_with_other_points(tmp_path: Path, alone: tuple[Path, dict[tuple[str, str], bytes]]) -> None:
    """A smaller study, fewer replications and another layout first: what they share with this one is found."""
    store = tmp_path / "grown.store"
    first = swept(store, vary={RUN_TIME: ["5 h"], BATTERIES: [18, 14]}, replications=1)
    found = swept(store, workers=2)

    # Changes are carried out in their order, so that the same ones in another order are another case.
    assert (first.tally.run, found.tally.found, found.tally.run) == (3, 1, CASES - 1)
    assert bits(found) == alone[1]


def test_dask(tmp_path: Path, alone: tuple[Path, dict[tuple[str, str], bytes]]) -> None:
    """Workers of a scheduler, in two processes of two threads each; what fails there fails alone."""
    distributed = pytest.importorskip("distributed")
    with (
        importable_takes() as takes,
        distributed.LocalCluster(n_workers=2, threads_per_worker=2, dashboard_address=":0") as cluster,
    ):
        found = swept(tmp_path / "dask.store", workers=None, scheduler=cluster.scheduler_address)
        part = swept(tmp_path / "part.store", workers=None, scheduler=cluster.scheduler_address, shard="2/3")
        other = swept(None, workers=None, scheduler=cluster.scheduler_address, vary={BATTERIES: [16]}, weeks=0.06)
        jobs = [Job("north", number, 1, 500.0, 0.0) for number in range(8)]
        sick = {}
        for take in (takes.raised, takes.raised_here):
            results = dict(outcomes(Work((rooms(),), take), jobs, scheduler=cluster.scheduler_address))
            sick[take.__name__] = results.pop(takes.SICK)
            assert results == {number: number for number in range(8) if number != takes.SICK}

    assert bits(found) == alone[1]
    assert tables(tmp_path / "dask.store") == tables(alone[0])
    assert (part.tally.run, part.missing) == (CASES // 3, CASES - CASES // 3)
    assert set(tables(tmp_path / "part.store")["cases"]) < set(tables(alone[0])["cases"])
    assert (other.tally.run, other.missing) == (4, 0)
    assert found.manifest["scheduler"] == cluster.scheduler_address
    assert {name: each.kind for name, each in sick.items()} == dict.fromkeys(sick, "failed")
    assert sick["raised"].message == "LookupError: no such thing"
    assert sick["raised_here"].message == "TwoPartsError: this and that"


def test_dask_scheduler_that_goes(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> None:
    """A message instead of waiting for ever, none of Dask's traces, and no case is blamed."""
    distributed = pytest.importorskip("distributed")
    monkeypatch.setattr("batsim.study.running.engines.PATIENCE", "1s")
    jobs = [Job("north", number, 1, 500.0, 0.0) for number in range(100_000)]
    found = []
    with (
        pytest.importorskip("dask").config.set({"distributed.comm.timeouts.connect": "1s"}),
        distributed.LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address=":0") as cluster,
    ):
        address = cluster.scheduler_address
        results = outcomes(Work((rooms(),), measures_of), jobs, scheduler=address)
        found += [next(results) for _ in range(5)]
        cluster.close()
        with pytest.raises(StudyError) as caught:
            found += results

    assert str(caught.value) == (
        f"--scheduler: the Dask scheduler at {address} is gone; what is finished is kept: "
        "run the same command again when there is one"
    )
    assert not any(isinstance(outcome, Failure) for _, outcome in found)
    logging.getLogger("distributed.client").error("a trace")
    assert "trace" not in capfd.readouterr().err.lower()


def test_dask_scheduler_that_is_not_there(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody answers at the address."""
    pytest.importorskip("distributed")
    monkeypatch.setattr("batsim.study.running.engines.PATIENCE", "1s")

    with pytest.raises(StudyError) as caught:
        swept(None, workers=None, scheduler="tcp://127.0.0.1:9")

    assert str(caught.value) == "--scheduler: no Dask scheduler answers at tcp://127.0.0.1:9"


@pytest.mark.parametrize("address", ["here", "", "no://way:1"])
def test_dask_address_that_is_none(address: str) -> None:
    """The same."""
    pytest.importorskip("distributed")

    with pytest.raises(StudyError) as caught:
        swept(None, workers=None, scheduler=address)

    assert str(caught.value) == f"--scheduler: no Dask scheduler answers at {address}"


def test_dask_is_an_extra(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without it, the message says what to install."""
    monkeypatch.setitem(sys.modules, "distributed", None)

    with pytest.raises(StudyError) as caught:
        swept(None, workers=None, scheduler="tcp://127.0.0.1:9")

    assert str(caught.value) == "--scheduler needs the extra 'cluster': pip install 'batsim[cluster]'"
