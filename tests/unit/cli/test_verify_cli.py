"""The command verify: its text, JSON, table, exit status, and what it refuses."""

import csv
import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import batsim
from batsim.cli import main
from batsim.verification import verify as command
from batsim.verification.check import SUBJECTS
from batsim.views.text.verification_text import verification_text


@pytest.fixture(autouse=True)
def _supply(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Only the checks of the supply, in a folder where nothing is."""
    monkeypatch.setattr(command, "SUBJECTS", {"supply": SUBJECTS["supply"]})
    monkeypatch.chdir(tmp_path)


def call(*arguments: str) -> Result:
    """Run the command."""
    return CliRunner().invoke(main, ["verify", *arguments])


TEXT = f"""\
batsim {batsim.__version__}: checks against standards, books, tables and theory

supply:
                                           expected       got        ±  unit         source  verdict
  charger of 120 A on 24 cells at 400 V
    load                                      7.513   7.51304   0.0075    kW     worked-out       OK
    load                                      7.908   7.90847   0.0079   kVA     worked-out       OK
    current                                   11.41   11.4149    0.011     A     worked-out       OK
    rating                                    14.27   14.2686    0.014     A     worked-out       OK
"""
NARROW = """
supply:
                                  expected       got        ±  unit  verdict
  charger of 120 A on 24 cells at 400 V (worked-out)
    load                             7.513   7.51304   0.0075    kW       OK
"""


def test_text() -> None:
    """Rows by case, sources, counts, and the answer last."""
    result = call()

    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout.startswith(TEXT)
    assert "\n  NEC: NEC continuous-load rule, US National Electrical Code, by way of a note of 2013\n" in result.stdout
    assert "\n        checks  OK  fail\nsupply      14  14     0\n" in result.stdout
    assert result.stdout.endswith("unless it says otherwise.\nAll 14 checks are OK.\n")


@pytest.mark.parametrize("width", [40, 60, 100])
def test_lines_fit(width: int) -> None:
    """On a narrow terminal a check becomes a list; nothing is lost."""
    text = verification_text(batsim.verify(), width)

    assert max(map(len, text.splitlines())) <= width
    assert text.count("OK") >= 14
    assert text.count("NEC") >= 3


def test_a_usual_terminal() -> None:
    """Each check is a line still; the source stands behind its case."""
    text = verification_text(batsim.verify(), 76)

    assert NARROW in text
    assert len([line for line in text.splitlines() if line.endswith("OK")]) == 14


def test_a_check_that_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its row says so, the answer names it, the status is 1; the others are run as well."""
    monkeypatch.setattr(command.supply, "load_factor_share", lambda *_: 0.5)

    result = call("--output", "table.csv")

    assert (result.exit_code, result.stderr) == (1, "")
    (row,) = [line for line in result.stdout.splitlines() if line.endswith("FAILS")]
    assert row.split() == ["load", "factor", "0.40", "0.5", "0.0055", "Kersting", "FAILS"]
    assert "supply      14  13     1\n" in result.stdout
    assert "1 of 14 checks fails: day of 58.57 kWh with a peak of 6.18 kW: load factor.\n" in result.stdout
    assert Path("table.csv").read_text(encoding="utf-8").count(",fails,") == 1
    assert call("--json").exit_code == 1


def test_json_and_table() -> None:
    """The same rows; the table holds the place in each source too."""
    printed, written = call("--json"), call("--output", "checks.csv")

    data = json.loads(printed.stdout)
    assert (printed.exit_code, data["count"], data["failing"]) == (0, 14, [])
    assert data["checks"] == batsim.verify().as_json()["checks"]
    assert written.stdout.endswith("\nwrote checks.csv\n")
    with Path("checks.csv").open(newline="", encoding="utf-8") as lines:
        rows = list(csv.DictReader(lines))
    assert [row["check"] for row in rows] == [row["check"] for row in data["checks"]]
    assert rows[6]["where"] == "215.2: 145 A"


@pytest.mark.parametrize("name", ["checks.txt", "checks", "checks.json"])
def test_an_ending_that_is_no_table(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Is refused before anything is run."""
    monkeypatch.setattr(batsim, "verify", lambda **_: pytest.fail("it was run"))

    result = call("--output", name)

    assert result.exit_code == 2
    assert result.stderr.endswith(f"Error: --output: a table must end in .csv; or print --json (got {name})\n")


def test_a_folder_that_is_not_there() -> None:
    """The system's words."""
    result = call("--output", "none/checks.csv")

    assert result.exit_code == 2
    assert result.stderr.endswith("--output: cannot be written (No such file or directory); choose another file\n")


def test_the_full_set_is_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """With the processes that may be used."""
    asked: list[dict[str, object]] = []
    whole = batsim.verify

    def seen(**how: object) -> batsim.Verification:
        asked.append(how)
        return whole()

    monkeypatch.setattr(batsim, "verify", seen)
    call("--full", "--workers", "2")

    assert [(how["full"], how["workers"]) for how in asked] == [(True, 2)]
