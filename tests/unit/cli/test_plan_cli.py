"""The command plan: its text at every width, JSON, tables, what it refuses, names that mean harm, and the schema."""

import csv
import io
import json
from collections import Counter
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result
from jsonschema import Draft202012Validator

import batsim
from batsim.cli import main
from batsim.decision.recommendation import recommend
from batsim.plan.conversion import PartChange
from batsim.plan.money import Payback
from batsim.plan.plan import Plan
from batsim.scenario.json_schema import scenario_schema
from batsim.scenario.text.yaml_text import read_file, read_text
from batsim.study.prices import MARK, Price
from batsim.views.text.plan_text import CHANGES, change_texts, payback_sentence, pays_back, plan_text

FILE = Path(__file__).parents[1] / "cases" / "surveyed.yaml"
OPTIONS = ("-r", "2", "--weeks", "0.3", "--warm-up", "0.1", "--workers", "1")
QUICK = ("--layout", "hoist", "-r", "1", "--weeks", "0.05", "--warm-up", "0", "--workers", "1")
NAME = '=2+3,"x[0].{y} %s <b>&amp; naïve 電池 ' + "long" * 12


def call(*arguments: object) -> Result:
    """Run the command."""
    return CliRunner().invoke(main, ["plan", *(str(each) for each in arguments)])


@cache
def planned() -> Plan:
    """What the command does with these options."""
    return batsim.plan_layouts(
        batsim.read(FILE), batsim.Settings(replications=2, weeks=0.3, warm_up_weeks=0.1, workers=1)
    )


@pytest.fixture(scope="module")
def present() -> Plan:
    """With a layout of today, so that there are paybacks."""
    scenario = batsim.changed(batsim.read(FILE), {"present": "in truck"})
    return batsim.plan_layouts(
        scenario, batsim.Settings(layouts=["rollers", "hoist"], replications=1, weeks=0.1, warm_up_weeks=0.0, workers=1)
    )


# --- text ---


def test_text_is_that_of_the_plan() -> None:
    """On a pipe 100 characters wide."""
    result = call(FILE, *OPTIONS)

    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout == plan_text(planned()) + "\n"


def test_the_answer_is_one_screen_and_stands_last() -> None:
    """Forty lines; in full all else goes before it."""
    answer, whole = plan_text(planned()), plan_text(planned(), full=True)
    said = recommend(planned())

    assert len(answer.splitlines()) <= 40
    last = f"What to do: {said.headline} {said.order} {MARK} rests on placeholders. "
    assert last in " ".join(answer.split())
    assert last in " ".join(whole.split())
    assert call(FILE, *OPTIONS, "--full").stdout == whole + "\n"
    assert whole.index("Cautions") < whole.index("What to do: ")
    assert ("--full" in answer, "--full" in whole) == (True, False)


@pytest.mark.parametrize("width", [60, 80, 100])
@pytest.mark.parametrize("full", [False, True], ids=["answer", "full"])
def test_no_line_is_too_wide(width: int, full: bool, present: Plan) -> None:
    """Nor does one end in blanks."""
    for plan in (planned(), present):
        lines = plan_text(plan, width, full=full).splitlines()

        assert [line for line in lines if len(line) > width] == []
        assert [line for line in lines if line != line.rstrip()] == []


@pytest.mark.parametrize("width", [60, 80, 100])
def test_the_same_words_at_every_width(width: int) -> None:
    """Lines are broken elsewhere; nothing is left out."""
    wide, narrow = (Counter(plan_text(planned(), each, full=True).split()) for each in (400, width))

    # The names of rows come again where a table is broken in two, and titles are underlined as far as they go.
    assert {word for word in wide - narrow if set(word) != {"="}} == set()


def test_every_part_is_there() -> None:
    """For every layout: checks, list, ventilation, supply, money, cautions; questions once at the end."""
    lines = plan_text(planned(), full=True).splitlines()
    count = len(planned().layouts)

    for start in ("Checks: ", "Equipment list", "Ventilation (IEC 62485-3:2014)", "Supply", "Cost (EUR)", "Cautions"):
        assert sum(line.startswith(start) for line in lines) == count, start
    assert sum(line.startswith("Open questions (2)") for line in lines) == 1
    assert sum(line.startswith("What to do: Do not buy exchange equipment") for line in lines) == 1


def test_every_check_and_line_is_told() -> None:
    """With its verdict, and how many there are."""
    for name, each in planned().layouts.items():
        text = plan_text(replace(planned(), layouts={name: each}), 100_000, full=True)
        for check in each.checks:
            assert f"{check.subject}, {check.name}: {check.value}" in text
        for line in each.equipment:
            assert line.to_order == 0.0 or f"{line.to_order:>4g} x {line.item}" in text
            assert line.owned == 0.0 or f"{line.owned:>4g} x {line.item}" in text
        for line in each.money.lines:
            assert f"{line.what}: {line.basis}" in text
        for caution in each.cautions:
            assert caution in text


def test_what_changes_against_today_to_the_letter(present: Plan) -> None:
    """More, fewer, and those that stay in another size; nothing is said where no layout is there today."""
    changes = change_texts(present.layouts["hoist"])

    frame = (
        "length across the truck at most 600 mm, width along the truck at most 900 mm, "
        "height under the battery at most 50 mm"
    )
    assert changes == [
        "1 x hoist more, height of the hook at least 1,760 mm, rated for at least 850 kg",
        "4 x floor bay more",
        "1 x spreader beam more, distance of the hooks 500 mm ± 10 mm, rated for at least 800 kg",
        "1 x securing device that the makers approve more",
        "1 x insulating cover for bare battery tops more",
        f"3 x pull-out frame in another size, {frame}, way out of the truck at least 610 mm",
        "6 x stops for the pull-out frame no longer needed",
    ]
    assert [f"  - {change}" in plan_text(present, 1000, full=True) for change in changes] == [True] * len(changes)
    assert CHANGES not in plan_text(planned(), full=True)


def test_parts_that_grow_or_shrink_in_another_size() -> None:
    """Those of today are told apart from those that come."""
    changes = (PartChange("frame", 2, 5, "300 mm", "400 mm"), PartChange("lock", 5, 2, "", ""))
    hoist = replace(planned().layouts["hoist"], conversion=changes)

    assert change_texts(hoist) == [
        "3 x frame more, 400 mm; the 2 of today in another size",
        "3 x lock no longer needed; 2 stay",
    ]


def test_a_plan_without_questions() -> None:
    """Where every price is the site's and today's layout is stated."""
    hoist = planned().layouts["hoist"]
    known = replace(hoist, checks=(), money=replace(hoist.money, lines=()))

    found = replace(planned(), layouts={"hoist": known})
    assert (
        "\nOpen questions (1), with what each would change:\n"
        "  - Say which layout is there today (present): payback against doing nothing.\n\n"
    ) in plan_text(found, full=True)
    assert "1 open question, checks" in plan_text(found)


def known(amount: float) -> Price:
    """An amount without a range."""
    return Price(amount, amount, amount, placeholder=False)


def guess(value: float, low: float, high: float) -> Price:
    """An amount that rests on placeholders."""
    return Price(value, low, high, placeholder=True)


@pytest.mark.parametrize(
    ("back", "expected"),
    [
        (Payback("hoist", known(0.0), known(1200.0), known(0.0), known(0.0), known(5000.0), 12.0),
         "Nothing is to be ordered beside batteries; against layout 'hoist' it saves 1,200 EUR a year to run; net "
         "present value over 12 years 5,000 EUR (today not checked against records)."),
        (Payback("hoist", known(0.0), known(-1200.0), known(0.0), known(0.0), known(-5000.0), 12.0),
         "Nothing is to be ordered beside batteries; against layout 'hoist' it costs 1,200 EUR a year more to run; net "
         "present value over 12 years -5,000 EUR (today not checked against records)."),
        (Payback("hoist", known(9000.0), known(-300.0), known(np.inf), known(np.inf), known(-9999.0), 12.0),
         "Against layout 'hoist' it never pays back: 9,000 EUR to order beside batteries, and it costs 300 EUR a year "
         "more to run; net present value over 12 years -10,000 EUR (today not checked against records)."),
        (Payback("hoist", guess(9000.0, 6000.0, 12000.0), guess(2000.0, 1000.0, 3000.0), guess(4.5, 2.0, 12.0),
                 guess(5.2, 2.1, np.inf), guess(6000.0, -4000.0, 17000.0), 12.0),
         "Against layout 'hoist' it pays back in 4.5 years* (2.0 to 12.0 years), 5.2 years* (2.1 years to never) with "
         "interest: 9,000* (6,000 to 12,000) EUR to order beside batteries, and it saves 2,000* (1,000 to 3,000) EUR a "
         "year to run; net present value over 12 years 6,000* (-4,000 to 17,000) EUR "
         "(today not checked against records)."),
        (Payback("hoist", guess(9000.0, 6000.0, 12000.0), guess(-200.0, -900.0, 3000.0), guess(np.inf, 2.0, np.inf),
                 guess(np.inf, 2.1, np.inf), guess(-9000.0, -19000.0, 17000.0), 12.0),
         "Against layout 'hoist' it never pays back* (2.0 years to never): 9,000* (6,000 to 12,000) EUR to order "
         "beside batteries, and it costs 200* (-3,000 to 900) EUR a year more to run; net present value over 12 years "
         "-9,000* (-19,000 to 17,000) EUR (today not checked against records)."),
    ],
)  # fmt: skip
def test_payback_in_words(back: Payback, expected: str) -> None:
    """At once, never, with interest, or only at the best; every number with its range and mark."""
    assert payback_sentence(replace(planned().layouts["stands"], payback=back)) == expected


def test_payback_in_short() -> None:
    """With what it leaves out where batteries are ordered; nothing where nothing is to be paid back."""
    stands = planned().layouts["stands"]
    back = Payback("hoist", guess(9000.0, 6000.0, 12000.0), guess(2000.0, 1000.0, 3000.0), guess(4.5, 2.0, 12.0),
                   guess(5.2, 2.1, np.inf), guess(6000.0, -4000.0, 17000.0), 12.0)  # fmt: skip
    others = tuple(line for line in stands.equipment if not line.item.startswith("battery ("))

    assert others != stands.equipment
    assert pays_back(replace(stands, payback=back)) == (
        "Everything but the batteries pays back in 4.5 years* (2.0 to 12.0 years) (today not checked against records)."
    )
    assert pays_back(replace(stands, payback=back, equipment=others)).startswith("It pays back in 4.5 years*")
    assert pays_back(replace(stands, payback=back._replace(years=known(np.inf)))) == (
        "It never pays back (today not checked against records)."
    )
    assert pays_back(replace(stands, payback=back._replace(price=known(0.0)))) == ""
    assert pays_back(replace(stands, payback=None)) == ""


# --- JSON and tables ---


def test_json_is_that_of_the_plan() -> None:
    """One object, nothing else."""
    result = call(FILE, *OPTIONS, "--json")

    assert (result.exit_code, result.stderr) == (0, "")
    assert json.loads(result.stdout) == json.loads(
        json.dumps(planned().as_json() | {"recommendation": recommend(planned())._asdict()})
    )


def test_tables_are_those_of_the_plan(tmp_path: Path) -> None:
    """Three files in a folder that is made for them; the text comes as without them."""
    folder = tmp_path / "deep" / "er"
    result = call(FILE, *OPTIONS, "--tables", folder)

    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout == plan_text(planned()) + "\n"
    assert sorted(each.name for each in folder.iterdir()) == ["checks.csv", "equipment.csv", "money.csv"]
    for name in ("checks", "equipment", "money"):
        frame = getattr(planned(), f"{name}_frame")
        rows = list(csv.reader(io.StringIO((folder / f"{name}.csv").read_text(encoding="utf-8"))))
        assert rows[0] == list(frame.columns)
        assert len(rows) == len(frame) + 1
        assert [row[0] for row in rows[1:]] == list(frame["layout"])


def test_a_folder_that_is_a_file(tmp_path: Path) -> None:
    """Refused before anything is simulated."""
    file = tmp_path / "there"
    file.write_text("", encoding="utf-8")
    result = call(FILE, *QUICK, "--tables", file)

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.endswith(f"Invalid value for '--tables': Directory '{file}' is a file.\n")


def test_a_folder_that_cannot_be_made(tmp_path: Path) -> None:
    """A file is in the way."""
    (tmp_path / "there").write_text("", encoding="utf-8")
    result = call(FILE, *QUICK, "--tables", tmp_path / "there" / "inside")

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.endswith("Error: --tables: cannot be written (Not a directory); choose another folder\n")


def test_a_table_that_cannot_be_written(tmp_path: Path) -> None:
    """Its name is taken by a folder."""
    (tmp_path / "checks.csv").mkdir()
    result = call(FILE, *QUICK, "--tables", tmp_path)

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.endswith("Error: --tables: cannot be written (Is a directory); choose another folder\n")


# --- what is refused ---


def test_an_unknown_layout() -> None:
    """With the name that was meant."""
    result = call(FILE, "--layout", "hoists")

    assert (result.exit_code, result.stdout) == (2, "")
    assert (
        result.stderr == f"{FILE}: 1 problem\n  {FILE}: layouts.hoists: no layout of this name; did you mean 'hoist'?\n"
    )


@pytest.mark.parametrize(
    ("option", "value"), [("--weeks", "0"), ("--warm-up", "-1"), ("--seed", "-1"), ("--workers", "0"), ("-r", "0")]
)
def test_options_out_of_range(option: str, value: str) -> None:
    """As in the other commands."""
    result = call(FILE, option, value)

    assert (result.exit_code, result.stdout) == (2, "")
    assert "Invalid value for '" in result.stderr


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    """A message, not a traceback."""
    result = call(tmp_path / "none.yaml")

    assert (result.exit_code, result.stdout) == (2, "")
    assert f"{tmp_path / 'none.yaml'}: 1 problem\n" in result.stderr


# --- names ---


HARM = """\
site: {name: NAME}
week: {shifts: {day: {days: Mon-Fri, from: "06:00", to: "14:00"}}}
trucks: [{group: NAME, count: 2, shifts: [day], battery: "a.b[0]", duty: {mean_power: 2 kW}}]
batteries: {"a.b[0]": {from: vented_lead_acid, cells: 24, capacity: 500 Ah at 5 h}}
layouts:
  NAME: {handling: overhead_hoist, batteries: 4, chargers: 2 x electronic_iuia, charging: {stagger: 1 min}}
"""


def test_names_that_mean_harm() -> None:
    """Of layouts, batteries, groups and shifts: quotes, brackets, dots, other scripts, and very long ones."""
    text = HARM.replace("NAME", json.dumps(NAME, ensure_ascii=False))
    read = batsim.read_scenario_text(text, "names.yaml")
    found = batsim.plan_layouts(read, batsim.Settings(replications=1, weeks=0.1, warm_up_weeks=0.0, workers=1))

    json.dumps(found.as_json(), allow_nan=False)
    for width in (60, 80, 100):
        text = plan_text(found, width, full=True)
        assert text.count("=2+3") >= 2
        assert "Open questions" in text
    mass = next(each for each in found.questions if each.ask.startswith("read the mass on the plate of battery"))
    assert mass.path == "batteries.'a.b[0]'.mass"
    assert [each.supply.held_back[-1].what for each in found.layouts.values()] == ["10 min between starts"]
    assert "=2+3" in found._repr_html_()
    assert "<b>" not in found._repr_html_()


# --- schema ---

NEW_KEYS: dict[str, Any] = {
    "present": "stands",
    "equipment": {
        "hoist": {"rated_mass": "1 t", "people": 2, "way_out": "1 m", "hook_spacing": {"from": "1 mm", "to": "2 mm"}}
    },
    "room": {"length": "12 m", "fan": "400 m3/h", "floor_load": "20 kN/m2", "acid_proof": "yes", "openings": "40 cm2"},
    "building": {"length": "50 m", "contents": "20 %"},
    "supply": {"voltage": "400 V", "phases": 3, "spare": "100 kVA"},
    "standards": {"ventilation": "EN 50272-3:2002", "push": "ccohs"},
}


@cache
def validator() -> Draft202012Validator:
    """Of the exported schema."""
    return Draft202012Validator(json.loads(json.dumps(scenario_schema())))


def test_the_schema_covers_the_survey() -> None:
    """What the reader accepts, the schema accepts: the surveyed site, and the keys that it leaves out."""
    data = read_file(FILE).data

    assert [error.message for error in validator().iter_errors(data)] == []
    assert [error.message for error in validator().iter_errors(data | NEW_KEYS)] == []
    batsim.changed(batsim.read(FILE), NEW_KEYS)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("removal: side", "removal: bottom"),
        ("maker_approves: \"yes\"", "maker_approves: maybe"),
        ("floor: flat", "floor: soft"),
        ("fork_depth:", "fork_dept:"),
        ("floor: good", "floor: wet"),
        ("supply: {voltage", "supply: {volts"),
        ("moved: powered", "moved: pulled"),
        ("building: {length", "building: {aisle"),
        ("stands_out:", "stand_out:"),
        ("base: flat", "base: round"),
        ("{from: 700 kg, to: 900 kg}", "{from: 700 kg}"),
        ("supply: {voltage: 400 V", "standards: {push: hse}\nsupply: {voltage: 400 V"),
    ],
)  # fmt: skip
def test_the_schema_refuses_what_the_reader_refuses(old: str, new: str) -> None:
    """Words and keys that there are not."""
    text = FILE.read_text(encoding="utf-8")
    assert old in text
    broken = text.replace(old, new, 1)

    with pytest.raises(batsim.ScenarioError):
        batsim.read_scenario_text(broken, "broken.yaml")
    assert list(validator().iter_errors(read_text(broken, "broken.yaml").data))
