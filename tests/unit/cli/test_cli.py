"""The command line: what each command prints and writes, its exit status, its JSON, and how it can be stopped."""

import json
import os
import re
import select
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner, Result

import batsim
from batsim.cli import main
from batsim.measures import MEASURES
from batsim.scenario.json_schema import scenario_schema

ROOT = Path(__file__).parents[3]
KESTREL = ROOT / "scenarios" / "kestrel-lane.yaml"
SOUND = Path(__file__).parents[1] / "broken" / "sound.yaml"
GUIDE = ROOT / "batsim" / "guide"
BATSIM = Path(sys.executable).with_name("batsim")
COMMANDS = (
    "bottleneck", "check", "compare", "day", "day-without", "decide", "export", "guide", "merge", "new", "plan",
    "report", "run", "schema", "sweep", "trace", "warm-up",
)  # fmt: skip
SHORT = ("-r", "2", "--weeks", "0.5", "--warm-up", "0", "--workers", "1")

PARTS = (
    "travel", "wait_station", "wait_battery", "wait_bay", "wait_attendant", "wait_device", "exchange",
    "charge_in_truck", "watering",
)  # fmt: skip
PROMISED = {
    "downtime_min_per_truck_shift",
    *(f"{part}_min_per_truck_shift" for part in PARTS),
    "availability_share", "exchanges_per_day", "wait_min_per_exchange", "wait_min_p95", "down_min_per_exchange",
    "found_none_ready_share", "none_ready_time_share", "station_busy_share", "charger_busy_share",
    "attendants_busy_share",
    "labour_min_per_day", "driver_waiting_min_per_day", "batteries", "batteries_per_truck", "chargers", "stations",
    "ready_batteries_mean", "ready_batteries_min", "energy_kwh_per_day", "peak_kw", "unfinished_exchanges",
    "trucks_below_cut_out",
}  # fmt: skip
"""Measures that others read from the JSON; their names do not change."""


def call(*arguments: str | Path, text: str | None = None) -> Result:
    """Run a command in this process."""
    return CliRunner().invoke(main, [str(each) for each in arguments], input=text)


def data_of(*arguments: str | Path) -> dict[str, Any]:
    """Run a command that prints JSON."""
    result = call(*arguments, "--json")
    assert (result.exit_code, result.stderr) == (0, "")
    return json.loads(result.stdout)


# --- help and version ---


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize("flag", ["--help", "-h"])
def test_every_command_has_help(command: str, flag: str) -> None:
    """What it does, and every option with its own line."""
    result = call(command, flag)

    assert result.exit_code == 0
    assert result.stdout.startswith(f"Usage: main {command} [OPTIONS]")
    for parameter in main.commands[command].params:
        if isinstance(parameter, click.Option):
            assert parameter.help
            assert parameter.opts[-1] in result.stdout


def test_help_lists_the_commands() -> None:
    """All of them, and no others."""
    result = call("--help")

    assert result.exit_code == 0
    assert tuple(main.commands) != ()
    assert tuple(sorted(main.commands)) == COMMANDS
    assert all(f"\n  {command} " in result.stdout for command in COMMANDS)


def test_help_is_quick_to_load() -> None:
    """Asking for help loads none of the heavy libraries."""
    code = (
        "import sys; from batsim.cli import main; main(['compare', '--help'], standalone_mode=False); "
        "print([name for name in ('numpy', 'pandas', 'scipy', 'simpy', 'pydantic', 'yaml') if name in sys.modules])"
    )

    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert done.stdout.endswith("[]\n")


def test_version() -> None:
    """The version of the package."""
    assert call("--version").stdout == f"batsim, version {batsim.__version__}\n"


@pytest.mark.parametrize("command", [[BATSIM], [sys.executable, "-m", "batsim"]])
def test_the_command_and_the_module_are_the_same(command: list[str | Path]) -> None:
    """Both read a scenario."""
    done = subprocess.run([*command, "check", KESTREL], capture_output=True, text=True, check=True)

    assert done.stdout == call("check", KESTREL).stdout


def test_an_unknown_command() -> None:
    """Is answered with the nearest one."""
    result = call("chekc", KESTREL)

    assert (result.exit_code, result.stdout) == (2, "")
    assert "No such command 'chekc'" in result.stderr


# --- guide ---


def test_guide_lists_its_topics() -> None:
    """Each with the title of its text."""
    result = call("guide")

    assert result.exit_code == 0
    head, *topics = result.stdout.splitlines()
    assert head == "Topics, each printed by 'batsim guide TOPIC':"
    assert topics
    for line in topics:
        name, title = line.split(maxsplit=1)
        assert (GUIDE / f"{name}.md").read_text(encoding="utf-8").startswith(f"# {title}\n")


def test_guide_prints_a_topic() -> None:
    """To the letter."""
    for text in GUIDE.glob("*.md"):
        result = call("guide", text.stem)
        assert (result.exit_code, result.stdout) == (0, text.read_text(encoding="utf-8"))


def test_guide_knows_its_topics() -> None:
    """Another is refused, with those that there are."""
    result = call("guide", "modle")

    assert (result.exit_code, result.stdout) == (2, "")
    topics = ", ".join(sorted(text.stem for text in GUIDE.glob("*.md")))
    assert result.stderr.endswith(f"Error: there is no guide of this name; known: {topics} (got modle)\n")


# --- new ---

ANSWERS = ("--site", "Here", "--trucks", "9", "--shifts", "2", "--voltage", "48", "--distance", "80")


@pytest.mark.parametrize("voltage", ["24", "36", "48", "80"])
@pytest.mark.parametrize("shifts", ["1", "2", "3"])
def test_new_writes_a_scenario_that_reads_well(tmp_path: Path, shifts: str, voltage: str) -> None:
    """For all shifts and voltages, from one truck up."""
    for trucks in ("1", "2", "25"):
        file = tmp_path / f"{trucks}.yaml"
        made = call("new", file, "--site", "Here", "--trucks", trucks, "--shifts", shifts, "--voltage", voltage,
                    "--distance", "80")  # fmt: skip

        assert (made.exit_code, made.stderr) == (0, "")
        assert made.stdout == f"wrote {file}; next: batsim check {file}, then batsim compare {file}\n"
        checked = call("check", file)
        assert (checked.exit_code, checked.stdout.splitlines()[0]) == (0, f"{file}: reads well")
        scenario = batsim.read(file)
        assert sum(group.count for group in scenario.trucks) == int(trucks)
        assert len(scenario.trucks[0].shifts) == int(shifts)
        volts = scenario.batteries["main battery"].nominal_v
        assert volts == float(voltage)


def test_new_can_be_compared_at_once(tmp_path: Path) -> None:
    """What it writes is a whole study."""
    file = tmp_path / "new.yaml"
    call("new", file, *ANSWERS)

    data = data_of("compare", file, *SHORT)

    assert list(data["layouts"]) == ["side rollers", "portable stands", "hoist", "in the truck"]


def test_new_asks_for_what_is_not_given(tmp_path: Path) -> None:
    """Prompts on a terminal; a wrong answer is asked again; defaults are taken by return."""
    file = tmp_path / "new.yaml"

    result = call("new", file, text="Mill Road\n0\n14\n3\n\n\n")

    assert result.exit_code == 0
    assert result.stdout == (
        "Name of the site: Mill Road\n"
        "Trucks in use: 0\n"
        "Error: 0 is not in the range 1<=x<=2000.\n"
        "Trucks in use: 14\n"
        "Shifts a day (1, 2 or 3): 3\n"
        "Battery voltage (24, 36, 48, 80) [48]: \n"
        "Metres from work to the room, one way [100.0]: \n"
        f"wrote {file}; next: batsim check {file}, then batsim compare {file}\n"
    )
    scenario = batsim.read(file)
    assert (scenario.site.name, scenario.trucks[0].count) == ("Mill Road", 14)


def test_new_states_the_power_if_known(tmp_path: Path) -> None:
    """Else the class stands in for it."""
    call("new", tmp_path / "known.yaml", *ANSWERS, "--power", "2.75")
    call("new", tmp_path / "guess.yaml", *ANSWERS)

    known, guess = (batsim.read(tmp_path / name).trucks[0].duty for name in ("known.yaml", "guess.yaml"))
    assert known is not None
    assert known.mean_kw == 2.75
    assert guess is not None
    assert guess.mean_kw == 2.4


def test_new_stops_when_the_answers_end(tmp_path: Path) -> None:
    """And writes nothing."""
    file = tmp_path / "new.yaml"

    result = call("new", file, text="Mill Road\n")

    assert (result.exit_code, file.exists()) == (1, False)
    assert result.stderr.endswith("Aborted!\n")


def test_new_does_not_write_over_a_file(tmp_path: Path) -> None:
    """Unless it is told to."""
    file = tmp_path / "new.yaml"
    file.write_text("mine\n", encoding="utf-8")

    refused = call("new", file, *ANSWERS)
    kept = file.read_text(encoding="utf-8")
    forced = call("new", file, *ANSWERS, "--force")

    assert (refused.exit_code, refused.stdout, kept) == (2, "", "mine\n")
    assert refused.stderr.endswith(f"Error: {file} is there already; choose another name or add --force\n")
    assert forced.exit_code == 0
    assert batsim.read(file).site.name == "Here"


@pytest.mark.parametrize(
    "name",
    [
        'The "Old" Mill', "O'Brien's", "a: b", "# 1", "- dash", "{x}", "[x]", "100 %", "no", "3.5", "back\\slash", "\\",
        "🔋 Zürich", "倉庫", "{{ 1 }}", "%s %d", "* star", "& more", "! bang", "| pipe", "> so", "@home", "`tick`", "~",
        "x" * 200, "<b>bold</b>", "trailing: ", 'quote at the end"', "$HOME",
    ],
)  # fmt: skip
def test_new_keeps_any_name(tmp_path: Path, name: str) -> None:
    """Whatever YAML would make of it."""
    file = tmp_path / "new.yaml"

    made = call("new", file, "--site", name, *ANSWERS[2:])

    assert (made.exit_code, made.stderr) == (0, "")
    assert batsim.read(file).site.name == name
    assert call("check", file).stdout.splitlines()[1] == f"  {name}"


@pytest.mark.parametrize(
    ("name", "rule"),
    [
        ("", "site.name: needs a name of 1 to 200 printable characters (got '')"),
        (" ", "site.name: needs a name of 1 to 200 printable characters (got ' ')"),
        ("x" * 201, f"site.name: needs a name of 1 to 200 printable characters (got '{'x' * 57}...')"),
        ("right\u202eleft", "the invisible character U+202E is not read; delete it"),
    ],
)
def test_new_refuses_names_that_cannot_be_shown(tmp_path: Path, name: str, rule: str) -> None:
    """With the message that reading it would give, and without a file."""
    file = tmp_path / "new.yaml"

    result = call("new", file, "--site", name, *ANSWERS[2:])

    assert (result.exit_code, result.stdout, file.exists()) == (2, "", False)
    assert rule in result.stderr


@pytest.mark.parametrize(
    ("option", "value"),
    [
        ("--trucks", "0"), ("--trucks", "2001"), ("--trucks", "2.5"), ("--shifts", "4"), ("--shifts", "0"),
        ("--voltage", "12"), ("--distance", "-1"), ("--distance", "nan"), ("--power", "0"), ("--power", "51"),
        ("--power", "nan"),
    ],
)  # fmt: skip
def test_new_refuses_answers_out_of_range(tmp_path: Path, option: str, value: str) -> None:
    """Each with a message and no file."""
    file = tmp_path / "new.yaml"

    result = call("new", file, *ANSWERS, option, value)

    assert (result.exit_code, result.stdout, file.exists()) == (2, "", False)
    assert len(result.stderr.splitlines()) > 1


def test_new_in_a_folder_that_is_not_there(tmp_path: Path) -> None:
    """The system's words and no traceback."""
    file = tmp_path / "none" / "new.yaml"

    result = call("new", file, *ANSWERS)

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.endswith("Error: FILE: cannot be written (No such file or directory); choose another file\n")


# --- check ---


@pytest.mark.parametrize("file", sorted((ROOT / "scenarios").glob("*.yaml")), ids=lambda file: file.stem)
def test_check_sums_up_a_scenario(file: Path) -> None:
    """Name, every group, every layout, and what rules of thumb cannot know."""
    result = call("check", file)
    scenario = batsim.read(file)
    lines = result.stdout.splitlines()

    assert (result.exit_code, result.stderr) == (0, "")
    assert lines[:2] == [f"{file}: reads well", f"  {scenario.site.name}"]
    for group in scenario.trucks:
        shifts = ", ".join(group.shifts)
        assert f"  {group.count} x {group.group} on {shifts}; battery {group.battery}" in lines
    for layout in scenario.layouts:
        assert f"  layout {layout}: {scenario.arrangement(layout).title}" in lines
    assert lines[-1] == "Rules of thumb know no queue and no spread; run 'batsim compare' for the answer."


# --- run and compare, for people ---


def test_compare_lays_the_layouts_side_by_side() -> None:
    """Heading, table, verdict, notes and cautions, in lines that fit."""
    result = call("compare", KESTREL, *SHORT)
    lines = result.stdout.splitlines()

    assert (result.exit_code, result.stderr) == (0, "")
    assert lines[0] == "Kestrel Lane parts warehouse (invented): 24 trucks, 3 shifts, 4 layouts"
    assert lines[1] == "2 replications of 0.5 weeks after 0 weeks of warm-up, seed 1"
    assert max(map(len, lines)) <= 100
    for word in (
        "side rollers",
        "portable stands",
        "hoist",
        "in the truck",
        "downtime",
        "labour, hands-on",
        "batteries",
    ):
        assert word in result.stdout
    assert "± is the half width of a 95 % interval for each mean; differences are paired." in result.stdout
    assert lines[-1] == "licensed, competent people."


def test_compare_of_one_replication_claims_nothing() -> None:
    """No intervals, no verdict."""
    result = call("compare", SOUND, *SHORT, "-r", "1")

    assert result.exit_code == 0
    assert "One replication carries no verdict; take at least two." in result.stdout
    assert "One replication has no intervals; take more to know how sure this is." in result.stdout
    assert "±" not in result.stdout


def test_run_prints_every_measure_of_each_layout() -> None:
    """With labels and units, whatever has a value."""
    result = call("run", KESTREL, *SHORT, "--layout", "hoist", "--layout", "in the truck")

    assert (result.exit_code, result.stderr) == (0, "")
    blocks = result.stdout.split("\n\n")
    assert blocks[1].startswith("hoist (Overhead hoist with a spreader beam)\n")
    assert blocks[2].startswith("in the truck (Charging in the truck)\n")
    for label in ("downtime per truck-shift", "availability", "peak load", "labour per working day"):
        assert f"  {label}" in blocks[1]
    assert "  waits within target" in blocks[1]
    assert blocks[3].startswith("hoist: downtime per truck-shift in 9 of 10 replications at most ")
    assert blocks[3].endswith("\n± and the limits are those of 95 % intervals.")
    assert blocks[4].startswith("Whether the parts fit")


def test_layouts_are_run_once_and_in_the_order_asked_for() -> None:
    """Even when one is named twice."""
    data = data_of("compare", KESTREL, *SHORT, "--layout", "hoist", "--layout", "side rollers", "--layout", "hoist")

    assert list(data["layouts"]) == ["hoist", "side rollers"]
    assert len(data["differences"]) == 2


# --- JSON ---


@pytest.fixture(scope="module")
def compared() -> dict[str, Any]:
    """Kestrel Lane, compared in two short replications."""
    return data_of("compare", KESTREL, *SHORT)


@pytest.mark.parametrize("command", ["run", "compare"])
def test_json_holds_what_is_promised(command: str) -> None:
    """Keys, settings, and every promised measure of every layout with its unit."""
    data = data_of(command, KESTREL, *SHORT, "--seed", "5")

    assert {"scenario", "seed", "replications", "weeks", "layouts", "differences"} <= set(data)
    assert data["scenario"] == "Kestrel Lane parts warehouse (invented)"
    assert (data["seed"], data["replications"], data["weeks"], data["warm_up_weeks"]) == (5, 2, 0.5, 0.0)
    assert list(data["layouts"]) == ["side rollers", "portable stands", "hoist", "in the truck"]
    for layout in data["layouts"].values():
        assert set(layout["measures"]) >= PROMISED
        assert set(layout["measures"]) >= set(MEASURES)
        for name, measure in layout["measures"].items():
            assert set(measure) - {"count"} == {"mean", "low", "high", "unit"}
            assert measure["unit"] == (MEASURES[name].unit if name in MEASURES else "1")
            numbers = [measure[key] for key in ("low", "mean", "high")]
            if "count" in measure:  # too few events for an interval
                assert numbers == [None, measure["mean"], None]
                assert 0 <= measure["count"]["replications_with"] <= measure["count"]["replications"] == 2
            else:
                assert numbers == [None, None, None] or numbers == sorted(numbers)
    assert (data["differences"] == []) == (command == "run")


def test_json_holds_null_for_what_is_no_number(compared: dict[str, Any]) -> None:
    """What has no meaning in a layout."""
    measures = compared["layouts"]["in the truck"]["measures"]

    for name in ("attendants_busy_share", "ready_batteries_mean"):
        assert measures[name] == {"mean": None, "low": None, "high": None, "unit": MEASURES[name].unit}


def test_json_measures_fit_together(compared: dict[str, Any]) -> None:
    """Counts are those of the scenario; parts add up to the downtime; shares are shares."""
    for layout in compared["layouts"].values():
        mean = {name: measure["mean"] for name, measure in layout["measures"].items()}
        parts = sum(mean[f"{part}_min_per_truck_shift"] for part in PARTS)
        assert parts == pytest.approx(mean["downtime_min_per_truck_shift"])
        assert mean["batteries_per_truck"] == pytest.approx(mean["batteries"] / 24)
        assert all(0.0 <= value <= 1.0 for name, value in mean.items() if name.endswith("_share") and value is not None)
    assert [layout["measures"]["batteries"]["mean"] for layout in compared["layouts"].values()] == [82, 82, 82, 24]


def test_json_differences_name_every_pair(compared: dict[str, Any]) -> None:
    """In downtime and labour, each with its interval."""
    pairs = [(each["measure"], each["layout"], each["other"]) for each in compared["differences"]]

    assert len(pairs) == len(set(pairs)) == 12
    for each in compared["differences"]:
        assert set(each) == {
            "measure",
            "layout",
            "other",
            "mean",
            "low",
            "high",
            "unit",
            "correlation",
            "variance_reduction",
        }
        means = [compared["layouts"][each[key]]["measures"][each["measure"]]["mean"] for key in ("layout", "other")]
        assert each["mean"] == pytest.approx(means[0] - means[1], abs=1e-9)
        assert each["low"] <= each["mean"] <= each["high"]
    assert compared["verdict"].endswith(".")
    assert compared["layouts"]["hoist"]["targets"].keys() == {
        "downtime at most 15 min per truck-shift",
        "95 % of waits under 15 min",
    }


def test_one_replication_has_no_limits() -> None:
    """They are null, also in the differences."""
    data = data_of("compare", SOUND, *SHORT, "-r", "1")

    for layout in data["layouts"].values():
        assert {(measure["low"], measure["high"]) for measure in layout["measures"].values()} == {(None, None)}
    assert {(each["low"], each["high"], each["correlation"]) for each in data["differences"]} == {(None, None, None)}


def test_json_is_the_same_for_the_same_seed(monkeypatch: pytest.MonkeyPatch) -> None:
    """To the byte, also on two processes; another seed gives other numbers."""
    monkeypatch.setattr("batsim.study.running.executors.POOL_PAYS_S", 0.0)
    command = ("compare", SOUND, *SHORT[:-2], "--json")

    one, again, two = (call(*command, "--workers", workers).stdout for workers in ("1", "1", "2"))
    other = call(*command, "--workers", "1", "--seed", "2").stdout

    assert one == again == two
    assert one != other
    assert json.loads(one).keys() == json.loads(other).keys()


def test_json_is_text_in_utf_8(tmp_path: Path) -> None:
    """Names come out as they went in, whatever the locale."""
    file = tmp_path / "new.yaml"
    call("new", file, "--site", "🔋 Zürich", *ANSWERS[2:])
    environment = {**os.environ, "LC_ALL": "C", "PYTHONUTF8": "1"}

    done = subprocess.run([BATSIM, "run", file, *SHORT, "--json"], capture_output=True, env=environment, check=True)

    assert json.loads(done.stdout.decode("utf-8"))["scenario"] == "🔋 Zürich"


def test_schema_is_json() -> None:
    """The schema that the reader exports."""
    result = call("schema")

    assert (result.exit_code, result.stderr) == (0, "")
    assert json.loads(result.stdout) == scenario_schema()


# --- options that cannot be ---


@pytest.mark.parametrize("command", ["run", "compare"])
def test_an_unknown_layout(command: str) -> None:
    """Is answered with the nearest one, or with those there are; every unknown one at once."""
    result = call(command, SOUND, "--layout", "in truck", "--layout", "xyz")

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        f"{SOUND}: 2 problems\n"
        f"  {SOUND}: layouts.in truck: no layout of this name; did you mean 'in the truck'?\n"
        f"  {SOUND}: layouts.xyz: no layout of this name; known: extractor, in the truck\n"
    )


@pytest.mark.parametrize(
    ("option", "value"),
    [
        ("-r", "0"), ("-r", "100001"), ("-r", "two"), ("--replications", "1.5"), ("--weeks", "0"), ("--weeks", "-1"),
        ("--weeks", "1041"), ("--weeks", "inf"), ("--weeks", "nan"), ("--weeks", "0.001"), ("--warm-up", "-1"),
        ("--warm-up", "nan"), ("--warm-up", "1041"), ("--seed", "-1"), ("--seed", "2147483648"), ("--workers", "0"),
        ("--workers", "-2"), ("--no-such-option", "1"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("command", ["run", "compare"])
def test_options_out_of_range(command: str, option: str, value: str) -> None:
    """Status 2 and a message, nothing simulated."""
    result = call(command, SOUND, option, value)

    assert (result.exit_code, result.stdout) == (2, "")
    assert value in result.stderr or "No such option" in result.stderr
    assert "Traceback" not in result.stderr


def test_a_file_must_be_named() -> None:
    """Every command but schema wants one."""
    for command in ("check", "run", "compare", "new"):
        result = call(command)
        assert (result.exit_code, result.stdout) == (2, "")
        assert result.stderr.endswith("Error: Missing argument 'FILE'.\n")


# --- our own faults ---


def test_a_fault_of_ours_is_owned(monkeypatch: pytest.MonkeyPatch) -> None:
    """One message that says so, status 1; a traceback only when asked for."""

    def fail(*_: object, **__: object) -> None:
        msg = "the sum is wrong"
        raise ArithmeticError(msg)

    monkeypatch.setattr("batsim.study.first_estimate.outline", fail)

    result = call("check", SOUND)
    debugged = call("--debug", "check", SOUND)

    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr == (
        "batsim: internal error: ArithmeticError: the sum is wrong\n"
        "This is batsim's fault, not yours; run again with 'batsim --debug ...' for a trace.\n"
    )
    assert isinstance(debugged.exception, ArithmeticError)


def test_our_own_errors_need_no_class_name(monkeypatch: pytest.MonkeyPatch) -> None:
    """An error that batsim raises on purpose says what it is."""

    def fail(*_: object, **__: object) -> None:
        msg = "a battery is in two bays"
        raise batsim.SimulationError(msg)

    monkeypatch.setattr("batsim.run", fail)

    result = call("run", SOUND)

    assert (result.exit_code, result.stderr.splitlines()[0]) == (
        1,
        "batsim: internal error: a battery is in two bays",
    )


# --- pipes and signals ---


def test_progress_is_silent_on_a_pipe() -> None:
    """Nothing but the answer."""
    done = subprocess.run([BATSIM, "compare", SOUND, *SHORT], capture_output=True, text=True, check=True)

    assert done.stderr == ""
    assert done.stdout == call("compare", SOUND, *SHORT).stdout


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are not on Windows")
def test_progress_is_shown_on_a_terminal() -> None:
    """It counts up, and is wiped out at the end."""
    ours, theirs = os.openpty()
    done = subprocess.run([BATSIM, "compare", SOUND, *SHORT], stdout=subprocess.PIPE, stderr=theirs, check=True)
    os.close(theirs)
    shown = os.read(ours, 10_000).decode()
    os.close(ours)

    assert b"downtime" in done.stdout
    assert "1 of 4 replications" in shown
    assert shown.endswith("\r\x1b[K\r")


@pytest.mark.parametrize("arguments", [("check", KESTREL), ("schema",), ("run", SOUND, *SHORT, "--json")])
def test_a_reader_that_has_gone_is_no_error(arguments: tuple[str | Path, ...]) -> None:
    """As `batsim check X | head -1` leaves it."""
    read_end, write_end = os.pipe()
    os.close(read_end)

    done = subprocess.run([BATSIM, *arguments], stdout=write_end, stderr=subprocess.PIPE, text=True, check=False)
    os.close(write_end)

    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.skipif(sys.platform == "win32", reason="needs head")
def test_head_takes_one_line() -> None:
    """The pipe of a shell."""
    command = f"'{BATSIM}' check '{KESTREL}' | head -1"

    done = subprocess.run(["bash", "-o", "pipefail", "-c", command], capture_output=True, text=True, check=False)

    assert (done.returncode, done.stdout, done.stderr) == (0, f"{KESTREL}: reads well\n", "")


def shown_until(terminal: int, enough: Callable[[str], object], seconds: float = 30.0) -> str:
    """Read what a process shows on its terminal, until it is enough or the last writer has gone."""
    text, end = "", time.monotonic() + seconds
    while not enough(text) and time.monotonic() < end:
        if select.select([terminal], [], [], 0.1)[0]:
            try:
                text += os.read(terminal, 10_000).decode()
            except OSError:  # nobody holds the other end any more
                return text
    assert enough(text), f"not within {seconds} s, only: {text!r}"
    return text


@pytest.mark.skipif(sys.platform == "win32", reason="signals differ")
@pytest.mark.parametrize("workers", ["1", "2"])
def test_control_c_stops_at_once(workers: str) -> None:
    """As a terminal sends it, to the whole group: status 130, one word, no traceback, nobody left behind."""
    command = [BATSIM, "compare", KESTREL, "-r", "5000", "--weeks", "1", "--workers", workers]
    ours, theirs = os.openpty()
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=theirs, start_new_session=True)
    os.close(theirs)
    try:
        # The first few are done in one process; from there on, two are at work if there are to be two.
        shown_until(ours, lambda text: re.search(r"\b[1-9][0-9]+ of 20000 replications", text))
        os.killpg(process.pid, signal.SIGINT)
        out, _ = process.communicate(timeout=10)
        rest = shown_until(ours, lambda _: False, seconds=10)
    finally:
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.communicate()
        os.close(ours)

    assert (process.returncode, out) == (130, b"")
    assert rest.endswith("stopped\r\n")
    assert "Traceback" not in rest


def test_new_shows_what_a_survey_may_bring(tmp_path: Path) -> None:
    """With the marks taken away the lines of the plan are read as they stand."""
    file = tmp_path / "new.yaml"
    call("new", file, *ANSWERS)
    text = file.read_text(encoding="utf-8")
    start, end = text.index("# present: hoist"), text.index("# and of the trucks")
    stated = "".join(line.removeprefix("# ") for line in text[start:end].splitlines(keepends=True))
    file.write_text(text[:start] + stated + text[end:], encoding="utf-8")

    scenario = batsim.read(file)

    assert (scenario.present, scenario.room.fan_m3_per_h, scenario.supply.spare_kva) == ("hoist", 2000.0, 250.0)
    assert scenario.equipment["hand_pallet_truck"].fork_length_mm == 1040.0
