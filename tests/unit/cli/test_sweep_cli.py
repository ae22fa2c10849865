"""Studies on the command line: what sweep, merge and export print and write, whole, and how a sweep is stopped."""

import csv
import json
import os
import re
import select
import shutil
import signal
import struct
import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

import batsim
from batsim.cli import main
from batsim.measures import MEASURES
from batsim.scenario.settings import Settings
from batsim.study.sweeps.agenda import cases_of
from batsim.study.sweeps.store import Store
from batsim.study.sweeps.store_file import DIGESTED
from batsim.study.sweeps.sweep import sweep
from tests.behaviour.sweeps import BATSIM, BATTERIES, RUN_TIME, TWO_ROOMS, tables

STUDY = """\
study: Do batteries count?
scenario: rooms.yaml
vary:
  layouts.north.batteries: [14, 18]
  trucks[0].run_time.mean: [5 h, 5.5 h]
design: grid
measures: [batteries, found_none_ready_share]
simulation: {replications: 2, length: 0.05 weeks, warm_up: 0 weeks}
"""
CASES = 12
FULL = "the disk is full; what was finished before is kept: free some space and run the same command again"
NOWHERE = "cannot be written or opened here; choose a folder that exists and can be written to"
GRID = """\
Do batteries count?
two rooms: grid, 4 points, 1 layout, 2 replications each
8 cases: 8 run in X s, 0 there before; kept in study.store

A: layouts.north.batteries
B: trucks[0].run_time.mean
batteries, batteries
               north
A 14, B 5 h       14
A 14, B 5.5 h     14
A 18, B 5 h       18
A 18, B 5.5 h     18

What matters for batteries in 'north'
                             rank correlation
layouts.north.batteries  1.00 (-0.82 to 1.00)
trucks[0].run_time.mean  0.00 (-0.96 to 0.96)
rank correlation: Spearman's, from -1 to 1: does the measure rise with the input?

± and the limits are those of 95 % intervals. All points share their random numbers, so that chance
does not pass for an effect. Every measure of every case: batsim export study.store cases.csv.
"""
SWINGS = """\
                               high less low              at low end          at high end
layouts.north.batteries  4.00 (4.00 to 4.00)  -2.00 (-2.00 to -2.00)  2.00 (2.00 to 2.00)
trucks[0].run_time.mean  0.00 (0.00 to 0.00)     0.00 (0.00 to 0.00)  0.00 (0.00 to 0.00)
high less low: measure at the high end less measure at the low end
at low end: measure at the low end of the input less measure with all inputs as the scenario states
them
at high end: the same at its high end
"""
EFFECTS = """\
                         mean size of effect  mean effect  spread of effect
layouts.north.batteries  6.00 (6.00 to 6.00)         6.00              0.00
trucks[0].run_time.mean  0.00 (0.00 to 0.00)         0.00              0.00
mean size of effect: mean change of the measure, whatever its sign, when the input goes over its
whole range
mean effect: the same with its sign; effects of both signs cancel
spread of effect: standard deviation of the effect: interactions and curvature
"""


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to work in with a small study, so that messages show short file names."""
    monkeypatch.chdir(tmp_path)
    shutil.copy(TWO_ROOMS, tmp_path / "rooms.yaml")
    written()
    return tmp_path


def written(*changes: tuple[str, str]) -> None:
    """Write the study with some lines changed."""
    text = STUDY
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    Path("study.yaml").write_text(text, encoding="utf-8")


def only(*, measures: str = "batteries", design: str = "grid") -> None:
    """Write the study of the north room with other measures and another design."""
    written(
        ("measures: [batteries, found_none_ready_share]", f"layouts: [north]\nmeasures: [{measures}]"),
        ("design: grid", f"design: {design}"),
    )


def call(*arguments: object) -> Result:
    """Run a command in this process."""
    return CliRunner().invoke(main, [str(each) for each in arguments])


def swept(*arguments: object) -> str:
    """What a sweep prints, without its time; it must end well and say nothing else."""
    result = call("sweep", "study.yaml", "--workers", 1, *arguments)
    assert (result.exit_code, result.stderr) == (0, "")
    return re.sub(r" in \d+\.\d s,", " in X s,", result.stdout)


def refused(*arguments: object) -> str:
    """What a command says that is refused."""
    result = call(*arguments)
    assert (result.exit_code, result.stdout) == (2, "")
    return result.stderr


def names() -> set[str]:
    """Files of the folder, without locks."""
    return {each.name for each in Path().iterdir() if each.suffix != ".lock"}


# --- sweep ---


def test_a_sweep_in_words(here: Path) -> None:
    """To the letter; the second time nothing is run."""
    only()

    assert swept() == GRID
    assert swept() == GRID.replace("8 run in X s, 0 there", "0 run in X s, 8 there")
    assert names() == {"rooms.yaml", "study.yaml", "study.store"}


def test_the_words_are_those_of_the_result(here: Path) -> None:
    """Every mean with its half width, layout by layout, measure by measure."""
    text = swept()
    found = sweep("study.yaml", Settings(workers=1))

    blocks = text.split("\n\n")
    assert [block.splitlines()[0] for block in blocks[1:-1]] == [
        "A: layouts.north.batteries",
        "What matters for batteries in 'north'",
        "What matters for batteries in 'south'",
        "A: layouts.north.batteries",
        "What matters for trucks that found none ready in 'north'",
        "What matters for trucks that found none ready in 'south'",
    ]
    lines = [line.split("  ") for line in blocks[4].splitlines()[4:]]
    shown = [[float(cell.split()[0]) for cell in line[1:] if cell.strip()] for line in lines]
    means = [
        [100.0 * found.interval(layout, "found_none_ready_share", point).mean for layout in found.layouts]
        for point in range(4)
    ]
    assert shown == [pytest.approx(row, abs=0.5) for row in means]
    assert blocks[4].splitlines()[2] == "trucks that found none ready"
    assert "5.5 h" in blocks[4]


def test_one_at_a_time_in_words(here: Path) -> None:
    """The point as it is stated comes first."""
    only(design="one_at_a_time")
    blocks = swept().split("\n\n")

    assert blocks[1].splitlines()[4:] == [
        "as stated     16",
        "A 14          14",
        "A 18          18",
        "B 5 h         16",
        "B 5.5 h       16",
    ]
    assert f"{blocks[2]}\n" == f"What matters for batteries in 'north', batteries\n{SWINGS}"


def test_effects_in_words(here: Path) -> None:
    """Of a design without points that could be read, the spread over them."""
    only(design="{morris: 6}")
    blocks = swept().split("\n\n")

    assert blocks[0].splitlines()[1] == "two rooms: morris of 6, 18 points, 1 layout, 2 replications each"
    assert blocks[1] == (
        "batteries, batteries\n"
        "                      north\n"
        "mean over all points   15.8\n"
        "5 % of points below      14\n"
        "95 % of points below     18"
    )
    assert f"{blocks[2]}\n" == f"What matters for batteries in 'north', batteries\n{EFFECTS}"


def test_what_does_not_vary_has_no_indices(here: Path) -> None:
    """A dash for each."""
    only(measures="chargers", design="{sobol: 4}")

    assert swept().split("\n\n")[2].splitlines()[:4] == [
        "What matters for chargers in 'north'",
        "                         total  first order",
        "layouts.north.batteries      -            -",
        "trucks[0].run_time.mean      -            -",
    ]


def test_a_sweep_as_json(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """That of the result in Python, but for the times and the command."""
    monkeypatch.setattr("sys.argv", ["/somewhere/batsim", "sweep", "study.yaml"])
    result = call("sweep", "study.yaml", "--workers", 1, "--json")
    data = json.loads(result.stdout)
    found = json.loads(json.dumps(sweep("study.yaml", Settings(workers=1)).as_json(), allow_nan=False))

    assert (result.exit_code, result.stderr) == (0, "")
    assert data["manifest"].pop("command") == "batsim sweep study.yaml"
    for each in (data, found):
        each["cases"].pop("wall_s")
        for key in ("begun", "ended", "wall_s", "command"):
            each["manifest"].pop(key, None)
    assert data == found


def test_options_go_before_what_the_study_says(here: Path) -> None:
    """Each arrives; the store is where it should be."""
    options = ("-r", 1, "--weeks", 0.04, "--warm-up", 0.01, "--seed", 8, "--store", "mine.db")
    data = json.loads(swept(*options, "--json"))

    assert (data["replications"], data["seed"], data["cases"]["run"]) == (1, 8, 6)
    assert (data["length_min"], data["warm_up_min"]) == pytest.approx((403.2, 100.8))
    assert names() == {"rooms.yaml", "study.yaml", "mine.db"}


@pytest.mark.parametrize(
    ("option", "value"),
    [("--workers", 0), ("--replications", 0), ("--seed", -1), ("--weeks", 0), ("--warm-up", -1), ("--workers", "two")],
)
def test_options_out_of_range(here: Path, option: str, value: object) -> None:
    """Are told at once."""
    message = refused("sweep", "study.yaml", option, value).splitlines()[-1]

    assert re.fullmatch(rf"Error: Invalid value for '(-r' / ')?{option}': '?{value}(\.0)?'? is not .*\.", message)
    assert names() == {"rooms.yaml", "study.yaml"}


def test_progress_is_silent_on_a_pipe(here: Path) -> None:
    """Nothing but the answer, once."""
    done = subprocess.run([BATSIM, "sweep", "study.yaml", "--workers", "1"], capture_output=True, text=True, check=True)

    assert done.stderr == ""
    assert done.stdout.count("Do batteries count?") == 1
    assert f"{CASES} cases: {CASES} run in " in done.stdout


# --- shards ---


def test_shards_and_merge(here: Path) -> None:
    """Each has its own store beside the study; together they are the whole."""
    whole = swept("--store", "whole.store")
    part = swept("--shard", "1/2")
    swept("--shard", "2/2")
    merged = call("merge", "all.store", "study.1-of-2.store", "study.2-of-2.store")

    assert part == (
        "Do batteries count?\n"
        "two rooms: grid, 4 points, 2 layouts, 2 replications each\n"
        "6 cases: 6 run in X s, 0 there before; kept in study.1-of-2.store\n"
        "\n"
        "6 cases are not in this store: run the other shards, put the stores together with merge.\n"
    )
    assert (merged.exit_code, merged.stderr) == (0, "")
    assert merged.stdout == "study.1-of-2.store: 6 new cases\nstudy.2-of-2.store: 6 new cases\n"
    again = swept("--store", "all.store")
    assert again == whole.replace("12 run in X s, 0 there", "0 run in X s, 12 there").replace(
        "whole.store", "all.store"
    )
    assert tables("all.store")["cases"] == tables("whole.store")["cases"]


def test_a_shard_as_json(here: Path) -> None:
    """Also where a layout has no point that is whole."""
    data = json.loads(swept("--shard", "1/12", "--json"))

    assert (data["cases"]["run"], data["cases"]["missing"]) == (1, 11)
    assert data["points"][0]["layouts"]["south"]["batteries"]["mean"] is None


def test_a_shard_that_is_none(here: Path) -> None:
    """Nothing is made."""
    assert refused("sweep", "study.yaml", "--shard", "3/2") == (
        "--shard needs a part of a whole, such as 3/20 (got 3/2)\n"
    )
    assert names() == {"rooms.yaml", "study.yaml"}


def test_merge_refuses(here: Path) -> None:
    """A store that is not there, one that is none, one with other numbers."""
    swept("--store", "one.store", "--shard", "1/2")
    shutil.copy("one.store", "other.store")
    with Store.open("other.store") as store:
        values = DIGESTED["cases"].replace("measures", "x'00'")
        store._connection.execute(f"UPDATE cases SET measures = x'00', digest = digest_of({values})")

    assert refused("merge", "all.store", "one.store", "nosuch.store") == "nosuch.store: there is no such store\n"
    assert refused("merge", "all.store", "study.yaml") == (
        "study.yaml: this is not a store of batsim, or it is damaged; choose another name\n"
    )
    assert refused("merge", "one.store", "other.store") == (
        "other.store: 6 of its cases have other numbers here; one of the two was made by a changed model\n"
    )
    assert "Missing argument 'STORES...'" in refused("merge", "all.store")


def test_merge_of_a_store_with_itself(here: Path) -> None:
    """By whatever name: it is said, and the others are taken over."""
    swept("--store", "one.store", "--shard", "1/2")
    swept("--store", "two.store", "--shard", "2/2")
    Path("link.store").symlink_to("one.store")

    said = call("merge", "one.store", "one.store", "link.store", "two.store").stdout

    itself = "the store itself, nothing to take over"
    assert said == f"one.store: {itself}\nlink.store: {itself}\ntwo.store: 6 new cases\n"


# --- what goes wrong ---


def test_a_broken_study(here: Path) -> None:
    """Every problem at its bay, and no store."""
    written(("batteries: [14, 18]", "batteries: [14, 0]"), ("design: grid", "design: grit"), ("study:", "studie:"))

    assert refused("sweep", "study.yaml") == (
        "study.yaml: 2 problems\n"
        "  study.yaml:1:1: studie: unknown key; did you mean 'study'?\n"
        "  study.yaml:6:9: design: needs grid, one_at_a_time, {latin_hypercube: POINTS}, {morris: TRAJECTORIES} or "
        "{sobol: POINTS}, such as {latin_hypercube: 64} (got 'grit')\n"
    )
    written(("batteries: [14, 18]", "batteries: [14, 0]"), ("found_none_ready_share", "found_non_ready_share"))
    assert refused("sweep", "study.yaml") == (
        "study.yaml: 2 problems\n"
        "  study.yaml:4:28: vary.'layouts.north.batteries': must be at least 1, or one for each battery type (got 0)\n"
        "  study.yaml:7:23: measures[1]: no measure of this name; did you mean 'found_none_ready_share'? "
        "(got found_non_ready_share)\n"
    )
    assert refused("sweep", "nosuch.yaml") == "nosuch.yaml: 1 problem\n  nosuch.yaml:1:1: there is no such file\n"
    assert names() == {"rooms.yaml", "study.yaml"}


def test_a_store_that_cannot_be_used(here: Path) -> None:
    """No store, no folder, somebody else at work."""
    text = Path("study.yaml").read_text(encoding="utf-8")

    assert refused("sweep", "study.yaml", "--store", "study.yaml") == (
        "study.yaml: this is not a store of batsim, or it is damaged; choose another name\n"
    )
    assert Path("study.yaml").read_text(encoding="utf-8") == text
    assert refused("sweep", "study.yaml", "--store", "no/a.store") == f"no/a.store: {NOWHERE}\n"
    with Store.open("study.store"):
        assert refused("sweep", "study.yaml") == (
            "study.store: another process is writing to this store; wait for it, or choose another name\n"
        )


def test_a_full_disk(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The message says that nothing is lost, and the same command goes on."""
    begin = Store.begin_manifest

    def fill(self: Store, manifest: dict[str, Any]) -> int:
        number = begin(self, manifest)
        count = self._connection.execute("PRAGMA page_count").fetchone()[0]
        self._connection.execute(f"PRAGMA max_page_count = {count}")
        return number

    with monkeypatch.context() as patch:
        patch.setattr(Store, "begin_manifest", fill)
        assert refused("sweep", "study.yaml", "--workers", 1, "--weeks", 0.1) == f"study.store: {FULL}\n"
    assert "12 cases: 12 run in X s, 0 there before" in swept("--weeks", 0.1)


def failing(_scenario: Any, layout: str, **_: Any) -> Any:
    """A simulation that breaks one of its own rules in one of the rooms."""
    msg = f"a battery of {layout} is in two bays"
    raise batsim.SimulationError(msg)


def test_cases_without_a_result(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The first five points, with what was changed, and how many there are more."""
    only(design="grid")
    text = Path("study.yaml").read_text(encoding="utf-8").replace("[14, 18]", "[14, 16, 18]")
    Path("study.yaml").write_text(text.replace("[5 h, 5.5 h]", "[4 h, 5 h]"), encoding="utf-8")
    monkeypatch.setattr("batsim.study.running.jobs.replicate", failing)
    head, failures, points, matters, _ = swept().split("\n\n")

    assert head.splitlines()[-1] == ("12 cases: 0 run in X s, 0 there before, 12 without a result; kept in study.store")
    lines = " ".join(failures.split())
    assert lines.startswith("12 cases without a result: north, 2 replications, layouts.north.batteries = ")
    assert lines.count("failed: a battery of north is in two bays") == 5
    assert lines.endswith("and 1 point more")
    assert points.splitlines()[-1].split() == ["A", "18,", "B", "5", "h", "-"]
    assert matters.splitlines()[-1] == "6 points without a result are left out."


# --- stopped ---


def test_control_c_says_where_it_goes_on(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What was finished is kept; before there is a store, nothing is said of it."""
    from batsim.study.running import jobs  # noqa: PLC0415 - its simulation is replaced here

    simulate, run = jobs.replicate, []

    def stopped(*arguments: Any, **options: Any) -> Any:
        run.append(options)
        if len(run) == 6:
            raise KeyboardInterrupt
        return simulate(*arguments, **options)

    def stopped_at_once(*_: Any, **__: Any) -> Any:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("batsim.study.sweeps.sweep.read_stated", stopped_at_once)
        early = call("sweep", "study.yaml")
    with monkeypatch.context() as patch:
        patch.setattr(jobs, "replicate", stopped)
        result = call("sweep", "study.yaml", "--workers", 1)

    assert (early.exit_code, early.stdout, early.stderr) == (130, "", "stopped\n")
    assert (result.exit_code, result.stdout) == (130, "")
    assert result.stderr == "what is finished is in study.store; the same command goes on from there\nstopped\n"
    assert "12 cases: 7 run in X s, 5 there before" in swept()


@pytest.mark.skipif(sys.platform == "win32", reason="signals and terminals differ")
def test_control_c_in_the_middle_of_it(here: Path) -> None:
    """As a terminal sends it, while two processes are at work; its line tells how far it is."""
    command = [BATSIM, "sweep", "study.yaml", "-r", "800", "--weeks", "0.1", "--workers", "2"]
    ours, theirs = os.openpty()
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=theirs, start_new_session=True)
    os.close(theirs)
    try:
        before = shown(ours, r"\b[1-9][0-9]* of 4800 cases")
        os.killpg(process.pid, signal.SIGINT)
        out, _ = process.communicate(timeout=20)
        rest = shown(ours, r"stopped\r\n$")
    finally:
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.communicate()
        os.close(ours)

    assert "\n" not in before
    assert (process.returncode, out) == (130, b"")
    assert "Traceback" not in rest
    assert rest.endswith("what is finished is in study.store; the same command goes on from there\r\nstopped\r\n")
    assert len(tables("study.store")["cases"]) > 0


def shown(terminal: int, until: str) -> str:
    """Read what a process shows on its terminal, until it shows something."""
    text = ""
    while not re.search(until, text):
        assert select.select([terminal], [], [], 30.0)[0], f"only: {text!r}"
        try:
            text += os.read(terminal, 10_000).decode()
        except OSError:
            pytest.fail(f"only: {text!r}")
    return text


# --- export ---


def exported(output: str = "cases.csv", store: str = "study.store") -> list[dict[str, str]]:
    """Rows of an exported table."""
    result = call("export", store, output)
    assert (result.exit_code, result.stderr) == (0, "")
    with Path(output).open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    dictionary = output.replace(".csv", ".dictionary.csv")
    assert result.stdout == (
        f"wrote {output}: {len(rows)} cases, {len(rows[0])} columns\n"
        f"wrote {dictionary}: unit and meaning of each column\n"
    )
    return rows


def dictionary_of(output: str = "cases.dictionary.csv") -> dict[str, tuple[str, str]]:
    """Unit and meaning by column."""
    with Path(output).open(newline="", encoding="utf-8") as file:
        return {row["column"]: (row["unit"], row["meaning"]) for row in csv.DictReader(file)}


def test_export_writes_a_row_for_each_case_of_each_point(here: Path) -> None:
    """With every input and measure, to the last bit of what the store holds."""
    swept()
    rows = exported()
    found = sweep("study.yaml", Settings(workers=1), store="study.store")

    assert [(row["point"], row["layout"], row["replication"]) for row in rows] == [
        (str(point), layout, str(replication))
        for point in range(4)
        for layout in ("north", "south")
        for replication in range(2)
    ]
    assert [(row[BATTERIES], row[RUN_TIME]) for row in rows[::4]] == [
        ("14", "5 h"),
        ("14", "5.5 h"),
        ("18", "5 h"),
        ("18", "5.5 h"),
    ]
    assert {(row["study"], row["seed"]) for row in rows} == {(found.agenda.id, "1")}
    kept = {row[0]: row[6] for row in tables("study.store")["cases"]}
    assert len(kept) == CASES
    keys = [case.key for point in found.agenda.points.all for case in cases_of(found.agenda.record, point)]
    for row, key in zip(rows, keys, strict=True):
        values = struct.unpack(f"<{len(MEASURES)}d", kept[key])
        assert [float(row[name] or "nan") for name in MEASURES] == pytest.approx(values, rel=0, abs=0, nan_ok=True)
    assert {row["batteries"] for row in rows if row["layout"] == "south"} == {"18.0"}


def test_export_tells_unit_and_meaning_of_every_column(here: Path) -> None:
    """In the order of the table; no cell is empty."""
    swept()
    columns = list(exported()[0])
    found = dictionary_of()

    assert list(found) == columns
    assert all(unit and meaning for unit, meaning in found.values())
    assert found["layout"] == ("text", "name of the layout")
    assert found[BATTERIES] == ("as in the scenario", "input: one of 14, 18")
    assert found["peak_kw"] == (MEASURES["peak_kw"].unit, MEASURES["peak_kw"].meaning)
    assert columns[:5] == ["study", "point", "layout", "replication", "seed"]
    assert columns[5:7] == [BATTERIES, RUN_TIME]
    assert columns[7:] == list(MEASURES)


def test_export_leaves_empty_what_has_no_number(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An input that is left as it is, a measure without meaning; a case without a result is left out."""
    from batsim.study.running import jobs  # noqa: PLC0415 - its simulation is replaced here

    simulate = jobs.replicate

    def sick(scenario: Any, layout: str, **options: Any) -> Any:
        if options["replication"] == 1 and layout == "south":
            return failing(scenario, layout)
        return simulate(scenario, layout, **options)

    monkeypatch.setattr(jobs, "replicate", sick)
    written(("design: grid", "design: one_at_a_time"))
    swept()
    rows = exported()

    assert [row[BATTERIES] for row in rows if row["layout"] == "north"] == ["", "", "14", "14", "18", "18"] + [""] * 4
    assert [row["replication"] for row in rows if row["layout"] == "south"] == ["0"] * 5
    nothing = [name for name in MEASURES if all(row[name] == "" for row in rows)]
    assert nothing  # such as what is measured in the truck only
    assert "nan" not in Path("cases.csv").read_text(encoding="utf-8")


def test_export_of_two_studies_has_the_columns_of_both(here: Path) -> None:
    """Values that are no plain text are JSON."""
    swept()
    written(
        ("layouts.north.batteries: [14, 18]", "layouts.*.devices: [{cart: 1}, {cart: 2}]"),
        ("trucks[0].run_time.mean: [5 h, 5.5 h]", "targets: [{waits: 90 % under 5 min}]"),
    )
    swept()
    rows = exported()
    other = "layouts.*.devices"

    assert set(list(rows[0])[5:9]) == {BATTERIES, RUN_TIME, other, "targets"}
    assert len({row["study"] for row in rows}) == 2
    assert {(row[BATTERIES], row[other]) for row in rows} == {
        ("14", ""),
        ("18", ""),
        ("", '{"cart": 1}'),
        ("", '{"cart": 2}'),
    }
    assert dictionary_of()["targets"] == ("as in the scenario", "input: one of {'waits': '90 % under 5 min'}")


def test_export_of_a_measure_that_some_points_lack(here: Path) -> None:
    """Without a target for waits, there is no share within it."""
    with Path("rooms.yaml").open("a", encoding="utf-8") as file:
        file.write("\ntargets: {waits: 90 % under 5 min}\n")
    written(
        ("layouts.north.batteries: [14, 18]", "targets: [{}, {waits: 80 % under 1 min}]"),
        ("batteries, found_none_ready_share", "wait_within_target_share"),
    )
    data = json.loads(swept("--json"))
    rows = exported()

    means = [point["layouts"]["north"]["wait_within_target_share"]["mean"] for point in data["points"]]
    assert [mean is None for mean in means] == [True, True, False, False]
    assert [row["wait_within_target_share"] == "" for row in rows] == [True] * 8 + [False] * 8


def test_export_to_parquet(here: Path) -> None:
    """The same table; inputs are text, measures numbers."""
    parquet = pytest.importorskip("pyarrow.parquet")
    swept()
    rows = exported()
    result = call("export", "study.store", "cases.parquet")
    table = parquet.read_table("cases.parquet")

    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout == (
        f"wrote cases.parquet: 16 cases, {len(rows[0])} columns\n"
        "wrote cases.dictionary.csv: unit and meaning of each column\n"
    )
    assert table.column_names == list(rows[0])
    kinds = {field.name: str(field.type) for field in table.schema}
    assert [kinds[name] for name in table.column_names[:7]] == ["string", "int64", "string", "int64", "int64"] + [
        "string"
    ] * 2
    assert {kinds[name] for name in MEASURES} == {"double"}
    for row, same in zip(rows, table.to_pylist(), strict=True):
        for name, value in same.items():
            number = name in MEASURES
            if number and (value is None or value != value):
                assert row[name] == ""
            else:
                assert (float(row[name]) if number else row[name]) == (value if number else str(value))


def test_parquet_is_an_extra(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without it, the message says what to install, and nothing is written."""
    swept()
    monkeypatch.setitem(sys.modules, "pyarrow", None)

    assert refused("export", "study.store", "cases.parquet") == (
        "Parquet needs the extra 'parquet': pip install 'batsim[parquet]'; or write a .csv\n"
    )
    assert names() == {"rooms.yaml", "study.yaml", "study.store"}


@pytest.mark.parametrize("name", ["cases.xlsx", "cases", "cases.CSV", ".csv"])
def test_another_kind_of_table(here: Path, name: str) -> None:
    """Is refused before the store is looked at."""
    assert refused("export", "nosuch.store", name) == f"{name}: a table must end in .csv or .parquet\n"


def test_export_refuses(here: Path) -> None:
    """What is no store, what holds no study, where nothing can be written; the store itself."""
    swept()
    Store.open("empty.store").close()
    shutil.copy("study.store", "kept.csv")
    before = Path("kept.csv").read_bytes()

    assert refused("export", "nosuch.store", "a.csv") == "nosuch.store: there is no such store\n"
    assert refused("export", "study.yaml", "a.csv") == (
        "study.yaml: this is not a store of batsim, or it is damaged; choose another name\n"
    )
    assert refused("export", "empty.store", "a.csv") == "empty.store: holds no study\n"
    assert refused("export", "study.store", "no/a.csv") == "no/a.csv: cannot be written: No such file or directory\n"
    assert refused("export", "kept.csv", "kept.csv") == (
        "kept.csv: this is the store itself; choose another name for the table\n"
    )
    assert Path("kept.csv").read_bytes() == before
    assert names() == {"rooms.yaml", "study.yaml", "study.store", "empty.store", "kept.csv"}


def test_parquet_where_nothing_can_be_written(here: Path) -> None:
    """The same words as for CSV."""
    pytest.importorskip("pyarrow")
    swept()

    assert refused("export", "study.store", "no/a.parquet") == (
        "no/a.parquet: cannot be written: No such file or directory\n"
    )
