"""The command that calibrates: what it prints, writes and refuses."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from batsim.cli import main
from batsim.scenario.reading import read
from tests.behaviour.hidden_room import SITE

DAYS = [f"2024-09-{day:02d}" for day in (2, 3, 4, 5, 6, 9, 10, 11, 12, 13)]


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A site and a log of two weeks, in a folder that somebody is in."""
    (tmp_path / "site.yaml").write_text(SITE, encoding="utf-8")
    rows = [
        f"T{truck};reach;{day}T{8 + truck:02d}:00;{day}T{8 + truck:02d}:{9 + truck:02d};Miller"
        for day in DAYS
        for truck in range(6)
    ]
    bad = ["T1;reach;2024-09-03T08:00;2024-09-03T07:00;Miller", rows[0]]
    lines = ["Truck no.;fleet;Begin;ended;driver", *rows, *bad]
    (tmp_path / "log.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def calibrate(*arguments: str) -> Result:
    """Run the command in this process."""
    return CliRunner().invoke(main, ["calibrate", "site.yaml", *arguments], env={"COLUMNS": "80"})


QUICK = ("--exchanges", "log.csv", "-r", "2", "--workers", "1")


def test_what_is_printed_and_written() -> None:
    """What was left out by line, inputs beside what is stated, the verdict last; the scenario reads."""
    done = calibrate(*QUICK, "--write", "calibrated.yaml")

    assert (done.exit_code, done.stderr) == (0, "")
    assert "exchanges: log.csv, 60 of 62 rows used (96.8 %); left out: 1 end before start, 1" in done.stdout
    assert "log.csv:62:1: end: the end lies before the start (got '2024-09-03T07:00')" in done.stdout
    assert "log.csv:63:1: the same as line 2" in done.stdout
    assert "exchange from begin to end, overhead_hoist" in done.stdout
    assert (
        "1 of 1 input differs from what was stated: Exchange from begin to end, overhead hoist with a spreader beam "
        "(15 min stated, 11.5 min (" in " ".join(done.stdout.split())
    )
    assert "Verdict: " in done.stdout
    assert done.stdout.endswith(
        "wrote calibrated.yaml; next: batsim check calibrated.yaml, then batsim compare calibrated.yaml\n"
    )
    assert "Miller" not in done.stdout
    again = read("calibrated.yaml")
    assert again.calibration is not None
    assert again.calibration.judged == "week 37 of 2024"


def test_plain_data() -> None:
    done = calibrate(*QUICK, "--json")

    data = json.loads(done.stdout)
    assert (done.exit_code, data["logs"]["exchanges"]["used"], data["judged_weeks"]) == (0, 60, "week 37 of 2024")


def test_strict_refuses_all_at_once() -> None:
    """With every row, and nothing is written."""
    done = calibrate(*QUICK, "--strict", "--write", "calibrated.yaml")

    assert (done.exit_code, done.stdout, Path("calibrated.yaml").exists()) == (2, "", False)
    assert "log.csv:62:1: end: the end lies before the start" in done.stderr
    assert "log.csv:63:1: the same as line 2" in done.stderr


@pytest.mark.parametrize(
    ("arguments", "rule"),
    [
        ((), "--exchanges, --charges, --trucks, --steps: name a log, one or more"),
        ((*QUICK, "--hold-out", "a third"), "--hold-out: needs a share with a unit, such as '25 %'"),
        ((*QUICK, "--hold-out", "100 %"), "hold-out: must be at least 0 % and below 100 % (got 100 %)"),
        ((*QUICK, "--map", "start"), "--map: needs COLUMN=VALUE, such as start=Begin or charges.start=On (got start)"),
        ((*QUICK, "--map", "strat=Begin"), "strat: no log has such a column; did you mean 'start'?"),
        ((*QUICK, "--map", "charges.start=On"), "charges: is stated of a log that is not given; name its file"),
        ((*QUICK, "--write", "x.csv"), "--write: a scenario must end in .yaml (got x.csv)"),
        ((*QUICK, "--output", "x.pdf"), "--output: a page must end in .html (got x.pdf)"),
        ((*QUICK, "--layout", "tomorrow"), "layout: no layout of this name; one of: today (got 'tomorrow')"),
        (("--exchanges", "no.csv"), "no.csv: no such file"),
        ((*QUICK, "--times", "%d"), "times: needs a form with day, month, year and time"),
    ],
)
def test_what_is_refused(arguments: tuple[str, ...], rule: str) -> None:
    done = calibrate(*arguments)

    assert (done.exit_code, done.stdout) == (2, "")
    assert rule in done.stderr
    assert "Traceback" not in done.stderr


def test_a_column_by_another_name() -> None:
    """As it is mapped, also where it is found by itself."""
    done = calibrate(*QUICK, "--map", "start=Begin", "--map", "exchanges.end=ended")

    assert done.exit_code == 0
