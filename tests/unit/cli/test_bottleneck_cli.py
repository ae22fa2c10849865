"""The command bottleneck: its table, its sentence, its JSON."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

import batsim
from batsim.cli import main
from batsim.scenario.settings import Settings
from batsim.views.text.bottleneck_text import bottleneck_text

ROOT = Path(__file__).parents[3]
KESTREL = ROOT / "scenarios" / "kestrel-lane.yaml"
SOUND = Path(__file__).parents[1] / "broken" / "sound.yaml"
SHORT = ("-r", "2", "--weeks", "0.2", "--warm-up", "0", "--workers", "1")


def call(*arguments: str | Path) -> Result:
    """Run the command in this process."""
    return CliRunner().invoke(main, ["bottleneck", *map(str, arguments)])


def data_of(*arguments: str | Path) -> dict[str, Any]:
    """Run it for its JSON."""
    result = call(*arguments, "--json")
    assert (result.exit_code, result.stderr) == (0, "")
    return json.loads(result.stdout)


def test_layouts_one_after_another() -> None:
    """Heading, a table and a sentence for each, notes and cautions, in lines that fit."""
    result = call(KESTREL, *SHORT)
    blocks = result.stdout.split("\n\n")

    assert (result.exit_code, result.stderr) == (0, "")
    assert max(map(len, result.stdout.splitlines())) <= 100
    assert blocks[0] == (
        "Kestrel Lane parts warehouse (invented): what one more of each, and each lever, would save\n"
        "2 replications of 0.2 weeks after 0 weeks of warm-up, seed 1; paired"
    )
    heads = [block.splitlines()[0] for block in blocks[1:5]]
    assert heads[0] == "side rollers (Side roller beds with a battery carriage)"
    assert [head.split(" (")[0] for head in heads] == ["side rollers", "portable stands", "hoist", "in the truck"]
    for block in blocks[1:5]:
        assert block.splitlines()[1].startswith("  downtime as it is ")
        assert block.splitlines()[1].endswith("  min per truck-shift")
        assert "\n  one more " in block
    assert "  one more attendant, room early shift " in blocks[1]
    assert "\n  one more roller bay " in blocks[1]
    assert blocks[5].startswith(
        "Gains in minutes of downtime per truck-shift; ± is the half width of an interval, 95 %"
    )
    assert result.stdout.endswith("licensed, competent people.\n")


def test_the_view_is_what_the_command_prints() -> None:
    """Also in narrow lines, which hold the same words."""
    scenario = batsim.read(KESTREL)
    settings = Settings("hoist", replications=2, weeks=0.2, warm_up_weeks=0.0, workers=1)
    (one,) = batsim.bottleneck(scenario, settings).values()
    printed = call(KESTREL, *SHORT, "--layout", "hoist").stdout

    assert bottleneck_text(one) in printed
    assert max(map(len, bottleneck_text(one, 60).splitlines())) <= 60
    assert one.sentence in " ".join(bottleneck_text(one, 60).split())


def test_what_saves_and_what_costs_is_marked() -> None:
    """Only what is clear, and by its sign."""
    room = batsim.changed(batsim.read(KESTREL), {"layouts.'portable stands'.stations": 1})
    settings = Settings("portable stands", replications=4, weeks=0.5, warm_up_weeks=0.25, workers=1)
    (one,) = batsim.bottleneck(room, settings).values()
    lines = bottleneck_text(one).splitlines()

    assert len(one.gains) > 3
    for gain in one.gains:
        (line,) = [line for line in lines if line.startswith(f"  {gain.what}  ")]
        word = ("saves" if gain.interval.mean > 0.0 else "costs") if gain.clear else ""
        assert line.endswith(word)
        assert ("saves" in line, "costs" in line) == (word == "saves", word == "costs")
    assert any(gain.clear for gain in one.gains)


def test_one_replication_claims_nothing() -> None:
    """No intervals, no answer."""
    result = call(SOUND, *SHORT, "-r", "1", "--layout", "extractor")

    assert result.exit_code == 0
    assert "\nOne replication does not tell the bottleneck; take at least two.\n" in result.stdout
    assert "\nOne replication has no intervals; take more to know how sure this is.\n" in result.stdout
    assert "±" not in result.stdout


def test_json() -> None:
    """Settings once, then every layout with its gains, the greatest first."""
    data = data_of(KESTREL, *SHORT, "--seed", "5", "--layout", "hoist", "--layout", "in the truck")

    assert {key: data[key] for key in ("scenario", "seed", "replications", "weeks", "warm_up_weeks")} == {
        "scenario": "Kestrel Lane parts warehouse (invented)", "seed": 5, "replications": 2, "weeks": 0.2,
        "warm_up_weeks": 0.0,
    }  # fmt: skip
    assert list(data["layouts"]) == ["hoist", "in the truck"]
    for layout in data["layouts"].values():
        assert layout["sentence"].endswith(".")
        means = [gain["mean"] for gain in layout["gains"]]
        assert means == sorted(means, reverse=True)
        assert all(gain["low"] <= gain["mean"] <= gain["high"] for gain in layout["gains"])
    assert len(data["layouts"]["hoist"]["gains"]) >= 8
    assert data["layouts"]["hoist"]["left_out"] == []
    assert "one more floor bay" in [gain["what"] for gain in data["layouts"]["hoist"]["gains"]]


def test_json_of_one_replication_has_no_limits() -> None:
    """They are null."""
    data = data_of(SOUND, *SHORT, "-r", "1", "--layout", "in the truck")

    for gain in data["layouts"]["in the truck"]["gains"]:
        assert (gain["low"], gain["high"], gain["correlation"], gain["clear"]) == (None, None, None, False)


def test_json_is_the_same_on_two_processes(monkeypatch: pytest.MonkeyPatch) -> None:
    """To the byte."""
    monkeypatch.setattr("batsim.study.running.executors.POOL_PAYS_S", 0.0)
    command = (SOUND, *SHORT[:-2], "--layout", "extractor", "--json")

    one, two = (call(*command, "--workers", workers).stdout for workers in ("1", "2"))

    assert one == two
    assert json.loads(one)["layouts"]["extractor"]["gains"]


def test_an_unknown_layout_is_told_before_anything_runs() -> None:
    """All of them at once."""
    result = call(SOUND, "--layout", "extractor", "--layout", "in truck", "--layout", "xyz")

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        f"{SOUND}: 2 problems\n"
        f"  {SOUND}: layouts.in truck: no layout of this name; did you mean 'in the truck'?\n"
        f"  {SOUND}: layouts.xyz: no layout of this name; known: extractor, in the truck\n"
    )


def test_help_is_quick_to_load() -> None:
    """Asking for help loads none of the heavy libraries."""
    code = (
        "import sys; from batsim.cli import main; main(['bottleneck', '--help'], standalone_mode=False); "
        "print([name for name in ('numpy', 'pandas', 'scipy', 'simpy', 'pydantic', 'yaml') if name in sys.modules])"
    )

    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)

    assert done.stdout.startswith("Usage: ")
    assert done.stdout.endswith("[]\n")
