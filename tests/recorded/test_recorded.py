"""What must not change unnoticed: answers that README and guide show, the shipped schema, the notebook."""

import json
import re
from dataclasses import replace
from pathlib import Path

import nbformat
import pytest
from click.testing import CliRunner
from nbclient import NotebookClient

from batsim.cli import main
from batsim.decision import search, testing, weighing
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.settings import Settings

ROOT = Path(__file__).parents[2]
GUIDE = ROOT / "batsim" / "guide"
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
QUICK = {"check-against-theory"}
"""Notebooks that take no longer than other tests."""


def test_guide_and_readme_show_what_compare_prints(monkeypatch):
    """The table in the guide is the command's output, to the letter; that in the README its lines, some left out."""
    monkeypatch.chdir(ROOT)
    whole, short = (
        re.search(r"\n(Kestrel Lane.*?)\n```", path.read_text(encoding="utf-8"), re.DOTALL)
        for path in (GUIDE / "comparing.md", ROOT / "README.md")
    )
    result = CliRunner().invoke(main, ["compare", "scenarios/kestrel-lane.yaml"])

    assert whole is not None
    assert short is not None
    assert result.exit_code == 0
    assert result.output.rstrip("\n") == whole[1]
    printed = iter(whole[1].splitlines())
    assert [line for line in short[1].splitlines() if line != "..." and line not in printed] == []


@pytest.mark.parametrize(
    ("command", "head"),
    [
        pytest.param(
            ["bottleneck", "scenarios/kestrel-lane.yaml", "--layout", "side rollers", "-r", "6"],
            "side rollers (Side",
            marks=pytest.mark.slow,
        ),
        (["day-without", "scenarios/kestrel-lane.yaml", "--layout", "side rollers"], "side rollers: battery"),
    ],
    ids=["bottleneck", "day-without"],
)
def test_the_guide_shows_what_binds_and_what_a_day_costs(monkeypatch, command, head):
    """The blocks on the side rollers are those of the commands, to the letter."""
    monkeypatch.chdir(ROOT)
    page = (GUIDE / "bottleneck.md").read_text(encoding="utf-8")
    shown = re.search(rf"```\n({re.escape(head)}.*?)\n```", page, re.DOTALL)
    result = CliRunner().invoke(main, command)

    assert shown is not None
    assert result.exit_code == 0
    assert result.output.split("\n\n")[1] == shown[1]


def test_the_guide_shows_what_plan_prints(monkeypatch):
    """The block is the command's output, to the letter."""
    monkeypatch.chdir(ROOT)
    command = "plan scenarios/alder-street-joinery.yaml"
    shown = re.search(rf"\$ batsim {command}\n(.*?)\n```", (GUIDE / "plan.md").read_text(encoding="utf-8"), re.DOTALL)
    result = CliRunner().invoke(main, command.split())

    assert shown is not None
    assert result.exit_code == 0
    assert result.output.rstrip("\n") == shown[1]


@pytest.mark.slow
def test_the_guide_shows_what_decide_finds(monkeypatch):
    """The block is the command's output, to the letter."""
    monkeypatch.chdir(ROOT)
    shown = re.search(
        r"\$ batsim decide .*?\n(.*?)\n```", (GUIDE / "deciding.md").read_text(encoding="utf-8"), re.DOTALL
    )
    result = CliRunner().invoke(main, ["decide", "scenarios/kestrel-lane.yaml", "--layout", "side rollers"])

    assert shown is not None
    assert result.exit_code == 0
    assert result.output.rstrip("\n") == shown[1]


def test_the_guide_shows_what_verify_prints_and_the_package_records_it(tmp_path, monkeypatch):
    """Lines of the block are those of the command, some left out; the recorded quick set is what it writes today."""
    monkeypatch.chdir(tmp_path)
    shown = re.search(r"\$ batsim verify\n(.*?)\n```", (GUIDE / "trust.md").read_text(encoding="utf-8"), re.DOTALL)
    result = CliRunner().invoke(main, ["verify", "--output", "checks.csv"])

    assert shown is not None
    assert result.exit_code == 0
    printed = iter(result.output.splitlines())
    assert [line for line in shown[1].splitlines() if line != "..." and line not in printed] == []
    recorded = (ROOT / "batsim" / "verification" / "recorded.csv").read_text(encoding="utf-8")
    assert Path("checks.csv").read_text(encoding="utf-8") == recorded


def test_shipped_schema_is_the_one_that_the_command_prints():
    """Editors of the scenarios see the schema of this version."""
    result = CliRunner().invoke(main, ["schema"])

    assert json.loads(result.output) == json.loads((ROOT / "scenarios/batsim.schema.json").read_text(encoding="utf-8"))


@pytest.fixture
def short_runs(monkeypatch):
    """Runs that are too short to say anything, of whatever is run, from the top of the repository."""
    whole = Settings.schedule

    def cut_short(settings, scenario):
        schedule = whole(settings, scenario)
        length_min, warm_up_min = min(schedule.length_min, 0.2 * WEEK_MIN), min(schedule.warm_up_min, 0.1 * WEEK_MIN)
        few = min(schedule.replications, 2)
        return replace(schedule, replications=few, length_min=length_min, warm_up_min=warm_up_min)

    monkeypatch.setattr(Settings, "schedule", cut_short)
    monkeypatch.setattr(testing, "LOOKS", testing.EARLY_LOOKS)
    monkeypatch.setattr(search, "MOST_RUNS", 0)
    monkeypatch.setattr(weighing, "MOST_WEIGHED", 0)
    monkeypatch.chdir(ROOT)


@pytest.mark.usefixtures("short_runs")
def test_the_readme_runs_in_python():
    """What it shows is what there is."""
    (code,) = re.findall(r"```python\n(.*?)\n```", (ROOT / "README.md").read_text(encoding="utf-8"), re.DOTALL)
    exec(compile(code, "README.md", "exec"), {})


@pytest.mark.usefixtures("short_runs")
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_every_cell_of_a_notebook_runs(path):
    """What they say is compared below."""
    names = {}
    for number, cell in enumerate(nbformat.read(path, as_version=4).cells):
        if cell.cell_type == "code":
            exec(compile(cell.source, f"{path.name}, cell {number}", "exec"), names)


@pytest.mark.parametrize(
    "path",
    [path if path.stem in QUICK else pytest.param(path, marks=pytest.mark.slow) for path in NOTEBOOKS],
    ids=lambda path: path.stem,
)
@pytest.mark.filterwarnings("ignore::DeprecationWarning")
@pytest.mark.filterwarnings("ignore::RuntimeWarning:zmq")
def test_notebook_runs_and_says_what_is_committed(path):
    """Each notebook runs clean and prints what its committed outputs show."""
    committed = nbformat.read(path, as_version=4)
    fresh = nbformat.read(path, as_version=4)
    NotebookClient(
        fresh, timeout=120, kernel_name="python3", resources={"metadata": {"path": str(path.parent)}}
    ).execute()

    assert [_texts(cell) for cell in fresh.cells] == [_texts(cell) for cell in committed.cells]


def _texts(cell):
    """Plain text that a cell shows; tables are left out, since their layout is pandas' own affair."""
    return [
        output.get("text") or output.get("data", {}).get("text/plain") or output.get("ename")
        for output in cell.get("outputs", [])
        if output.get("name") != "stderr" and "text/html" not in output.get("data", {})
    ]
