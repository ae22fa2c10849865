"""The command survey: what it writes, and what it refuses."""

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import batsim
from batsim.cli import main
from batsim.plan.blank_site import MOST_GROUPS

FILE = Path(__file__).parents[1] / "cases" / "surveyed.yaml"
BROKEN = Path(__file__).parents[1] / "broken" / "twenty.yaml"


def call(*arguments: object) -> Result:
    """Run the command."""
    return CliRunner().invoke(main, ["survey", *(str(each) for each in arguments)])


def test_a_site(tmp_path: Path) -> None:
    """The page of its sheet, and how much is missing."""
    sheet = batsim.survey(batsim.read(FILE))
    result = call(FILE, "--output", tmp_path / "sheet.html")

    assert (result.exit_code, result.stderr) == (0, "")
    said = f"wrote {tmp_path}/sheet.html: {sheet.missing} of {len(sheet.lines)} answers are missing\n"
    assert result.stdout == said
    assert (tmp_path / "sheet.html").read_text(encoding="utf-8") == batsim.survey_html(sheet)


def test_a_new_site(tmp_path: Path) -> None:
    """With room for so many groups."""
    result = call("--blank", "--groups", 3, "--output", tmp_path / "sheet.HTML")

    assert result.exit_code == 0
    assert (tmp_path / "sheet.HTML").read_text(encoding="utf-8") == batsim.survey_html(batsim.survey(groups=3))


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_on_paper(tmp_path: Path, paper: str) -> None:
    """A PDF."""
    pytest.importorskip("weasyprint")
    result = call("--blank", "--output", tmp_path / "sheet.pdf", "--paper", paper)

    assert result.exit_code == 0
    assert (tmp_path / "sheet.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--output", "a.html"], "FILE: missing; name a scenario, or add --blank for a new site"),
        ([FILE, "--blank", "--output", "a.html"], "--blank: is for a new site; leave it out, or leave out FILE"),
        ([FILE, "--groups", "2", "--output", "a.html"],
         "--groups: is for --blank; the truck groups of a site are those of its file"),
        (["--blank", "--output", "a.txt"], "--output: a survey sheet must end in .html or .pdf (got a.txt)"),
        (["--blank", "--output", "/not/there/a.html"],
         "--output: cannot be written (No such file or directory); choose another file"),
        (["--blank"], "Missing option '--output'."),
    ],
)  # fmt: skip
def test_what_is_refused(arguments: list[object], says: str) -> None:
    """A message and status 2, nothing written."""
    result = call(*arguments)

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.endswith(f"Error: {says}\n")


@pytest.mark.parametrize("groups", [0, MOST_GROUPS + 1])
def test_groups_out_of_range(groups: int) -> None:
    result = call("--blank", "--groups", groups, "--output", "a.html")

    assert (result.exit_code, result.stdout) == (2, "")
    assert f"Invalid value for '--groups': {groups} is not in the range 1<=x<={MOST_GROUPS}." in result.stderr


@pytest.mark.parametrize("name", ["none.yaml", "syntax.yaml"])
def test_a_file_that_cannot_be_read(tmp_path: Path, name: str) -> None:
    """Not there, or no YAML."""
    (tmp_path / "syntax.yaml").write_text("site: {name: 'open", encoding="utf-8")
    result = call(tmp_path / name, "--output", tmp_path / "a.html")

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith(f"{tmp_path / name}: 1 problem\n  {tmp_path / name}:1:")
    assert not (tmp_path / "a.html").exists()


def test_a_file_with_problems(tmp_path: Path) -> None:
    """All of them."""
    result = call(BROKEN, "--output", tmp_path / "a.html")

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith(f"{BROKEN}: 20 problems\n")
