"""Studies in Python: points of every design, frames, keys, shards, manifests, what matters, what goes wrong."""

import json
import re
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import stats

import batsim
from batsim.errors import ScenarioError, SimulationError, StudyError
from batsim.measures import MEASURES
from batsim.scenario.reading import completed_data
from batsim.scenario.settings import Settings
from batsim.scenario.study_file import stated_study
from batsim.study.running.jobs import Job, measure_names
from batsim.study.sweeps import model_version as version_module
from batsim.study.sweeps.agenda import MOST_SHARDS, Agenda, Shard, agenda_of, bases_of, cases_of, key_of
from batsim.study.sweeps.model_version import model_version
from batsim.study.sweeps.store import Store
from batsim.study.sweeps.sweep import NAMES, PACKAGES, sweep
from batsim.study.sweeps.sweep_result import Sweep
from batsim.views.text.sweep_text import sweep_text
from tests.behaviour.sweeps import (
    BATTERIES,
    CASES,
    POINTS,
    RUN_TIME,
    TWO_ROOMS,
    VARY,
    bits,
    manifests,
    rooms,
    swept,
    tables,
)

DOWN = "downtime_min_per_truck_shift"
BOTH = {BATTERIES: {"between": [14, 18]}, RUN_TIME: {"between": ["4 h", "6 h"]}}
FEW = {BATTERIES: [14, 16, 18], RUN_TIME: ["5 h", "5.5 h"]}
"""Few values, so that the points of a large design share their cases."""


def agenda(vary: dict[str, Any] | None = None, scenario: Any = None, **stated: Any) -> Agenda:
    """What a study comes to."""
    runs = {key: stated.pop(key) for key in ("replications", "weeks", "warm_up_weeks", "seed") if key in stated}
    study = stated_study(scenario or rooms(), {"vary": vary or VARY, **stated}, NAMES)
    return agenda_of(study, Settings(**{"replications": 2, "weeks": 0.05} | runs))


def hours(values: Any) -> list[float]:
    """Run times as numbers."""
    return [float(str(value).removesuffix(" h")) for value in values]


def told(**stated: Any) -> str:
    """Message of a study that is refused."""
    with pytest.raises(batsim.BatsimError) as caught:
        swept(**stated)
    assert isinstance(caught.value, ScenarioError | StudyError)
    return str(caught.value)


@pytest.fixture(scope="module")
def grid() -> Sweep:
    """The small study."""
    return swept(measures=[DOWN, "batteries"], command="batsim sweep small.yaml")


# --- designs ---


def test_a_grid_has_every_combination() -> None:
    """The last path changes first; ends and middle stand for what lies between."""
    points = agenda().points
    between = agenda(BOTH).points

    assert points.all == tuple({BATTERIES: b, RUN_TIME: r} for b in VARY[BATTERIES] for r in VARY[RUN_TIME])
    assert len(points) == len(points.all) == POINTS
    assert between.all == points.all


def test_one_at_a_time_begins_with_what_is_stated() -> None:
    """Then each input at its low and its high end."""
    points = agenda(BOTH, design="one_at_a_time").points

    assert points.all == ({}, {BATTERIES: 14}, {BATTERIES: 18}, {RUN_TIME: "4 h"}, {RUN_TIME: "6 h"})
    assert len(points) == 5


def test_a_latin_hypercube_fills_every_stratum() -> None:
    """Each of eight equal parts of a range once; whole numbers stay whole."""
    points = agenda(BOTH, design={"latin_hypercube": 8}).points
    run_times = hours(point[RUN_TIME] for point in points.all)

    assert len(points) == len(points.all) == 8
    assert sorted(int((run_time - 4.0) * 4.0) for run_time in run_times) == list(range(8))
    assert {type(point[BATTERIES]) for point in points.all} == {int}
    assert {point[BATTERIES] for point in points.all} == {14, 15, 16, 17, 18}


def test_morris_changes_one_input_with_each_step() -> None:
    """Trajectories of three points for two inputs, on four levels."""
    points = agenda(BOTH, design={"morris": 5}).points

    assert len(points) == len(points.all) == 15
    for start in range(0, 15, 3):
        changed = [
            [path for path in BOTH if one[path] != other[path]]
            for one, other in zip(points.all[start : start + 2], points.all[start + 1 : start + 3], strict=True)
        ]
        assert sorted(changed) == [[BATTERIES], [RUN_TIME]]
    assert {round(run_time, 4) for run_time in hours(point[RUN_TIME] for point in points.all)} <= {
        4.0, 4.6667, 5.3333, 6.0,
    }  # fmt: skip


def test_sobol_takes_one_input_from_the_other_sample() -> None:
    """Four base points: A, B, and A with one input of B for each input."""
    points = agenda(BOTH, design={"sobol": 4}).points
    a, b, first, second = (points.all[number : number + 4] for number in range(0, 16, 4))

    assert len(points) == len(points.all) == 16
    assert {each[RUN_TIME] for each in a} & {each[RUN_TIME] for each in b} == set()
    changed = [[{**one, path: other[path]} for one, other in zip(a, b, strict=True)] for path in (BATTERIES, RUN_TIME)]
    assert [list(first), list(second)] == changed


@pytest.mark.parametrize("design", [{"latin_hypercube": 8}, {"morris": 5}, {"sobol": 4}])
def test_a_design_is_drawn_from_the_seed(design: dict[str, int]) -> None:
    """The same seed gives the same points, another seed others."""
    one, again, other = (agenda(BOTH, design=design, seed=seed).points for seed in (3, 3, 4))

    assert one.all == again.all
    assert one.all != other.all


@pytest.mark.parametrize("values", [[18, 14, 16], [14, 16, 18]])
def test_the_order_of_numbers_does_not_turn_an_effect_round(values: list[int]) -> None:
    """A grid keeps the order of the list; ends and ranks are those of the numbers."""
    vary = {BATTERIES: values}
    alone = {"vary": vary, "layouts": "north", "measures": "batteries", "replications": 1, "weeks": 0.01}
    ends = agenda(vary, design="one_at_a_time").points.all
    found = {name: swept(**alone, design=name).sensitivity() for name in ("grid", "one_at_a_time")}
    hypercube = swept(**alone, design={"latin_hypercube": 6}).sensitivity()
    effects = swept(**alone, design={"morris": 2}).sensitivity()

    assert [point[BATTERIES] for point in agenda(vary).points.all] == values
    assert ends == ({}, {BATTERIES: 14}, {BATTERIES: 18})
    assert [row.value for row in found["one_at_a_time"].rows] == [4.0, -2.0, 2.0]
    assert found["grid"].rows[0].value == pytest.approx(1.0)
    assert hypercube.rows[0].value == pytest.approx(1.0)  # though a value stands for a whole stratum
    assert effects.rows[1][:2] == (BATTERIES, "mean effect")
    assert effects.rows[1].value > 0.0


def test_values_that_are_no_numbers_count_as_they_are_listed() -> None:
    """Or numbers of different units."""
    study = stated_study(
        rooms(),
        {"vary": {RUN_TIME: ["6 h", "300 min", "4 h"], "layouts.north.chargers": ["8 x electronic_iuia"] * 2}},
        NAMES,
    )

    assert [each.numbers for each in study.factors] == [(0.0, 1.0, 2.0), (8.0, 8.0)]
    assert study.factors[0].at(0.0) == "6 h"


# --- results ---


def test_values_have_a_row_for_each_point_and_a_column_for_each_replication(grid: Sweep) -> None:
    """By layout and measure; the number of batteries is what the point says."""
    assert (grid.layouts, grid.measures, grid.paths) == (("north", "south"), (DOWN, "batteries"), (BATTERIES, RUN_TIME))
    assert {table.shape for each in grid.values.values() for table in each.values()} == {(POINTS, 2)}
    assert grid.values["north"]["batteries"][:, 0].tolist() == [14.0] * 3 + [16.0] * 3 + [18.0] * 3
    assert set(grid.values["south"]["batteries"].ravel().tolist()) == {18.0}
    assert np.isfinite(grid.values["north"][DOWN]).all()


def test_values_are_those_of_a_run_of_the_changed_scenario(grid: Sweep) -> None:
    """The same to the last bit."""
    changed = batsim.changed(rooms(), {BATTERIES: 14, RUN_TIME: "6 h"})
    runs = batsim.run(changed, batsim.Settings(replications=2, weeks=0.05, warm_up_weeks=0.0, workers=1))

    for layout in grid.layouts:
        assert grid.values[layout][DOWN][2].tolist() == runs.values[layout][DOWN].tolist()


def test_the_frame_is_tidy(grid: Sweep) -> None:
    """A row for each point, layout and measure, with its unit and its Student interval by scipy."""
    frame = grid.frame

    estimates = ["mean", "low", "high", "unit", "events", "of"]
    assert list(frame.columns) == ["point", BATTERIES, RUN_TIME, "layout", "measure", *estimates]
    assert len(frame) == POINTS * 2 * 2
    assert dict(zip(frame["measure"], frame["unit"], strict=True)) == {DOWN: "min", "batteries": "batteries"}
    assert all(MEASURES[name].unit == unit for name, unit in zip(frame["measure"], frame["unit"], strict=True))
    row = frame[(frame["point"] == 4) & (frame["layout"] == "north") & (frame["measure"] == DOWN)].iloc[0]
    assert (row[BATTERIES], row[RUN_TIME]) == (16, "5 h")
    values = grid.values["north"][DOWN][4]
    low, high = stats.t.interval(0.95, 1, values.mean(), stats.sem(values))
    assert (row["mean"], row["low"], row["high"]) == pytest.approx((values.mean(), low, high))
    assert grid.interval("north", DOWN, 4) == (row["mean"], row["low"], row["high"])


def test_points_that_leave_an_input_as_it_is_have_no_value_of_it() -> None:
    """In a frame of one at a time."""
    frame = swept(design="one_at_a_time", layouts="north", measures="batteries").frame

    assert frame[BATTERIES].isna().tolist() == [True, False, False, True, True]
    assert frame["mean"].tolist() == [16.0, 14.0, 18.0, 16.0, 16.0]


def test_it_shows_as_a_table_in_a_notebook(grid: Sweep) -> None:
    """With a row for each of the frame; what matters, too."""
    text = grid._repr_html_()

    assert text.startswith("<table")
    assert text.count("<tr") == 1 + len(grid.frame)
    assert f"<th>{BATTERIES}</th>" in text
    matters = grid.sensitivity("north", "batteries")._repr_html_()
    assert [matters.startswith("<table"), matters.count("<tr"), matters.count(RUN_TIME)] == [True, 3, 1]


def test_the_json_says_everything(grid: Sweep) -> None:
    """Points with intervals and units, failures, what matters, and the manifest."""
    data = json.loads(json.dumps(grid.as_json(), allow_nan=False))

    assert data["cases"].items() >= {"cases": CASES, "found": 0, "run": CASES, "failed": 0, "missing": 0}.items()
    assert (data["failures"], data["design"]["kind"], data["seed"]) == ([], "grid", 1)
    assert data["points"][4]["changes"] == {BATTERIES: 16, RUN_TIME: "5 h"}
    assert data["points"][4]["layouts"]["north"]["batteries"] == {
        "mean": 16.0,
        "low": 16.0,
        "high": 16.0,
        "unit": "batteries",
    }
    assert [row["value"] for row in data["sensitivity"]["south"]["batteries"]] == [None, None]
    assert data["manifest"] == json.loads(json.dumps(grid.manifest))


def test_one_replication_has_means_and_no_limits() -> None:
    """Not a number, and null in JSON."""
    found = swept(replications=1)
    data = json.loads(json.dumps(found.as_json(), allow_nan=False))

    assert found.frame["mean"].notna().all()
    assert found.frame[["low", "high"]].isna().all(axis=None)
    assert data["points"][0]["layouts"]["north"][DOWN]["low"] is None


def test_the_spread_over_points(grid: Sweep) -> None:
    """Mean, and the ends of nine tenths of the points."""
    means = grid.values["north"][DOWN].mean(axis=1)

    assert grid.spread("north", DOWN) == pytest.approx((means.mean(), *np.quantile(means, [0.05, 0.95])))


# --- keys ---


def keys_of(found: Agenda) -> list[bytes]:
    """Keys of its cases."""
    return [case.key for case in found.cases()]


def key(scenario: batsim.Scenario, layout: str = "north", **changes: Any) -> bytes:
    """Key of one job."""
    job = Job(layout, 0, 1, 500.0, 0.0)._replace(**changes)
    return key_of(bases_of(scenario, [job.layout])[job.layout], job)


def test_a_change_in_another_layout_makes_no_new_case() -> None:
    """The south room has three cases for nine points."""
    found = agenda(replications=1)

    assert len(found.cases()) == POINTS + 3
    assert [case.job.changes for case in cases_of(found.record, found.points.all[0])] == [
        '{"layouts.north.batteries":14,"trucks[0].run_time.mean":"4 h"}',
        '{"trucks[0].run_time.mean":"4 h"}',
    ]
    stars = agenda({"layouts.*.batteries": [16, 18]}, replications=1)
    assert len(stars.cases()) == 4  # this concerns both


def test_the_value_that_is_stated_gives_the_same_numbers() -> None:
    """As what is left as it is."""
    found = swept(vary={BATTERIES: [14, 18]}, design="one_at_a_time", layouts="north")
    stated = swept(vary={BATTERIES: [16]}, layouts="north")

    assert rooms().layouts["north"].batteries == {"": 16}
    assert found.values["north"][DOWN][0].tolist() == stated.values["north"][DOWN][0].tolist()
    assert found.values["north"][DOWN][0].tolist() != found.values["north"][DOWN][1].tolist()


@pytest.mark.parametrize(
    "changes",
    [
        {"seed": 2},
        {"replication": 1},
        {"length_min": 501.0},
        {"warm_up_min": 1.0},
        {"changes": '{"layouts.north.batteries":14}'},
        {"layout": "south"},
    ],
)
def test_what_makes_another_case(changes: dict[str, Any]) -> None:
    """Seed, replication, lengths, changes, layout."""
    assert key(rooms(), **changes) != key(rooms())


CHECKED = {
    "layout": "south", "records": "9 exchanges", "fitted": "week 1", "judged": "week 2", "independent": True,
}  # fmt: skip


@pytest.mark.parametrize(
    ("path", "value", "same"),
    [
        ("question", "Another?", True),
        ("targets", {"downtime_per_truck_shift": "at most 20 min"}, True),
        ("calibration", CHECKED, True),
        ("simulation.replications", 9, True),
        ("simulation.seed", 9, True),
        ("simulation.length", "3 weeks", True),
        ("simulation.confidence", "90 %", True),
        ("layouts.south.stations", 1, True),
        ("layouts.north.stations", 2, False),
        ("layouts.north.owned", {"cart": 1, "plain": 3}, True),
        ("layouts.north.fixed", ["batteries", "levers"], True),
        ("layouts.north.picking", "fullest", False),
        ("simulation.start_week", 5, False),
        ("targets", {"waits": "90 % under 5 min"}, False),
        ("trucks[0].count", 9, False),
        ("site.room_temperature", "20 degC", False),
        ("figures", {"travel.speed": "6 km/h"}, False),
    ],
)
def test_what_the_numbers_do_not_depend_on_makes_no_other_case(path: str, value: Any, same: bool) -> None:
    """Other layouts, the question, how often it is run, what is owned; but all else does."""
    assert (key(batsim.changed(rooms(), {path: value})) == key(rooms())) is same


NO_MORE_CHARGERS: dict[str, Any] = {"chargers": {"old": {"from": "electronic_iuia", "discontinued": True}}}
NO_MORE_BATTERIES: dict[str, Any] = {"batteries.plain.lots": {"new": {}, "old": {"age": "4 years"}}}


@pytest.mark.parametrize(
    ("stated", "there", "more"),
    [
        (
            NO_MORE_CHARGERS | {"layouts.north.chargers": "8 x old"},
            {"layouts.north.owned": {"old": 8}},
            {"layouts.north.owned": {"old": 9}},
        ),
        (
            NO_MORE_CHARGERS | {"layouts.north.chargers": "8 x old", "layouts.south.chargers": "8 x old"},
            {"present": "south"},
            {"present": "south", "layouts.south.chargers": "9 x old"},
        ),
        (
            NO_MORE_BATTERIES
            | {"layouts.north.batteries": ["8 x new", "8 x old"], "layouts.south.batteries": ["18 x new"]},
            {"layouts.north.owned": {"plain": ["8 x old"]}},
            {"layouts.north.owned": {"plain": ["9 x old"]}},
        ),
    ],
    ids=["chargers", "chargers of today", "batteries of a lot"],
)
def test_how_many_there_are_of_what_can_no_longer_be_had_makes_another_case(
    stated: dict[str, Any], there: dict[str, Any], more: dict[str, Any]
) -> None:
    """A case that was refused for want of them is tried again when there are more; what else is owned tells nothing."""
    few, many = (batsim.changed(rooms(), stated | each) for each in (there, more))
    cart = {path: {**value, "cart": 1} for path, value in there.items() if path.endswith("owned")}

    assert key(many) != key(few)
    assert key(batsim.changed(few, cart)) == key(few)


def test_where_a_scenario_stands_makes_no_other_case(tmp_path: Path) -> None:
    """Nor what its file is called, nor the study that asks."""
    file = tmp_path / "other.yaml"
    shutil.copy(TWO_ROOMS, file)

    assert key(batsim.read(file)) == key(rooms())
    assert keys_of(agenda(scenario=batsim.read(file), study="Why?", measures=["peak_kw"])) == keys_of(agenda())


def test_a_study_with_more_of_everything_finds_what_is_there(tmp_path: Path) -> None:
    """More values, more replications, other measures, another layout."""
    store = tmp_path / "a.store"
    swept(store, layouts=["south"], vary={RUN_TIME: VARY[RUN_TIME]})
    found = swept(store, vary={**VARY, RUN_TIME: ["4 h", "5 h", "6 h", "7 h"]}, replications=3, measures="peak_kw")

    assert (found.tally.cases, found.tally.found, found.tally.run) == (48, 6, 42)
    assert np.isfinite(found.values["south"]["peak_kw"]).all()


# --- the model ---


def test_a_changed_model_finds_no_old_numbers(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each case is run again, and both stay in the store."""
    store = tmp_path / "a.store"
    swept(store)
    monkeypatch.setattr("batsim.study.sweeps.agenda.model_version", lambda: "0.1.0+another")

    found = swept(store)

    assert (found.tally.found, found.tally.run) == (0, CASES)
    assert len(tables(store)["cases"]) == 2 * CASES
    assert len(tables(store)["studies"]) == 2


def test_the_version_of_the_model_tells_what_settles_numbers(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Not how they are shown, nor how lines end, nor what comments and docstrings say."""
    package = tmp_path / "batsim"
    shutil.copytree(Path(batsim.__file__).parent, package, ignore=shutil.ignore_patterns("__pycache__"))
    monkeypatch.setattr(version_module, "__file__", str(package / "study" / "sweeps" / "model_version.py"))

    def version() -> str:
        return model_version.__wrapped__()

    def edit(name: str, old: bytes, new: bytes) -> None:
        file = package / name
        data = file.read_bytes()
        assert old in data
        file.write_bytes(data.replace(old, new))

    assert [part for part in version_module.SETTLING if not (package / part).exists()] == []
    before = version()
    assert re.fullmatch(rf"{re.escape(batsim.__version__)}\+[0-9a-f]{{12}}", before)
    edit("views/text/tables.py", b"import", b"import ")
    edit("study/sweeps/sweep.py", b"import", b"import ")
    edit("room/simulation.py", b"\n", b"\r\n")
    (package / "room" / "notes.txt").write_text("not a part of it", encoding="utf-8")
    assert version() == before
    edit("room/simulation.py", b"def simulate(", b"# a comment\ndef simulate(")
    edit("room/simulation.py", b'"""Simulate one', b'"""Otherwise said: one')
    edit("scenario/parts/breakdowns.py", b"How many of them.", b"Count.")
    assert version() == before
    seen = {before}
    edits = [
        ("room/simulation.py", b"40 * WEEK_MIN", b"50 * WEEK_MIN"),
        ("catalogue/figures.csv", b"e", b"f"),
        ("catalogue/battery_types.yaml", b"e", b"f"),
        ("measures/measures.csv", b"downtime", b"lost_time"),
        ("record/words.py", b'"in truck"', b'"in the truck"'),
    ]
    for name, old, new in edits:
        edit(name, old, new)
        seen.add(version())
    (package / "formulas" / "new.py").touch()
    seen.add(version())
    assert len(seen) == 7


# --- shards ---


@pytest.mark.parametrize("count", [1, 2, 5, 24, 30])
def test_shards_deal_out_every_case_once(count: int) -> None:
    """As evenly as can be."""
    found = agenda()
    parts = [found.cases(Shard(number, count)) for number in range(1, count + 1)]

    assert sorted(case.key for part in parts for case in part) == sorted(keys_of(found))
    assert max(map(len, parts)) - min(map(len, parts)) <= 1


@pytest.mark.parametrize("text", ["1/1", "3/20", "20/20", f"1/{MOST_SHARDS}"])
def test_a_shard(text: str) -> None:
    """As it is written."""
    assert Shard.read(text).text == text


@pytest.mark.parametrize(
    "text",
    ["", "3", "0/3", "4/3", "-1/3", "1/0", "a/b", "1/3/5", " 1/3", "1.0/3", "1 / 3", f"1/{MOST_SHARDS + 1}", "²/3"],
)
def test_a_shard_that_is_none(text: str, tmp_path: Path) -> None:
    """Is refused before there is a store."""
    assert told(shard=text, store=tmp_path / "a.store") == (
        f"--shard needs a part of a whole, such as 3/20 (got {text})"
    )
    assert list(tmp_path.iterdir()) == []


def test_a_shard_tells_what_is_missing(tmp_path: Path) -> None:
    """And everything can be asked of it, as far as it goes."""
    found = swept(tmp_path / "a.store", shard="2/3")
    data = json.loads(json.dumps(found.as_json(), allow_nan=False))

    assert (found.tally.cases, found.tally.run, found.missing) == (8, 8, 16)
    assert (data["cases"]["missing"], data["manifest"]["shard"]) == (16, "2/3")
    assert np.isnan(found.values["north"][DOWN]).any()
    assert np.isfinite(found.values["north"][DOWN]).any()
    assert found.sensitivity("north").left_out > 0


# --- manifests ---


def test_a_manifest_says_what_made_it(grid: Sweep) -> None:
    """Versions, completed inputs, seeds, design, command, time."""
    found = grid.manifest
    begun, ended = (datetime.fromisoformat(found[key]) for key in ("begun", "ended"))

    assert set(found["versions"]) == {*PACKAGES, "python"}
    assert found["versions"]["batsim"] == batsim.__version__
    assert found["versions"]["numpy"] == np.__version__
    assert found["model"] == model_version()
    assert found["scenario_completed"] == completed_data(rooms())
    assert list(found["scenario_completed"]["chargers"]) == ["electronic_iuia"]  # of the catalogue
    assert (found["seed"], found["replications"], found["length_min"], found["warm_up_min"]) == (1, 2, 504.0, 0.0)
    assert found["design"] == {"kind": "grid", "number": 0, "levels": 4}
    assert found["factors"] == [
        {"path": BATTERIES, "may_be": "one of 14, 16, 18", "layout": "north"},
        {"path": RUN_TIME, "may_be": "one of 4 h, 5 h, 6 h", "layout": None},
    ]
    assert found["names"] == list(measure_names(rooms()))
    assert (found["shown"], found["command"]) == ([DOWN, "batteries"], "batsim sweep small.yaml")
    assert (found["workers"], found["scheduler"], found["shard"]) == (1, None, None)
    assert found["cases"] == {"cases": CASES, "found": 0, "run": CASES, "failed": 0}
    assert begun <= ended
    assert begun.utcoffset() is not None
    assert 0.0 < found["wall_s"] < 60.0
    assert found["machine"]


def test_the_store_keeps_studies_points_and_manifests(tmp_path: Path) -> None:
    """A manifest for each run, a study and its points once."""
    path = tmp_path / "a.store"
    first, second = swept(path, shard="1/2"), swept(path)
    assert list(map(json.loads, manifests(path))) == [json.loads(json.dumps(each.manifest)) for each in (first, second)]
    with Store.open(path, write=False) as store:
        assert list(store.studies()) == [first.agenda.id]
        assert store.studies()[second.agenda.id] == json.loads(json.dumps(second.agenda.record))
        assert tuple(store.points(first.agenda.id)) == first.agenda.points.all

    assert first.agenda.id == second.agenda.id == first.manifest["study"]
    assert second.manifest["cases"] == {"cases": CASES, "found": CASES // 2, "run": CASES // 2, "failed": 0}


def test_a_run_that_was_stopped_leaves_its_manifest(tmp_path: Path) -> None:
    """With its end, and without counts."""

    def stop(done: int, of: int) -> None:
        if done == of:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        swept(tmp_path / "a.store", progress=stop)
    (manifest,) = map(json.loads, manifests(tmp_path / "a.store"))

    assert manifest["cases"] is None
    assert manifest["ended"] is not None
    assert len(tables(tmp_path / "a.store")["cases"]) == CASES  # all were finished when it was stopped


# --- what matters ---


def rows_of(found: Sweep, measure: str = "batteries", layout: str = "north") -> dict[tuple[str, str], Any]:
    """Indices by input and kind."""
    return {(row.path, row.kind): row for row in found.sensitivity(layout, measure).rows}


def test_rank_correlations_of_a_grid(grid: Sweep) -> None:
    """The number of batteries rises with one input and has nothing to do with the other; by scipy for downtime."""
    exact, chance = rows_of(grid), rows_of(grid, DOWN)
    means = grid.values["north"][DOWN].mean(axis=1)

    assert list(exact) == [(BATTERIES, "rank correlation"), (RUN_TIME, "rank correlation")]
    assert [row.value for row in exact.values()] == pytest.approx([1.0, 0.0])
    for path, levels in ((BATTERIES, [14, 14, 14, 16, 16, 16, 18, 18, 18]), (RUN_TIME, [4, 5, 6] * 3)):
        row = chance[path, "rank correlation"]
        assert row.value == pytest.approx(stats.spearmanr(levels, means).statistic)
        assert row.low < row.value < row.high


def test_rank_correlations_of_a_latin_hypercube() -> None:
    """The same."""
    found = swept(vary=BOTH, design={"latin_hypercube": 8}, measures="batteries")
    row = rows_of(found)[BATTERIES, "rank correlation"]

    assert row.value == pytest.approx(1.0)
    assert found.sensitivity("north", "batteries").rows[0] is not None
    assert [each.value for each in rows_of(found, layout="south").values()] == pytest.approx([np.nan] * 2, nan_ok=True)


def test_swings_of_one_at_a_time() -> None:
    """By hand: 14, 16 and 18 batteries; what does not matter comes last and is exactly nothing."""
    found = swept(vary=BOTH, design="one_at_a_time", measures="batteries")

    assert [(row.path, row.kind, row.value, row.low, row.high) for row in rows_of(found).values()] == [
        (BATTERIES, "high less low", 4.0, 4.0, 4.0),
        (BATTERIES, "at low end", -2.0, -2.0, -2.0),
        (BATTERIES, "at high end", 2.0, 2.0, 2.0),
        (RUN_TIME, "high less low", 0.0, 0.0, 0.0),
        (RUN_TIME, "at low end", 0.0, 0.0, 0.0),
        (RUN_TIME, "at high end", 0.0, 0.0, 0.0),
    ]


def test_morris_effects() -> None:
    """Levels 14, 14, 18, 18 of two values: a step of two thirds of the range turns one into the other."""
    vary = {BATTERIES: [14, 18], RUN_TIME: ["5 h", "5.5 h"]}
    found = rows_of(swept(vary=vary, design={"morris": 6}, measures="batteries"))

    assert [row.path for row in found.values()] == [BATTERIES] * 3 + [RUN_TIME] * 3
    size, mean, spread = (found[BATTERIES, kind] for kind in ("mean size of effect", "mean effect", "spread of effect"))
    assert (size.value, size.low, size.high) == pytest.approx((6.0, 6.0, 6.0))
    assert (mean.value, spread.value) == pytest.approx((6.0, 0.0))
    assert all(np.isnan([mean.low, mean.high, spread.low, spread.high]))
    assert [found[RUN_TIME, kind].value for _, kind in list(found)[3:]] == [0.0, 0.0, 0.0]


def test_sobol_indices() -> None:
    """One input accounts for all of the variance, the other for none of it."""
    found = swept(vary=FEW, design={"sobol": 64}, measures="batteries", weeks=0.01, layouts=["north"])
    rows = rows_of(found)

    assert (len(found.agenda.points), found.tally.cases) == (256, 12)
    assert list(rows) == [(path, kind) for path in (BATTERIES, RUN_TIME) for kind in ("total", "first order")]
    for kind in ("total", "first order"):
        row = rows[BATTERIES, kind]
        assert row.value == pytest.approx(1.0, abs=0.1)
        assert row.low <= row.value <= row.high
        assert rows[RUN_TIME, kind][2:] == (0.0, 0.0, 0.0)


def test_what_matters_as_a_frame_and_as_plain_data(grid: Sweep) -> None:
    """The first layout and measure when none is named."""
    found = grid.sensitivity()

    assert (found.layout, found.measure, found.unit, found.left_out, found.confidence) == (
        "north",
        DOWN,
        "min",
        0,
        0.95,
    )
    assert list(found.frame.columns) == ["input", "index", "value", "low", "high"]
    assert found.frame["input"].tolist() == [row.path for row in found.rows]
    assert found.as_json() == [row._asdict() for row in found.rows]
    assert grid.sensitivity("south", "batteries").as_json()[0]["value"] is None


@pytest.mark.parametrize(("layout", "measure"), [("nort", DOWN), ("north", "peak_kw")])
def test_what_was_not_asked_for(grid: Sweep, layout: str, measure: str) -> None:
    """Another layout; a measure that is in the store but not shown."""
    with pytest.raises(StudyError) as caught:
        grid.sensitivity(layout, measure)

    assert str(caught.value) == f"the study has no measure '{measure}' of layout '{layout}'"


# --- what goes wrong ---


@pytest.mark.parametrize(
    ("stated", "lines"),
    [
        ({"vary": {"nosuch.path": [1]}}, ["vary.'nosuch.path': with 1, nosuch: unknown key"]),
        ({"vary": {}}, ["varies nothing; state paths and values under 'vary'"]),
        ({"vary": None}, ["varies nothing; state paths and values under 'vary'"]),
        ({"measures": "downtime"}, ["measures[0]: no measure of this name (got downtime)"]),
        (
            {"layouts": "nort", "measures": [DOWN, "labor_min_per_day"]},
            [
                "layouts[0]: no layout of this name in the scenario; did you mean 'north'? (got nort)",
                "measures[1]: no measure of this name; did you mean 'labour_min_per_day'? (got labor_min_per_day)",
            ],
        ),
        (
            {"also_vary": "catalog"},
            ["also_vary[0]: must be unknowns or catalogue; did you mean 'catalogue'? (got 'catalog')"],
        ),
        ({"vary": {BATTERIES: []}}, [f"vary.'{BATTERIES}': needs from 1 to 10000 values"]),
    ],
)
def test_a_study_that_is_wrong(stated: dict[str, Any], lines: list[str]) -> None:
    """Every problem at once; a name alone stands for a list of one."""
    count = f"{len(lines)} problem{'' if len(lines) == 1 else 's'}"

    assert told(**stated) == "\n".join([f"study: {count}", *(f"  study: {line}" for line in lines)])


def test_runs_that_are_wrong(tmp_path: Path) -> None:
    """As for `run`; nothing is made of the store."""
    rules = [
        "replications: must be at least 1 (got 0)",
        "seed: must be at least 0 (got -1)",
        "warm-up: must be from 0 to 1040 weeks (got -1)",
        "weeks: must be from 0.005 to 1040 (got 0)",
    ]
    message = told(replications=0, weeks=0.0, warm_up_weeks=-1.0, seed=-1, store=tmp_path / "a.store")

    assert message == "\n".join([f"{TWO_ROOMS}: 4 problems", *(f"  {TWO_ROOMS}: {rule}" for rule in rules)])
    assert list(tmp_path.iterdir()) == []


def test_a_point_that_breaks_a_rule_fails_alone(tmp_path: Path) -> None:
    """Each value is sound by itself, both together are not: told once for each point, and never tried again."""
    study: dict[str, Any] = {
        "vary": {"trucks[0].exchange_at": ["22 %", "50 %"], "batteries.plain.discharge_to": ["20 %", "24 %"]}
    }
    found = swept(tmp_path / "a.store", **study)
    told_of: list[tuple[int, int]] = []
    again = swept(tmp_path / "a.store", **study, progress=lambda *each: told_of.append(each))

    assert (found.tally.run, found.tally.failed) == (12, 4)
    assert told_of == []  # nothing was left to run
    assert (again.tally.found, again.tally.run, again.tally.failed) == (12, 0, 4)
    assert {each.kind for each in found.failures} == {"refused"}
    assert np.isnan(found.values["north"][DOWN][1]).all()
    assert np.isfinite(found.values["north"][DOWN][[0, 2, 3]]).all()
    assert found.sensitivity("north").left_out == 1


def failing(*_: Any, **__: Any) -> Any:
    """A simulation that breaks one of its own rules."""
    msg = "a battery is in two bays"
    raise SimulationError(msg)


@pytest.mark.parametrize("design", ["grid", "one_at_a_time", {"latin_hypercube": 4}, {"morris": 2}, {"sobol": 4}])
def test_a_study_without_any_result(monkeypatch: pytest.MonkeyPatch, design: Any) -> None:
    """Is told in words and in JSON all the same."""
    monkeypatch.setattr("batsim.study.running.jobs.replicate", failing)
    found = swept(design=design, layouts="north", replications=1)

    assert found.tally.failed == found.tally.cases > 0
    assert json.dumps(found.as_json(), allow_nan=False)
    assert found.sensitivity().left_out == len(found.agenda.points)
    assert all(np.isnan(row.value) for row in found.sensitivity().rows)
    assert np.isnan(found.spread("north", DOWN)).all()
    text = sweep_text(found, "a.store")
    assert f"{found.tally.cases} cases without a result:\n" in text
    assert "failed: a battery is in two bays" in " ".join(text.split())


def test_a_failure_of_batsim_is_tried_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Once the fault is mended, the same command gives the numbers."""
    with monkeypatch.context() as patch:
        patch.setattr("batsim.study.running.jobs.replicate", failing)
        first = swept(tmp_path / "a.store")
    second = swept(tmp_path / "a.store")

    assert (first.tally.run, first.tally.failed, len(first.failures)) == (0, CASES, CASES)
    assert {(each.kind, each.message) for each in first.failures} == {("failed", "a battery is in two bays")}
    assert (second.tally.run, second.tally.failed, second.failures) == (CASES, 0, ())
    assert tables(tmp_path / "a.store")["failures"] == []


@pytest.fixture
def cramped(monkeypatch: pytest.MonkeyPatch) -> Iterator[pytest.MonkeyPatch]:
    """A disk with room for some cases only, and cases that are written down one by one."""
    begin = Store.begin_manifest

    def with_little_room(self: Store, manifest: dict[str, Any]) -> int:
        number = begin(self, manifest)
        count = self._connection.execute("PRAGMA page_count").fetchone()[0]
        self._connection.execute(f"PRAGMA max_page_count = {count + 2}")
        return number

    with monkeypatch.context() as patch:
        patch.setattr("batsim.study.sweeps.sweep.KEEP_EVERY_S", -1.0)
        patch.setattr(Store, "begin_manifest", with_little_room)
        yield patch


def test_a_disk_that_fills_up(tmp_path: Path, cramped: pytest.MonkeyPatch, grid: Sweep) -> None:
    """What was finished before is kept; with some space the same command goes on to the same numbers."""
    path = tmp_path / "a.store"
    message = told(store=path, measures=[DOWN, "batteries"])
    held = len(tables(path)["cases"])
    cramped.undo()
    found = swept(path, measures=[DOWN, "batteries"])

    assert message == (
        f"{path}: the disk is full; what was finished before is kept: free some space and run the same command again"
    )
    assert 0 < held < CASES
    assert (found.tally.found, found.tally.run) == (held, CASES - held)
    assert bits(found) == bits(grid)
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_the_study_may_be_a_file_or_read_before(tmp_path: Path) -> None:
    """With the same cases; what the file says of runs holds unless it is said otherwise."""
    file = tmp_path / "study.yaml"
    file.write_text(
        f"scenario: {TWO_ROOMS}\nvary: {{{BATTERIES}: [14, 16]}}\n"
        "simulation: {replications: 2, length: 8 h 24 min, warm_up: 0 weeks, seed: 4}\n",
        encoding="utf-8",
    )
    one, other = sweep(file, Settings(workers=1)), sweep(batsim.read_study(str(file)), Settings(workers=1, seed=5))

    assert (one.tally.run, other.tally.run) == (6, 6)
    assert (one.manifest["file"], one.manifest["seed"], other.manifest["seed"]) == (str(file), 4, 5)
    assert one.manifest["length_min"] == 504.0
    assert bits(one) != bits(other)
