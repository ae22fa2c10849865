"""A scenario or study that is shipped, written to begin with."""

import shutil
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import batsim
from batsim.cli import main
from batsim.scenario import examples as shipped

ROOT = Path(__file__).parents[3]
SCENARIOS = ROOT / "scenarios"
NAMES = [path.stem for folder in (SCENARIOS, SCENARIOS / "studies") for path in sorted(folder.glob("*.yaml"))]


def new(*arguments: str | Path) -> Result:
    """Run the command in this process."""
    return CliRunner().invoke(main, ["new", *(str(each) for each in arguments)])


@pytest.fixture(autouse=True)
def _empty_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where nothing is but a folder of the newcomer's own."""
    (tmp_path / "mine").mkdir()
    monkeypatch.chdir(tmp_path)


@pytest.mark.parametrize("name", NAMES)
def test_every_example_reads_where_it_is_written(name: str) -> None:
    """Byte for byte the shipped one, with all that it needs."""
    made = new("mine/site.yaml", "--example", name)
    checked = CliRunner().invoke(main, ["check", "mine/site.yaml"])

    assert (made.exit_code, made.stderr) == (0, "")
    assert Path("mine/site.yaml").read_bytes() == batsim.example(name).read_bytes()
    assert checked.stdout.startswith("mine/site.yaml: reads well\n")


def test_what_is_written_is_said() -> None:
    """With what to do next: a scenario is compared, a study is swept."""
    scenario = new("site.yaml", "--example", "kestrel-lane")
    study = new("mine/what.yaml", "--example", "side-rollers")

    assert scenario.stdout == (
        "wrote site.yaml and batsim.schema.json; next: batsim check site.yaml, then batsim compare site.yaml\n"
    )
    assert study.stdout == (
        "wrote mine/what.yaml, mine/study.schema.json, kestrel-lane.yaml and batsim.schema.json; "
        "next: batsim check mine/what.yaml, then batsim sweep mine/what.yaml\n"
    )


def test_help_names_the_examples() -> None:
    """All of them."""
    said = "".join(new("--help").stdout.split())

    assert ",".join(NAMES) in said


def test_an_unknown_example() -> None:
    """Is answered with those that there are."""
    result = new("site.yaml", "--example", "kestrel")

    assert (result.exit_code, result.stdout, Path("site.yaml").exists()) == (2, "", False)
    rule = f"Error: --example: there is no scenario of this name; one of: {', '.join(NAMES)} (got 'kestrel')\n"
    assert result.stderr.endswith(rule)


@pytest.mark.parametrize(
    "option",
    [
        ("--site", "Here"), ("--currency", "EUR"), ("--shift", "early"), ("--group", "count: 1, voltage: 24 V"),
        ("--attendants", "none"), ("--today", "handling: in_truck"),
    ],
)  # fmt: skip
def test_an_example_takes_nothing_of_a_survey(option: tuple[str, str]) -> None:
    """Not even what is the default."""
    result = new("site.yaml", "--example", "kestrel-lane", *option)

    assert (result.exit_code, result.stdout, Path("site.yaml").exists()) == (2, "", False)
    rule = f"--example: takes no {option[0]}, an example is written as it is; leave one of the two out\n"
    assert result.stderr.endswith(f"Error: {rule}")


def test_what_is_there_stays() -> None:
    """Be it the file or one that it needs; the same text is no harm."""
    new("kestrel-lane.yaml", "--example", "kestrel-lane")
    again = new("two.yaml", "--example", "two-battery-carriage")
    Path("kestrel-lane.yaml").write_text("mine\n", encoding="utf-8")
    refused = new("other.yaml", "--example", "two-battery-carriage")
    kept = Path("kestrel-lane.yaml").read_text(encoding="utf-8")
    forced = new("other.yaml", "--example", "two-battery-carriage", "--force")

    assert (again.exit_code, refused.exit_code, kept, forced.exit_code) == (0, 2, "mine\n", 0)
    rule = "kestrel-lane.yaml is there already; choose another name or folder, or add --force\n"
    assert refused.stderr.endswith(f"Error: {rule}")
    assert Path("kestrel-lane.yaml").read_bytes() == (SCENARIOS / "kestrel-lane.yaml").read_bytes()


@pytest.mark.parametrize(
    ("file", "name", "rule"),
    [
        (
            "kestrel-lane.yaml", "two-battery-carriage",
            "two-battery-carriage needs another file of this name beside it; choose another (got kestrel-lane.yaml)",
        ),
        (
            "what.yaml", "side-rollers",
            "side-rollers needs a file in the folder above; write it into one of its own: studies/what.yaml",
        ),
    ],
    ids=["itself", "above"],
)  # fmt: skip
def test_where_an_example_cannot_stand(tmp_path: Path, file: str, name: str, rule: str) -> None:
    """Nothing is written, least of all outside the folder that somebody is in."""
    result = new(file, "--example", name)

    assert (result.exit_code, [path.name for path in tmp_path.iterdir()]) == (2, ["mine"])
    assert result.stderr.endswith(f"Error: --example: {rule}\n")


def test_a_folder_that_is_not_there() -> None:
    """The system's words."""
    result = new("none/site.yaml", "--example", "kestrel-lane")

    assert result.exit_code == 2
    assert result.stderr.endswith("Error: FILE: cannot be written (No such file or directory); choose another file\n")


def test_the_package_carries_what_the_repository_has() -> None:
    """Every scenario and study, with its schema, at the place where an installed package looks."""
    with (ROOT / "pyproject.toml").open("rb") as file:
        included = tomllib.load(file)["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
    there = [path.relative_to(SCENARIOS).as_posix() for end in ("yaml", "json") for path in SCENARIOS.rglob(f"*.{end}")]

    assert included == {f"scenarios/{name}": f"batsim/examples/{name}" for name in there}


def test_an_installed_package_has_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Inside the package, where there is no repository."""
    package = tmp_path / "batsim"
    shutil.copytree(SCENARIOS, package / "examples")
    with monkeypatch.context() as installed:
        installed.setattr(shipped, "files", lambda _: package)
        shipped.examples.cache_clear()
        found = batsim.example("kestrel-lane"), shipped.is_study(batsim.example("side-rollers"))
    shipped.examples.cache_clear()

    assert found == (package / "examples" / "kestrel-lane.yaml", True)
    assert batsim.read(batsim.example("alder-street-joinery")).site.name == "Alder Street joinery (invented)"
    assert batsim.example("kestrel-lane") == SCENARIOS / "kestrel-lane.yaml"
