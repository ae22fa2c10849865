"""Names and outputs of all kinds: code pages that lack a letter, closed outputs, missing extras, interrupted writes."""

import csv
import errno
import json
import os
import subprocess
import sys
from io import StringIO
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from batsim.cli import main

ALDER = Path(__file__).parents[3] / "scenarios" / "alder-street-joinery.yaml"
BATSIM = Path(sys.executable).with_name("batsim")
SHORT = ("-r", "2", "--weeks", "0.1", "--warm-up", "0", "--workers", "1")
STRANGE = "Gang č → 2.750 m 日本 😀"
"""Name of a layout that few code pages hold, with a number that is not to be rounded."""


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """A scenario in which a layout has that name, in a folder of its own."""
    monkeypatch.chdir(tmp_path)
    text = ALDER.read_text(encoding="utf-8").replace("\n  portable stands:", f"\n  {STRANGE}:")
    Path("site.yaml").write_text(text, encoding="utf-8")
    return "site.yaml"


def call(*arguments: str, page: str = "utf-8") -> Result:
    """Run a command whose output has a code page."""
    return CliRunner(charset=page).invoke(main, arguments)


@pytest.mark.parametrize("page", ["cp1252", "latin-1", "cp437", "utf-8"])
@pytest.mark.parametrize("command", ["check", "compare", "run", "plan", "bottleneck"])
def test_a_name_beyond_the_code_page_ends_nothing(site: str, command: str, page: str) -> None:
    """What cannot be shown is written as its number."""
    result = call(command, site, *(() if command == "check" else SHORT), page=page)

    assert (result.exit_code, result.stderr) == (0, "")
    name = STRANGE.encode(page, "backslashreplace").decode(page)
    assert name.split()[1] in result.stdout


@pytest.mark.parametrize("page", ["cp1252", "cp437", "utf-8"])
def test_json_holds_every_name(site: str, page: str) -> None:
    """Whatever the code page, it is JSON and the name is whole."""
    result = call("compare", site, *SHORT, "--json", page=page)

    assert result.exit_code == 0
    assert STRANGE in json.loads(result.stdout)["layouts"]


def test_a_message_beyond_the_code_page(site: str) -> None:
    """A refusal is shown, with its status."""
    result = call("check", "č.yaml", page="latin-1")

    assert (result.exit_code, result.stdout) == (2, "")
    assert "\\u010d.yaml:1:1: there is no such file" in result.stderr


def test_a_page_is_kept_though_its_name_cannot_be_shown(site: str) -> None:
    """The report is there, and the command says so."""
    result = call("report", site, *SHORT, "--output", "č.html", page="cp1252")

    assert (result.exit_code, result.stdout) == (0, "wrote \\u010d.html\n")
    assert f">{STRANGE}</text>" in Path("č.html").read_text(encoding="utf-8")


def test_a_name_of_a_file_that_is_no_text(site: str) -> None:
    """Bytes that are not UTF-8, as a file system may hold them, in what is printed and kept."""
    name = "\udcff.yaml"
    Path(name).write_text(
        f"scenario: {site}\nlayouts: [hoist]\nvary: {{'trucks[0].count': [5, 6]}}\n", encoding="utf-8"
    )

    swept = call("sweep", name, *SHORT)

    assert swept.exit_code == 0
    assert "\\udcff.store" in swept.stdout
    assert call("export", "\udcff.store", "cases.csv").exit_code == 0


def test_a_closed_output(site: str) -> None:
    """Said where it can be said; what is to be written is written."""
    line = f"{BATSIM} new starter.yaml --group 'count: 5, voltage: 48 V' >&-"
    done = subprocess.run(["bash", "-c", line], capture_output=True, text=True, check=False)

    assert (done.returncode, done.stderr) == (0, "batsim: the output is closed; what is printed goes nowhere\n")
    assert call("check", "starter.yaml").exit_code == 0


def test_paper_without_its_extra_is_refused_at_once(site: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Before anything is simulated."""
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    monkeypatch.setattr("batsim.plan_layouts", lambda *_: pytest.fail("it was simulated"))

    result = call("report", site, *SHORT, "--output", "page.pdf")

    rule = "--output: a .pdf needs the extra 'pdf': pip install 'batsim[pdf]'; a browser prints the .html as well"
    assert result.exit_code == 2
    assert result.stderr.endswith(f"Error: {rule}\n")


@pytest.mark.parametrize(
    "arguments",
    [
        ("report", *SHORT, "--output", "out"), ("plan", *SHORT, "--tables", "."),
        ("day", "--layout", "hoist", "--on", "week 1 Mon", "--output", "out"),
    ],
)  # fmt: skip
def test_an_interrupted_write_leaves_what_was_there(
    site: str, arguments: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A page, a picture or a table is whole, or the old one."""
    command, *options = arguments
    name = {"report": "out.html", "plan": "checks.csv", "day": "out.svg"}[command]
    Path(name).write_text("old", encoding="utf-8")
    before = {file.name for file in Path().iterdir()}

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(Path, "replace", stop)
    result = call(command, site, *(name if option == "out" else option for option in options))

    assert (result.exit_code, result.stderr) == (130, "stopped\n")
    assert Path(name).read_text(encoding="utf-8") == "old"
    assert {file.name for file in Path().iterdir()} == before


def test_an_interrupted_export_leaves_what_was_there(site: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The old table and the old dictionary, and nothing beside them."""
    Path("study.yaml").write_text(
        f"scenario: {site}\nlayouts: [hoist]\nvary: {{'trucks[0].count': [5, 6]}}\n", encoding="utf-8"
    )
    assert call("sweep", "study.yaml", *SHORT).exit_code == 0
    Path("cases.csv").write_text("old", encoding="utf-8")
    before = {file.name for file in Path().iterdir()}

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        patch.setattr("batsim.study.sweeps.export._Csv.rows", full)
        result = call("export", "study.store", "cases.csv")

    assert (result.exit_code, result.stderr) == (2, "cases.csv: cannot be written: No space left on device\n")
    assert Path("cases.csv").read_text(encoding="utf-8") == "old"
    assert {file.name for file in Path().iterdir()} == before


def test_pipes_are_no_outputs_and_no_stores(site: str) -> None:
    """Nothing waits for a reader; it is said at once, or when it is to be written."""
    for name in ("pipe.csv", "pipe.store", "pipe.html"):
        os.mkfifo(name)
    Path("study.yaml").write_text(
        f"scenario: {site}\nlayouts: [hoist]\nvary: {{'trucks[0].count': [5, 6]}}\n", encoding="utf-8"
    )
    assert call("sweep", "study.yaml", *SHORT).exit_code == 0

    exported = call("export", "study.store", "pipe.csv")
    reported = call("report", site, *SHORT, "--layout", "hoist", "--output", "pipe.html")
    kept = [call("sweep", "study.yaml", *SHORT, "--store", "pipe.store"), call("merge", "pipe.store", "study.store")]

    assert exported.stderr == "pipe.csv: cannot be written: it is a pipe or a device\n"
    assert reported.stderr.endswith("--output: cannot be written (it is a pipe or a device); choose another file\n")
    assert {result.stderr for result in kept} == {"pipe.store: this is a pipe or a device, no file for a store\n"}
    assert call("export", "pipe.store", "cases.csv").stderr == "pipe.store: there is no such store\n"
    assert call("merge", "all.store", "pipe.store").stderr == "pipe.store: there is no such store\n"


FORMULAS = {"counterbalance 1.6 t": "+1+1", "in the truck": "@SUM(1+1)*cmd|' /C calc'!A0", "portable stands": "=1+2"}


def test_names_that_begin_like_formulas_are_safe_in_every_table(site: str) -> None:
    """In the tables of a plan, of a trace and of a sweep."""
    text = ALDER.read_text(encoding="utf-8").replace("group: counterbalance 1.6 t", 'group: "+1+1"')
    for name in ("in the truck", "portable stands"):
        text = text.replace(f"\n  {name}:", f"\n  {json.dumps(FORMULAS[name])}:")
    Path(site).write_text(text, encoding="utf-8")
    Path("study.yaml").write_text(f"scenario: {site}\nvary: {{'trucks[0].count': [5, 6]}}\n", encoding="utf-8")

    assert call("plan", site, *SHORT, "--tables", "tables").exit_code == 0
    assert call("sweep", "study.yaml", *SHORT).exit_code == 0
    assert call("export", "study.store", "cases.csv").exit_code == 0
    window = ("--from", "week 1 Mon 00:00", "--to", "week 1 Tue 23:00", "--csv")
    traced = call("trace", site, "--layout", "=1+2", *window).stdout

    tables = [file.read_text(encoding="utf-8") for file in (*Path("tables").iterdir(), *Path().glob("cases*.csv"))]
    cells = [cell for table in (*tables, traced) for row in csv.reader(StringIO(table)) for cell in row]
    assert {f"'{name}" for name in FORMULAS.values()} <= {cell.partition(" (")[0] for cell in cells}
    assert not [cell for cell in cells if cell[:1] in ("=", "+", "@", "\t", "\r")]
