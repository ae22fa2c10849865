"""The table of checks against the code that judges them: cases without a text, texts that nobody fills."""

import ast
import csv
import re
from pathlib import Path

import pytest

import batsim.plan

PLAN = Path(batsim.plan.__file__).parent
TEXTS = ("name", "rule", "limit", "value", "sentence", "cure", "path", "changes")


def cases() -> dict[str, list[dict[str, str]]]:
    """Rows of the table by check."""
    rows: dict[str, list[dict[str, str]]] = {}
    with (PLAN / "checks.csv").open(newline="", encoding="utf-8") as lines:
        for row in csv.DictReader(lines):
            rows.setdefault(row["check"], []).append(row)
    return rows


def judges() -> dict[str, ast.FunctionDef]:
    """Functions that make a requirement, by its check."""
    return {
        str(call.args[0].value): function
        for file in PLAN.glob("*.py")
        for function in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
        if isinstance(function, ast.FunctionDef)
        for call in ast.walk(function)
        if isinstance(call, ast.Call) and ast.unparse(call.func) == "Requirement"
        if isinstance(call.args[0], ast.Constant)
    }


def test_every_check_is_judged_somewhere() -> None:
    """And nothing is judged that the table does not have."""
    assert set(judges()) == set(cases())


@pytest.mark.parametrize("check", cases())
def test_the_code_gives_all_that_the_texts_ask_for(check: str) -> None:
    """Every name in braces is a keyword of the requirement or of its case."""
    given = {word.arg for word in ast.walk(judges()[check]) if isinstance(word, ast.keyword)}
    asked = {name for row in cases()[check] for text in TEXTS for name in re.findall(r"\{(\w+)", row[text])}

    assert asked <= given


@pytest.mark.parametrize("check", cases())
def test_a_check_says_what_its_cases_have_in_common_first(check: str) -> None:
    """Then its cases, each once, with a verdict and a sentence, and a path where it is not known."""
    common, *others = cases()[check]

    assert common["case"] == ""
    assert common["verdict"] in ("", "forbids")
    assert all(common[text] for text in ("name", "rule", "limit"))
    assert len({row["case"] for row in others}) == len(others)
    for row in others:
        assert row["case"]
        assert row["sentence"]
        assert bool(row["path"]) == (row["verdict"] == "not known")
        no_cure = row["verdict"] == "fails" and common["verdict"] == "forbids"
        assert bool(row["cure"]) == (row["verdict"] in ("fails", "to check")) or no_cure
