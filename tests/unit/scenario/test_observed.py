"""Durations in columns of tables: whatever separates cells and decimals, and what is wrong there."""

import time
from pathlib import Path

import pytest
import yaml
from click.testing import CliRunner
from jsonschema import Draft202012Validator

import batsim
from batsim.cli import main
from batsim.scenario.json_schema import scenario_schema
from batsim.scenario.parts.faults import MOST_ENTRIES
from batsim.scenario.text.observed import MOST_TIMES
from batsim.scenario.text.tables import read_table
from batsim.scenario.text.yaml_text import read_file

SOUND = (Path(__file__).parents[1] / "broken" / "sound.yaml").read_text(encoding="utf-8")
RUN_TIME = "run_time: {mean: 6 h, cv: 0.2}"
PATH = "trucks[1].run_time.observed"
STEPS = "step;who;time [s]\npull out;anna;41,5\nwalk;anna;12\npull out;ben;38,25\n\nwalk;ben;;\n"


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder to work in, so that messages show short file names."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def write(table: str | bytes, observed: str) -> None:
    """Write a table and a scenario that reads it at line 34 of its file."""
    Path("times.csv").write_bytes(table.encode() if isinstance(table, str) else table)
    Path("site.yaml").write_text(SOUND.replace(RUN_TIME, f"run_time: {{observed: {observed}}}"), encoding="utf-8")


def times(table: str | bytes, observed: str) -> list[float]:
    """Durations that are read. [min]"""
    write(table, observed)
    law = batsim.read("site.yaml").trucks[1].run_time_min
    assert law is not None
    return list(law.observed_min or ())


def problems(table: str | bytes, observed: str) -> list[str]:
    """What is said to be wrong, line by line."""
    write(table, observed)
    result = CliRunner().invoke(main, ["check", "site.yaml"])
    assert (result.exit_code, result.stdout) == (2, "")
    head, *lines = result.stderr.splitlines()
    assert head == f"site.yaml: {len(lines)} problem{'s' * (len(lines) > 1)}"
    return [line.removeprefix("  ") for line in lines]


# --- what is read ---


@pytest.mark.parametrize("separator", ["\t", ";", ","])
def test_every_cell_in_quotes(here: Path, separator: str) -> None:
    """As some programs save a table, header and all."""
    rows = [["step", "time [min]"], ["pull out", "4.5"]]
    table = "\n".join(separator.join(f'"{cell}"' for cell in row) for row in rows)

    assert times(table, "{file: times.csv, column: time}") == [4.5]


@pytest.mark.parametrize("separator", ["\t", ";", ","])
@pytest.mark.parametrize("header", ["time [min]", "time (min)", '"time, min"', "time, min", "time  [ min ]"])
@pytest.mark.parametrize("decimal", [".", ","])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_whatever_separates(here: Path, separator: str, header: str, decimal: str, end: str) -> None:
    """Tabs, semicolons or commas; decimal points or commas; the unit in the header in each form; any line end."""
    rows = [["step", header], ["pull out", f'"4{decimal}5"'], ["pull out", "3"], ["", ""], ["walk", f'"0{decimal}75"']]
    table = "".join(separator.join(row) + end for row in rows)

    assert times(table, "{file: times.csv, column: time}") == [4.5, 3.0, 0.75]
    assert times("\ufeff" + table, "{file: times.csv, column: time, step: walk}") == [0.75]


@pytest.mark.parametrize("header", ["time [s]", "time (s)", "time, s", '"time, s"'])
@pytest.mark.parametrize("decimal", [".", ","])
def test_one_column(here: Path, header: str, decimal: str) -> None:
    """Without anything that separates, a comma in a number is a decimal comma, whatever the header looks like."""
    assert times(f"{header}\n30\n4{decimal}5\n", "{file: times.csv, column: time}") == [0.5, 0.075]


@pytest.mark.parametrize(
    ("unit", "minutes"), [("s", 0.5), ("min", 30.0), ("h", 1800.0), ("days", 43200.0)]
)  # fmt: skip
def test_a_unit_that_is_stated(here: Path, unit: str, minutes: float) -> None:
    """It stands beside the column where the header has none, or the same once more."""
    assert times("time\n30\n", f"{{file: times.csv, column: time, unit: {unit}}}") == [minutes]
    assert times(f"time ({unit})\n30\n", f"{{file: times.csv, column: time, unit: {unit}}}") == [minutes]
    assert times(f"time ({unit})\n30\n", f"{{file: times.csv, column: time ({unit})}}") == [minutes]


def test_what_is_no_unit_belongs_to_the_name(here: Path) -> None:
    """Brackets may hold anything else."""
    table = "time (walk);time (pull) [s]\n60;30\n"

    assert times(table, '{file: times.csv, column: "time (walk)", unit: s}') == [1.0]
    assert times(table, '{file: times.csv, column: "time (pull)"}') == [0.5]


def test_columns_that_are_called_like_units(here: Path) -> None:
    """Only a comma and a blank make what follows a unit of what stands before."""
    assert times("step,min\npull out,4.5\n", "{file: times.csv, column: min, unit: min}") == [4.5]


def test_one_file_serves_several_steps(here: Path) -> None:
    """Each step of an arrangement takes its own rows of one table; empty cells and rows are left out."""
    (here / "times.csv").write_text(STEPS, encoding="utf-8")
    text = SOUND.replace(
        "device: extractor, time: 2 min}",
        "device: extractor, time: {observed: {file: times.csv, column: time, step: pull out}}}",
    ).replace("time: {low: 0.2 min, high: 0.6 min}}", "time: {observed: {file: times.csv, column: time, step: walk}}}")
    (here / "site.yaml").write_text(text, encoding="utf-8")

    steps = batsim.read("site.yaml").handling["extractor"].steps

    assert [step.time_min.observed_min for step in (steps[0], steps[2]) if step.time_min] == [
        (pytest.approx(41.5 / 60), pytest.approx(38.25 / 60)),
        (pytest.approx(0.2),),
    ]


def test_the_column_of_steps_may_be_called_anything(here: Path) -> None:
    """It is said where it is not called 'step'; blanks around names and inside them do no harm."""
    table = "what was done;time [min]\n pull  out ;4\nwalk;2\n"

    assert times(table, "{file: times.csv, column: time, step: pull out, step_column: what was done}") == [4.0]


def test_the_exchange_takes_as_long_as_was_timed(here: Path) -> None:
    """What stands in the table is found again in the outcome: one time only, so every exchange takes it."""
    write("step,time [min]\nlock,1\npull,7\n", "[6 h]")
    text = Path("site.yaml").read_text(encoding="utf-8")
    column = "{observed: {file: times.csv, column: time, step: pull}}"
    text = text.replace("    handling: extractor\n", f"    handling: extractor\n    exchange_time: {column}\n")
    Path("site.yaml").write_text(text, encoding="utf-8")

    exchanges = batsim.simulate(batsim.read("site.yaml"), "extractor").frame("exchanges")
    took = (exchanges["end_min"] - exchanges["start_min"]).dropna()

    assert len(took) > 10
    assert took.to_numpy() == pytest.approx(7.0)


@pytest.mark.parametrize(
    "table",
    [
        'step,"time\n[min]"\n"pull\nout",4.5\nwalk,2\n',
        "# stop watch, hall 3\nstep,time [min]\n# second day\npull out,4.5\n",
        "sep=;\nstep;time [min]\npull out;4,5\n",
        "#;step;time [min];remark\n1;pull out;4,5;a # b\n",
        "step;time [min];remark\npull out;+4.5e0;;;\n",
        "step;time [min]\rpull out;4,5\r",
        "\n;;\nstep;time [min]\n;\npull out;4.5\nwalk\n",
        "step;time [min]\npull out;04.50\npull out;\n",
    ],
    ids=["breaks in cells", "comments", "separator said", "numbered rows", "empty cells", "\\r", "rows", "leading 0"],
)
def test_tables_as_programs_write_them(here: Path, table: str) -> None:
    """What spreadsheets add is no reason to refuse."""
    assert times(table, "{file: times.csv, column: time, step: pull out}") == [4.5]


def test_a_comma_that_may_mean_two_things_can_be_settled(here: Path) -> None:
    """A stopwatch shows thousandths of a second, or somebody separates thousands: it is said, not guessed."""
    assert times("a;time [s]\n;1,500\n", "{file: times.csv, column: time, decimal: comma}") == [0.025]
    assert times("a;time [s]\n;1,500\n;30,0\n", "{file: times.csv, column: time}") == [0.025, 0.5]
    assert times("a;time [s]\n;0,600\n", "{file: times.csv, column: time}") == [0.01]


def test_from_a_file_that_is_extended(here: Path) -> None:
    """The table lies beside the file that names it."""
    (here / "base").mkdir()
    write("time [h]\n5\n", "{file: times.csv, column: time}")
    for name in ("times.csv", "site.yaml"):
        Path(name).rename(here / "base" / name)
    (here / "top.yaml").write_text("extends: base/site.yaml\nquestion: How?\n", encoding="utf-8")

    law = batsim.read("top.yaml").trucks[1].run_time_min

    assert law is not None
    assert law.observed_min == (300.0,)


def test_an_editor_knows_the_keys(here: Path) -> None:
    """The schema takes a column of a table, and no other keys."""
    validator = Draft202012Validator(scenario_schema())
    for key, errors in (("step", 0), ("stepp", 1)):
        write("time [s]\n3\n", f"{{file: times.csv, column: time, unit: s, {key}: walk}}")
        found = list(validator.iter_errors(read_file(Path("site.yaml")).data))
        assert len(found) == errors


def test_things_may_be_called_observed(here: Path) -> None:
    """Only durations are looked up in tables."""
    named = yaml.safe_load(SOUND)
    named["layouts"]["observed"] = named["layouts"].pop("extractor")
    (here / "site.yaml").write_text(yaml.safe_dump(named), encoding="utf-8")

    assert "observed" in batsim.read("site.yaml").layouts


def test_a_full_table_is_read_in_no_time(here: Path) -> None:
    """Once, however many steps it serves."""
    rows = "".join(f"step {number % 100};{number % 60},5\n" for number in range(60_000))
    write(f"step;time [s]\n{rows}", "[1 min]")
    law = "{observed: {file: times.csv, column: time, step: step"
    steps = "".join(f"      - {{step: s{n}, by: driver, time: {law} {n}}}}}}}\n" for n in range(50))
    text = (
        Path("site.yaml")
        .read_text(encoding="utf-8")
        .replace("      - {step: lock it", f"{steps}      - {{step: lock it")
    )
    Path("site.yaml").write_text(text, encoding="utf-8")

    start = time.perf_counter()
    read = batsim.read("site.yaml")

    assert len(read.handling["extractor"].steps) == 54
    assert time.perf_counter() - start < 10.0


# --- what is wrong ---

THERE = "there are: 'step', 'who', 'time'"
NUMBER = "needs a plain number; its unit, s, is said once for all"
WIDE = "has more cells than the header, which has 2; what separates cells must not stand in one without quotes"
BROKEN = {
    "a column that is misspelt": (
        "{file: times.csv, column: tine}",
        STEPS,
        f"site.yaml:34:52: {PATH}.column: no such column in line 1 of the table; did you mean 'time'?; "
        f"{THERE} (got 'tine')",
    ),
    "a column and a step that are not there": (
        "{file: times.csv, column: xyz, step: lift}",
        "# one\n" + STEPS,
        f"site.yaml:34:52: {PATH}.column: no such column in line 2 of the table; {THERE} (got 'xyz')",
        f"site.yaml:34:63: {PATH}.step: no row of the table is of this step; there are: 'pull out', 'walk' "
        f"(got 'lift')",
    ),
    "no column of steps": (
        "{file: times.csv, column: time, step: walk}",
        "task;time\nwalk;3\n",
        f"site.yaml:34:26: {PATH}.step_column: no such column in line 1 of the table; there are: 'task', "
        f"'time' (got 'step')",
        f"times.csv:1:1: {PATH}: column 'time' has no unit; call it 'time [s]' here, or state 'unit: s'",
    ),
    "cells that are no numbers": (
        "{file: times.csv, column: time}",
        "time [s]\n3\nsoon\n2 min\n1:30\n4 5\n-3\n-\nnan\n",
        f"times.csv:3:1: {PATH}: {NUMBER} (got 'soon')",
        f"times.csv:4:1: {PATH}: {NUMBER} (got '2 min')",
        f"times.csv:5:1: {PATH}: {NUMBER} (got '1:30')",
        f"times.csv:6:1: {PATH}: {NUMBER} (got '4 5')",
        f"times.csv:8:1: {PATH}: {NUMBER} (got '-')",
        f"times.csv:9:1: {PATH}: {NUMBER} (got 'nan')",
    ),
    "a cell below a cell of two lines": (
        "{file: times.csv, column: time}",
        'step,time [s]\n"pull\nout",3\nwalk,soon\n',
        f"times.csv:4:1: {PATH}: {NUMBER} (got 'soon')",
    ),
    "less than nothing": (
        "{file: times.csv, column: time}",
        "time [s]\n3\n\n-4,5\n",
        f"times.csv:4:1: {PATH}[1]: must be at least 0 min (got '-4.5 s')",
    ),
    "two decimal signs": (
        "{file: times.csv, column: time}",
        "time [s]\n3\n3,5\n7\n4.5\n5.5\n",
        f"times.csv:5:1: {PATH}: a decimal point, but line 3 has a decimal comma; write all with one of them "
        f"(got '4.5')",
    ),
    "two signs in one number": (
        "{file: times.csv, column: time}",
        "time [s]\n1.234,5\n",
        f"times.csv:2:1: {PATH}: {NUMBER} (got '1.234,5')",
    ),
    "another decimal sign than is stated": (
        "{file: times.csv, column: time, decimal: comma}",
        "time [s]\n3,5\n4.5\n",
        f"times.csv:3:1: {PATH}: needs a number with a decimal comma, as stated (got '4.5')",
    ),
    "a comma that may mean two things": (
        "{file: times.csv, column: time}",
        "time [s]\n3\n1,234\n",
        f"times.csv:3:1: {PATH}: a comma may mean two things; state 'decimal: comma', or write thousands without it "
        "(got '1,234')",
    ),
    "decimal commas between commas": (
        "{file: times.csv, column: time}",
        "step,time [s]\nwalk,3\nwalk,4,5\n",
        f"times.csv:3:1: {PATH}: {WIDE} (got 'walk | 4 | 5')",
    ),
    "no unit": (
        "{file: times.csv, column: time}",
        "\nstep;time (minutes)\nwalk;3\n",
        f"site.yaml:34:52: {PATH}.column: no such column in line 2 of the table; "
        "there are: 'step', 'time (minutes)' (got 'time')",
    ),
    "no unit of a column that is there": (
        "{file: times.csv, column: time}",
        "\nstep;time\nwalk;3\nwalk;x\n",
        f"times.csv:2:1: {PATH}: column 'time' has no unit; call it 'time [s]' here, or state 'unit: s'",
        f"times.csv:4:1: {PATH}: needs a plain number (got 'x')",
    ),
    "two units": (
        "{file: times.csv, column: time, unit: min}",
        "time [s]\n3\n",
        f"site.yaml:34:64: {PATH}.unit: the header in line 1 of the table says 'time [s]'; state one unit (got 'min')",
    ),
    "two columns of one name": (
        "{file: times.csv, column: time}",
        "time [s];time [min]\n3;4\n",
        f"site.yaml:34:52: {PATH}.column: 2 columns are called so in line 1 of the table; call them "
        f"differently (got 'time')",
    ),
    "nothing below the header": (
        "{file: times.csv, column: time}",
        "step;time [s]\n\n;\n",
        f"site.yaml:34:33: {PATH}.file: needs a header and rows below it (got 'times.csv')",
    ),
    "nothing at all": (
        "{file: times.csv, column: time}",
        "\n# nothing\n",
        f"site.yaml:34:33: {PATH}.file: needs a header and rows below it (got 'times.csv')",
    ),
    "an empty column": (
        "{file: times.csv, column: time}",
        "step;time [s]\nwalk;\nlift\n",
        f"site.yaml:34:52: {PATH}.column: no row has a duration in it (got 'time')",
    ),
    "too many": (
        "{file: times.csv, column: time}",
        "time [s]\n" + "1\n" * (MOST_TIMES + 1),
        f"site.yaml:34:52: {PATH}.column: holds more than {MOST_TIMES} durations (got 'time')",
    ),
    "a whole column of wrong ones": (
        "{file: times.csv, column: time}",
        "time [s]\n" + "x\n" * 500,
        f"site.yaml:34:26: {PATH}: {500 - MOST_ENTRIES} more entries are wrong",
        *(f"times.csv:{line}:1: {PATH}: {NUMBER} (got 'x')" for line in range(2, MOST_ENTRIES + 2)),
    ),
    "a quote that is not closed": (
        "{file: times.csv, column: time}",
        'step;time [s]\n"walk;3\n',
        f"site.yaml:34:33: {PATH}.file: is no table: a quote is not closed where its cell ends (got 'times.csv')",
    ),
    "not UTF-8": (
        "{file: times.csv, column: time}",
        "step;time [s]\nfönen;3\n".encode("latin-1"),
        f"site.yaml:34:33: {PATH}.file: is not UTF-8 text in line 2; save it as UTF-8 (got 'times.csv')",
    ),
    "larger than can be": (
        "{file: times.csv, column: time}",
        "#" * 1024 * 1024 + "#",
        f"site.yaml:34:33: {PATH}.file: is larger than 1 MiB (got 'times.csv')",
    ),
    "no such file": (
        "{file: times.tsv, column: time}",
        "",
        f"site.yaml:34:33: {PATH}.file: no such file (got 'times.tsv')",
    ),
    "a long name": (
        f"{{file: {'x' * 100}/{'y' * 99}, column: time}}",
        "",
        f"site.yaml:34:33: {PATH}.file: no such file (got '{'x' * 57}...')",
    ),
    "keys that are wrong": (
        "{file: 3, colum: time, unit: sec, decimal: dot, step_column: step}",
        "",
        f"site.yaml:34:33: {PATH}.file: needs a name as text; put it in quotes (got 3)",
        f"site.yaml:34:36: {PATH}.colum: unknown key; did you mean 'column'?",
        f"site.yaml:34:55: {PATH}.unit: must be s, min, h, day, days, week or weeks (got 'sec')",
        f"site.yaml:34:69: {PATH}.decimal: must be point or comma (got 'dot')",
    ),
    "a column of steps without a step": (
        "{file: times.csv, column: time, step_column: who}",
        STEPS,
        f"site.yaml:34:71: {PATH}.step_column: needs 'step', the name that is looked for in it (got 'who')",
    ),
    "no column": (
        "{file: times.csv}",
        STEPS,
        f"site.yaml:34:26: {PATH}.column: missing: column that holds the durations, as its header calls it; "
        "its unit may be left out",
    ),
    "no file": (
        "{column: time}",
        STEPS,
        f"site.yaml:34:26: {PATH}: needs a list of durations, a file with one duration on each line, or {{file, "
        "column} of a table (got a block of keys)",
    ),
}


@pytest.mark.parametrize("case", BROKEN.values(), ids=BROKEN)
def test_what_is_wrong_is_said_to_the_letter(here: Path, case: tuple[str, str | bytes, *tuple[str, ...]]) -> None:
    """Every problem at once, at the line of the table or at the key that asks for it."""
    observed, table, *messages = case

    assert problems(table, observed) == messages


def test_wrong_tables_of_several_steps_are_told_at_once(here: Path) -> None:
    """Each at its own place in the scenario."""
    (here / "times.csv").write_text(STEPS, encoding="utf-8")
    law = "{observed: {file: times.csv, column: time, step: lift}}"
    connect = "connect_time: {low: 0.5 min, typical: 1 min, high: 2 min}"
    text = SOUND.replace(RUN_TIME, f"run_time: {law}").replace(connect, f"connect_time: {law}")
    (here / "site.yaml").write_text(text, encoding="utf-8")

    with pytest.raises(batsim.ScenarioError) as caught:
        batsim.read("site.yaml")

    assert [problem.line for problem in caught.value.problems] == [34, 56]


def test_too_many_in_all(here: Path) -> None:
    """Columns of tables count as files do."""
    write("time [s]\n" + "1\n" * MOST_TIMES, "[6 h]")
    law = "{observed: {file: times.csv, column: time}}"
    steps = "".join(f"      - {{step: s{number}, by: driver, time: {law}}}\n" for number in range(11))
    (here / "site.yaml").write_text(
        SOUND.replace("      - {step: lock it", f"{steps}      - {{step: lock it"), encoding="utf-8"
    )

    with pytest.raises(batsim.ScenarioError) as caught:
        batsim.read("site.yaml")

    assert [problem.rule for problem in caught.value.problems] == [
        "more than 100000 durations in the files of a scenario"
    ]


def test_a_text_without_a_header_is_no_table() -> None:
    """Nothing but blanks and comments."""
    assert read_table(" \n;;\n# a;b\n") is None
