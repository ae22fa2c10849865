"""The command size: its options and what they refuse, its text and JSON."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

import batsim
from batsim.cli import main
from batsim.decision.decide import decide
from batsim.scenario.settings import Settings
from batsim.views.text.decision_text import decision_text

FILE = Path(__file__).parents[1] / "cases" / "size_small.yaml"
SOUND = Path(__file__).parents[1] / "broken" / "sound.yaml"
OPTIONS = (
    "--range", "batteries=6:8", "--range", "chargers = 2:4", "--indifference", "downtime=20", "--workers", "1",
    "--weeks", "0.5", "--warm-up", "0.1", "--seed", "4", "--confidence", "90%",
)  # fmt: skip


def call(*arguments):
    return CliRunner().invoke(main, [str(each) for each in arguments])


@pytest.fixture(scope="module")
def sizing():
    """What the command does with these options."""
    return decide(
        batsim.read(FILE),
        Settings(confidence=0.9, weeks=0.5, warm_up_weeks=0.1, seed=4, workers=1),
        ranges={"batteries": (6, 8), "chargers": (2, 4)},
        indifference={"downtime": 20.0},
    )


def test_text_is_that_of_the_study(sizing):
    result = call("decide", FILE, *OPTIONS)

    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout == decision_text(sizing) + "\n"
    assert max(map(len, result.stdout.splitlines())) <= 100


def test_json_is_that_of_the_study(sizing):
    result = call("decide", FILE, *OPTIONS, "--json")

    assert (result.exit_code, result.stderr) == (0, "")
    assert json.loads(result.stdout) == json.loads(json.dumps(sizing.as_json()))
    assert json.loads(result.stdout)["confidence"] == 0.9


@pytest.mark.parametrize(
    "text",
    [
        "batteries",
        "batteries=",
        "batteries=6",
        "batteries=6-8",
        "batteries=a:b",
        "batteries=6:",
        "=",
        "b=²:3",
        "b=-1:3",
    ],
)
def test_ranges_that_are_none(text):
    result = call("decide", FILE, "--range", text)

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.endswith(
        f"Error: --range needs a name and two whole numbers, such as batteries=60:100 (got {text})\n"
    )


@pytest.mark.parametrize(
    "text", ["downtime", "downtime=", "downtime=0", "downtime=-1", "downtime=x", "waits=nan", "waits=inf%"]
)
def test_indifferences_that_are_none(text):
    result = call("decide", FILE, "--indifference", text)

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.endswith(
        f"Error: --indifference needs a target and a number above 0, such as downtime=0.5 or waits=2% (got {text})\n"
    )


@pytest.mark.parametrize("text", ["95", "0", "49%", "100%", "x", "", "nan", "99.95%"])
def test_confidences_that_are_none(text):
    result = call("decide", FILE, "--confidence", text)

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.endswith(f"Error: --confidence needs a share from 50% to 99.9%, such as 95% (got {text})\n")


@pytest.mark.parametrize("text", ["downtime=5%", "cut-out=10%"])
def test_percentages_are_for_shares(text):
    """5 % of a minute is nothing that anybody means."""
    result = call("decide", FILE, "--indifference", text)

    assert (result.exit_code, result.stdout) == (2, "")
    name = text.partition("=")[0]
    unit = "minutes" if name == "downtime" else "trucks"
    assert result.stderr.endswith(f"Error: --indifference of {name} is in {unit}, not in % (got {text})\n")


def test_ranges_of_nothing():
    result = call("decide", FILE, "--range", "hoist=1:2")

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        f"{FILE}: 1 problem\n"
        f"  {FILE}: range hoist: no count of this name in layout 'room'; known: batteries, chargers, stations\n"
    )


def test_a_target_that_is_not_there():
    result = call("decide", FILE, "--indifference", "waits=2%")

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        f"{FILE}: 1 problem\n  {FILE}: indifference waits: the scenario has no target of this name; known: downtime\n"
    )


def test_no_target(tmp_path):
    file = tmp_path / "none.yaml"
    file.write_text(FILE.read_text(encoding="utf-8").replace("targets:", "# targets:"), encoding="utf-8")
    result = call("decide", file)

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        f"{file}: 1 problem\n"
        f"  {file}: targets: states none; add one, such as downtime_per_truck_shift: at most 12 min\n"
    )


def test_an_unknown_layout():
    result = call("decide", FILE, "--layout", "rom")

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == f"{FILE}: 1 problem\n  {FILE}: layouts.rom: no layout of this name; did you mean 'room'?\n"


@pytest.mark.parametrize(
    ("option", "value"), [("--weeks", "0"), ("--warm-up", "-1"), ("--seed", "-1"), ("--workers", "0")]
)
def test_options_out_of_range(option, value):
    result = call("decide", FILE, option, value)

    assert (result.exit_code, result.stdout) == (2, "")
    assert f"Invalid value for '{option}'" in result.stderr


def test_in_the_truck_and_out_of_it():
    """One layout in the truck, by its own count; a target that is out of reach is an answer, not an error."""
    result = call("decide", SOUND, "--layout", "in the truck", "--range", "chargers our charger=5:6", "--weeks", "0.2",
                  "--workers", "1")  # fmt: skip

    assert (result.exit_code, result.stderr) == (0, "")
    assert "The targets cannot be met with chargers our charger 5 to 6." in result.stdout
