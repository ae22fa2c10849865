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
from batsim.cli.guide import TOPICS
from batsim.measures import MEASURES
from batsim.scenario.json_schema import scenario_schema

ROOT = Path(__file__).parents[3]
KESTREL = ROOT / "scenarios" / "kestrel-lane.yaml"
SOUND = Path(__file__).parents[1] / "broken" / "sound.yaml"
GUIDE = ROOT / "batsim" / "guide"
BATSIM = Path(sys.executable).with_name("batsim")
COMMANDS = (
    "bottleneck", "calibrate", "check", "compare", "day", "day-without", "decide", "export", "guide", "merge",
    "new", "plan", "replay", "report", "run", "schema", "survey", "sweep", "trace", "verify", "warm-up",
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
    """In a newcomer's order, each with the title of its text, which is a question."""
    result = call("guide")

    assert result.exit_code == 0
    head, *topics = result.stdout.splitlines()
    assert head == "Topics, each printed by 'batsim guide TOPIC':"
    assert [line.split()[0] for line in topics] == list(TOPICS)
    assert sorted(TOPICS) == sorted(text.stem for text in GUIDE.glob("*.md"))
    for line in topics:
        name, title = line.split(maxsplit=1)
        assert title.endswith("?")
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
    topics = ", ".join(TOPICS)
    assert result.stderr.endswith(f"Error: there is no guide of this name; known: {topics} (got modle)\n")


# --- new ---


@pytest.fixture
def short_trials(monkeypatch: pytest.MonkeyPatch) -> None:
    """Counts are tried for a few days only."""
    trial = batsim.Settings(replications=1, weeks=0.5, warm_up_weeks=0.5, workers=1)
    monkeypatch.setattr("batsim.study.starter.QUICK", trial)
    monkeypatch.setattr("batsim.study.starter.TRIAL", trial)


GROUP = "count: 9, voltage: 48 V, shifts: [early, late], removal: either, distance: 80 m"
ANSWERS = ("--site", "Here", "--group", GROUP)


@pytest.mark.parametrize(
    ("trucks", "shifts", "voltage"),
    [("1", "day", "24"), ("2", "early, late", "36"), ("7", "early, late, night", "48"), ("25", "day", "80")],
)
@pytest.mark.usefixtures("short_trials")
def test_new_writes_a_scenario_that_reads_well(tmp_path: Path, trucks: str, shifts: str, voltage: str) -> None:
    """For all usual shifts and voltages, from one truck up."""
    file = tmp_path / "Mill Road.yaml"
    made = call("new", file, "--group", f"count: {trucks}, voltage: {voltage} V, shifts: [{shifts}]")

    assert (made.exit_code, made.stderr) == (0, "")
    assert made.stdout == f"wrote {file}; next: batsim check {file}, then batsim compare {file}\n"
    checked = call("check", file)
    assert (checked.exit_code, checked.stdout.splitlines()[0]) == (0, f"{file}: reads well")
    scenario = batsim.read(file)
    (group,) = scenario.trucks
    assert (scenario.site.name, group.count, group.shifts) == ("Mill Road", int(trucks), tuple(shifts.split(", ")))
    assert group.compartment.voltage_v == scenario.batteries[group.battery].nominal_v == float(voltage)


@pytest.mark.usefixtures("short_trials")
def test_new_can_be_compared_at_once(tmp_path: Path) -> None:
    """What it writes is a whole study."""
    file = tmp_path / "new.yaml"
    call("new", file, *ANSWERS)

    data = data_of("compare", file, *SHORT)

    assert list(data["layouts"]) == ["side rollers", "portable stands", "hoist", "in the truck"]


@pytest.mark.usefixtures("short_trials")
def test_new_of_a_mixed_site_is_compared_and_planned(tmp_path: Path) -> None:
    """Areas in one layout, and what is there today beside them."""
    file = tmp_path / "new.yaml"
    made = call("new", file, "--group", "group: reach, count: 2, class: reach_1_6t_48v, shifts: [early], removal: side",
                "--group", "group: tow, count: 2, voltage: 80 V, shifts: [early], removal: top", "--attendants", "none",
                "--today", "for: [reach], handling: side_rollers, batteries: 4, chargers: 2 x electronic_iuia 48 V",
                "--today", "for: [tow], handling: in_truck, chargers: 2 x electronic_iuia 80 V")  # fmt: skip

    assert (made.exit_code, made.stderr) == (0, "")
    assert call("check", file).stdout.splitlines()[0] == f"{file}: reads well"
    compared = data_of("compare", file, *SHORT)
    planned = data_of("plan", file, *SHORT)

    layouts = ["side rollers and hoist", "portable stands and hoist", "in the truck", "today"]
    assert [*compared["layouts"]] == [*planned["layouts"]] == layouts
    assert [*compared["layouts"]["today"]["groups"]] == ["reach", "tow"]


@pytest.mark.usefixtures("short_trials")
def test_new_asks_for_what_is_not_given(tmp_path: Path) -> None:
    """Prompts on a terminal; a wrong answer is asked again; defaults are taken by return."""
    file = tmp_path / "new.yaml"
    answers = ["Mill Road", "4", "1", "Mon-Fri 7-15", "Mon-Sat 07:00-15:00", "16:00 for 10 min", "none",
               "", "0", "14", "48", "", "reach_48v", "", "lead acid", "", "", "2 kW/h", "2.4 kW", "",
               "120 m", "nite", "", "", "", "n"]  # fmt: skip

    result = call("new", file, text="".join(f"{answer}\n" for answer in answers))

    assert result.exit_code == 0
    assert result.stdout.splitlines() == [
        "Name of the site: Mill Road",
        "Shifts a day (1, 2 or 3): 4",
        "Error: 4 is not in the range 1<=x<=3.",
        "Shifts a day (1, 2 or 3): 1",
        "Hours of shift 'day' [Mon-Fri 07:00-15:30]: Mon-Fri 7-15",
        "Error: needs days and times such as 'Mon-Fri 06:00-14:00' (got 'Mon-Fri 7-15')",
        "Hours of shift 'day' [Mon-Fri 07:00-15:30]: Mon-Sat 07:00-15:00",
        "Breaks of shift 'day' (none: no break) [12:00 for 30 min]: 16:00 for 10 min",
        "Error: a break must lie inside its shift (got 16:00 for 10 min in 07:00 to 15:00)",
        "Breaks of shift 'day' (none: no break) [12:00 for 30 min]: none",
        "Name of the first truck group [trucks]: ",
        "Trucks of 'trucks' in use: 0",
        "Error: must be at least 1 (got '0')",
        "Trucks of 'trucks' in use: 14",
        "Battery voltage [48 V]: 48",
        "Error: needs a voltage with a unit, such as '48 V' (got '48')",
        "Battery voltage [48 V]: ",
        f"{CLASS}reach_48v",
        "Error: not in the catalogue; did you mean 'reach_1_6t_48v'? (got 'reach_48v')",
        f"{CLASS}",
        "Battery (lead, gel, lithium) [lead]: lead acid",
        "Error: must be lead, gel or lithium; did you mean 'lead'? (got 'lead acid')",
        "Battery (lead, gel, lithium) [lead]: ",
        "Capacity [750 Ah at 5 h]: ",
        f"{POWER}: 2 kW/h",
        "Error: does not know the unit 'kW/h'; did you mean 'kW'? (got '2 kW/h')",
        f"{POWER}: 2.4 kW",
        "Battery leaves at: side, top, either, or none (it stays in) [either]: ",
        "Way from work to the battery room [100 m]: 120 m",
        "Shifts that they work [day]: nite",
        "Error: no shift of this name; known: day (got 'nite')",
        "Shifts that they work [day]: ",
        "Name of one more truck group (empty: no more): ",
        "Attendants of the battery room on shift 'day' (0: drivers exchange) [1]: ",
        "Is it known what is there today? [y/N]: n",
        f"wrote {file}; next: batsim check {file}, then batsim compare {file}",
    ]
    scenario = batsim.read(file)
    (group,) = scenario.trucks
    assert (scenario.site.name, group.count, group.duty.mean_kw, group.to_room.distance_m) == (
        "Mill Road",
        14,
        2.4,
        120.0,
    )
    assert (scenario.week.shifts["day"].days, scenario.week.shifts["day"].breaks) == ((0, 1, 2, 3, 4, 5), ())
    assert (scenario.present, list(scenario.layouts["hoist"].attendants)) == (None, ["day"])


CLASS = "Truck class (counterbalance_1_6t_48v, counterbalance_2_0t_48v, reach_1_6t_48v) [counterbalance_2_0t_48v]: "
POWER = "Mean power at work, such as 2.4 kW, or energy in a shift, such as 18 kWh (empty: not known)"


@pytest.mark.usefixtures("short_trials")
def test_new_asks_for_one_group_after_another(tmp_path: Path) -> None:
    """Who works when, and what is there today, which is asked again where it cannot be; what is given is not asked."""
    file = tmp_path / "new.yaml"
    reach = ["reach", "6", "48 V", "reach_1_6t_48v", "", "600 Ah at 5 h", "15 kWh", "", "", ""]
    pickers = ["reach", "pickers", "4", "24 V", "order_picker_24v", "gel", "", "", "none", "", "early"]
    before = ["y", "side_rollers", "1", "6", "9 x electronic_iuia 48 V", "in_truck", ""]
    after = ["side_rollers", "2", "13", "9 x electronic_iuia 48 V", "in_truck", ""]
    answers = [*reach, *pickers, "", "0", "1", *before, *after]

    result = call("new", file, "--site", "S", "--shift", "early", "--shift", "late",
                  text="".join(f"{answer}\n" for answer in answers))  # fmt: skip

    assert result.exit_code == 0, result.output
    said = result.stdout.splitlines()
    assert "Error: another group has this name (got 'reach')" in said
    deadlock = "Error: would deadlock: without a spare battery of type 'lead 48 V 600 Ah' no exchange can ever start; "
    assert [line for line in said if line.startswith(deadlock)]
    scenario = batsim.read(file)
    reach_group, pickers_group = scenario.trucks
    assert (reach_group.duty.energy_per_shift_kwh, reach_group.shifts) == (15.0, ("early", "late"))
    assert (pickers_group.battery, pickers_group.compartment.removal) == ("gel 24 V 450 Ah", "none")
    today = scenario.layouts["today"]
    assert (scenario.present, today.attendants) == ("today", {"late": 1})
    assert [area.exchange_by for area in today.areas.values()] == [{"early": "drivers", "late": "attendants"}, None]
    areas = {name: (area.groups, area.handling, area.stations) for name, area in today.areas.items()}
    assert areas == {
        "reach": (("reach",), "side_rollers", 2.0), "pickers": (("pickers",), "in_truck", None),
    }  # fmt: skip
    assert scenario.batteries_of("today") == {"lead 48 V 600 Ah": 13, "gel 24 V 450 Ah": 4}
    assert today.chargers_by_type == {"electronic_iuia 48 V": 9.0, "gel_iu 24 V": 4.0}


@pytest.mark.usefixtures("short_trials")
def test_new_states_the_power_if_known(tmp_path: Path) -> None:
    """Else the class stands in for it."""
    call("new", tmp_path / "known.yaml", "--group", f"{GROUP}, mean_power: 2.75 kW")
    call("new", tmp_path / "guess.yaml", *ANSWERS)

    known, guess = (batsim.read(tmp_path / name).trucks[0].duty for name in ("known.yaml", "guess.yaml"))
    assert known is not None
    assert known.mean_kw == 2.75
    assert guess is not None
    assert guess.mean_kw == 2.4


@pytest.mark.usefixtures("short_trials")
def test_new_stops_when_the_answers_end(tmp_path: Path) -> None:
    """And writes nothing."""
    file = tmp_path / "new.yaml"

    result = call("new", file, text="Mill Road\n")

    assert (result.exit_code, file.exists()) == (1, False)
    assert result.stderr.endswith("Aborted!\n")


@pytest.mark.usefixtures("short_trials")
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
@pytest.mark.usefixtures("short_trials")
def test_new_keeps_any_name(tmp_path: Path, name: str) -> None:
    """Whatever YAML would make of it."""
    file = tmp_path / "new.yaml"

    made = call("new", file, "--site", name, "--group", "count: 1, voltage: 24 V, removal: none")

    assert (made.exit_code, made.stderr) == (0, "")
    assert batsim.read(file).site.name == name
    assert call("check", file).stdout.splitlines()[1] == f"  {name}"


@pytest.mark.parametrize(
    ("name", "rule"),
    [
        ("", "site: needs a name of 1 to 200 printable characters (got '')"),
        (" ", "site: needs a name of 1 to 200 printable characters (got ' ')"),
        ("x" * 201, f"site: needs a name of 1 to 200 printable characters (got '{'x' * 57}...')"),
        ("right\u202eleft", "site: needs a name of 1 to 200 printable characters"),
    ],
)
@pytest.mark.usefixtures("short_trials")
def test_new_refuses_names_that_cannot_be_shown(tmp_path: Path, name: str, rule: str) -> None:
    """With the message that reading it would give, and without a file."""
    file = tmp_path / "new.yaml"

    result = call("new", file, "--site", name, *ANSWERS[2:])

    assert (result.exit_code, result.stdout, file.exists()) == (2, "", False)
    assert rule in result.stderr


@pytest.mark.usefixtures("short_trials")
def test_new_refuses_what_options_say_wrongly(tmp_path: Path) -> None:
    """Everything at once, each at its place in its option, and no file."""
    file = tmp_path / "new.yaml"
    options = {
        "--site": [" "],
        "--currency": ["euro"],
        "--shift": ["early", "room: {days: Mon-Fri, from: 08:00}", "late: {days: Mon-Fr, from: 14:00, to: 22:00}"],
        "--group": [
            "group: reach, count: 0, voltage: 48, colour: red",
            "group: reach, count: 3, class: reech_1_6t_48v, shifts: [early, nite]",
            "{group: stackers, count: 2, voltage: 72 V}",
            "group: tow, count: 2, voltage: 25 V, capacity: 500 Ah at 5 h, mean_power: 1 kW, energy_per_shift: 5 kWh",
        ],
        "--attendants": ["early: 1, weekend: 1"],
        "--today": ["for: [reach, stackrs], handling: side_rollers, stations: 0, chargers: 9"],
    }

    result = call(
        "new", file, *(part for option, texts in options.items() for text in texts for part in (option, text))
    )

    assert (result.exit_code, result.stdout, file.exists()) == (2, "", False)
    assert result.stderr.splitlines() == WRONG


WRONG = [
    "batsim new: 14 problems",
    "  batsim new: currency: needs the three capital letters of a currency, such as EUR (got 'euro')",
    "  batsim new: site: needs a name of 1 to 200 printable characters (got ' ')",
    "  --group 1:1:22: groups[0].count: must be at least 1 (got 0)",
    "  --group 1:1:34: groups[0].voltage: needs a voltage with a unit, such as '48 V' (got 48)",
    "  --group 1:1:38: groups[0].colour: unknown key",
    "  --group 2:1:32: groups[1].class: not in the catalogue; did you mean 'reach_1_6t_48v'? (got 'reech_1_6t_48v')",
    "  --group 3:1:1: groups[2].capacity: missing: the catalogue has no battery to start from (lead, 72 V); "
    "'750 Ah at 5 h'",
    "  --group 3:1:1: groups[2].mean_power: no truck class stands in for 72 V; state 'mean_power', 'energy_per_shift' "
    "or a 'class'",
    "  --group 4:1:32: groups[3].voltage: lead batteries have cells of 2 V (got 25 V)",
    "  --group 4:1:75: groups[3].mean_power: 'energy_per_shift' is stated too; keep one of the two",
    "  --shift 2:1:7: shifts.room: a shift needs either 'to' or 'length'",
    "  --shift 3:1:14: shifts.late.days: needs weekdays such as Mon-Fri, Sun-Thu or Mon, Wed, Fri (got 'Mon-Fr')",
    "  --today 1:1:58: today[0].stations: must be at least 1 (got 0)",
    "  --today 1:1:71: today[0].chargers: needs a count and a charger type, such as '44 x electronic_iuia' (got 9)",
]


@pytest.mark.parametrize(
    ("options", "messages"),
    [
        (
            ("--group", "group: reach, count: 3, voltage: 48 V, shifts: [early, nite]",
             "--group", "group: reach, count: 2, voltage: 80 V", "--attendants", "early: 1, weekend: 1",
             "--today", "for: [reach, stackrs], handling: side_rollers, chargers: 9 x electronic_iuia"),
            ("--attendants:1:1: attendants: no shift of this name; known: early (got 'weekend')",
             "--group 1:1:48: groups[0].shifts: no shift of this name; known: early (got 'nite')",
             "--group 2:1:8: groups[1].group: another group has this name (got 'reach')",
             "--today 1:1:6: today[0].for: no truck group of this name; known: reach, reach (got 'stackrs')"),
        ),
        (
            ("--group", "count: 3, voltage: 48 V, mean_power: 40 kW"),
            ("batsim new: trucks[0].duty.mean_power: would empty 'lead 48 V 750 Ah' in 3 min; state what one truck "
             "draws over its shift (got 40 kW)",),
        ),
        (
            ("--group", "count: 3, voltage: 48 V", "--today",
             "handling: side_rollers, chargers: 9 x electronic_iuia, batteries: 3"),
            ("--today: layouts.today.batteries: would deadlock: without a spare battery of type 'lead 48 V 750 Ah' no "
             "exchange can ever start; have at least 4, or set rules.discharged_on_charge to at_arrival (got 3)",),
        ),
        (
            ("--group", "group: a, count: 3, voltage: 48 V", "--group", "group: b, count: 3, voltage: 48 V", "--today",
             "for: [a, a], handling: in_truck, chargers: 3 x electronic_iuia", "--today",
             "for: [a], handling: in_truck, chargers: 3 x electronic_iuia"),
            ("batsim new: today: does not say how group 'b' is served",
             "--today 2:1:6: today[1].for: is served twice today (got 'a')"),
        ),
    ],
    ids=["names", "too weak", "no spare", "not served"],
)  # fmt: skip
def test_new_refuses_what_does_not_go_together(
    tmp_path: Path, options: tuple[str, ...], messages: tuple[str, ...]
) -> None:
    """What several options say, and what a scenario of it would break."""
    file = tmp_path / "new.yaml"

    result = call("new", file, *options)

    assert (result.exit_code, result.stdout, file.exists()) == (2, "", False)
    assert [line.strip() for line in result.stderr.splitlines()[1:]] == list(messages)


def test_new_shows_where_an_option_is_no_yaml(tmp_path: Path) -> None:
    """As in a file."""
    result = call("new", tmp_path / "new.yaml", "--group", "count: [3")

    rule = "not valid YAML: what was opened in line 1 needs a ',' or ']' here"
    assert (result.exit_code, result.stderr) == (2, f"--group 1: 1 problem\n  --group 1:1:11: {rule}\n")


@pytest.mark.parametrize(
    ("group", "message"),
    [
        ("count: 2001, voltage: 48 V", "count: must be at most 2000 (got 2001)"),
        ("count: 2.5, voltage: 48 V", "count: needs a whole number (got 2.5)"),
        ("voltage: 48 V", "count: missing: trucks in use"),
        ("count: 2", "voltage: missing: nominal voltage of the battery, such as 48 V"),
        ("count: 2, voltage: 48 V, battery: nickel", "battery: must be lead, gel or lithium (got 'nickel')"),
        ("count: 2, voltage: 48 V, removal: below", "removal: must be side, top, either or none (got 'below')"),
        ("count: 2, voltage: 48 V, distance: -1 m", "distance: must be at least 0 m (got '-1 m')"),
        ("count: 2, voltage: 48 V, distance: 80", "distance: needs a distance with a unit, such as '140 m' (got 80)"),
        ("count: 2, voltage: 48 V, mean_power: 0 kW", "mean_power: must be above 0 kW (got '0 kW')"),
        ("count: 2, voltage: 48 V, shifts: []", "shifts: needs at least one entry (got an empty list)"),
    ],
)  # fmt: skip
@pytest.mark.usefixtures("short_trials")
def test_new_refuses_answers_out_of_range(tmp_path: Path, group: str, message: str) -> None:
    """Each with a message and no file."""
    file = tmp_path / "new.yaml"

    result = call("new", file, "--group", group)

    assert (result.exit_code, result.stdout, file.exists()) == (2, "", False)
    head, line = result.stderr.splitlines()
    assert head == "batsim new: 1 problem"
    assert line.startswith("  --group 1:1:")
    assert line.endswith(f": groups[0].{message}")


@pytest.mark.usefixtures("short_trials")
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
        for area, alone in scenario.areas_of(layout).items():
            assert f"  layout {layout}{f', {area}' * bool(area)}: {alone.arrangement(layout).title}" in lines
    assert lines[-1] == "Rules of thumb know no queue and no spread; run 'batsim compare' for the answer."


# --- run and compare, for people ---


def test_compare_lays_the_layouts_side_by_side() -> None:
    """Heading, table, notes, cautions and last the answer, in lines that fit."""
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
    assert lines.index("licensed, competent people.") < next(
        n for n, line in enumerate(lines) if line[:8] == "Targets:"
    )
    assert lines[-1].endswith("of the limit.")


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


@pytest.mark.usefixtures("short_trials")
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
    command = [BATSIM, "compare", KESTREL, "-r", "5000", "--weeks", "0.2", "--workers", workers]
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


@pytest.mark.usefixtures("short_trials")
def test_new_shows_what_a_survey_may_bring(tmp_path: Path) -> None:
    """With the marks taken away the lines of the plan are read as they stand."""
    file = tmp_path / "new.yaml"
    call("new", file, *ANSWERS)
    text = file.read_text(encoding="utf-8")
    start, end = text.index("# present: side rollers"), text.index("# and of the trucks")
    stated = "".join(line.removeprefix("# ") for line in text[start:end].splitlines(keepends=True))
    file.write_text(text[:start] + stated + text[end:], encoding="utf-8")

    scenario = batsim.read(file)

    assert (scenario.present, scenario.room.fan_m3_per_h, scenario.supply.spare_kva) == ("side rollers", 2000.0, 250.0)
    assert scenario.equipment["hand_pallet_truck"].fork_length_mm == 1040.0
