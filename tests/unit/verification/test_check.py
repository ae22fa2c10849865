"""Tables of checks are whole: each number has a name and a source, each function a number, and the wheel has them."""

import math
import re
import shutil
import subprocess
import sys
import tomllib
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import batsim
from batsim.catalogue import sources
from batsim.statistics.intervals import student_interval
from batsim.verification import check as checks_of
from batsim.verification import verify as command
from batsim.verification.agreement import CONFIDENCE, FAILS, HOLDS, Replicated, agreed, judged, narrowed
from batsim.verification.check import HERE, LONG, QUICK, SUBJECTS, Check, cases_of, number_or_text
from batsim.verification.verify import COLUMNS, MODULES, cases_in, recorded

ROOT = Path(__file__).parents[3]
CASES = cases_in(full=True)
CHECKS = [check for case in CASES for check in case.checks]
TABLE = """
- function: doubled
  check: "twice {number}, {law}"
  source: worked-out
  where: by hand
  given: {law: IU}
  inputs: [number]
  told: [law]
  quantities: [sum, "mean, h"]
  rows:
  - [2, 4.00, 1.5 ± 2 %]
  - [3, 6 ± 0.25, "-"]
- function: doubled
  set: full
  check: none
  source: Law
  where: page 1
  within: 0.1 %
  quantities: ["charge, Ah"]
  rows: [[-2.0e3]]
"""


@pytest.fixture
def table(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], tuple[checks_of.Case, ...]]:
    """Read a table of a subject of its own."""

    def read(text: str) -> tuple[checks_of.Case, ...]:
        (tmp_path / "tables").mkdir()
        (tmp_path / "tables" / "made.yaml").write_text(text, encoding="utf-8")
        monkeypatch.setattr(checks_of, "HERE", tmp_path)
        monkeypatch.setitem(SUBJECTS, "made", "what is made up")
        return checks_of.cases_of.__wrapped__("made")

    return read


def test_a_table_is_read_by_hand(table: Callable[[str], tuple[checks_of.Case, ...]]) -> None:
    """Numbers keep their digits, from which follows how near they must be; words are for the name alone."""
    first, second, third = table(TABLE)

    assert (first.given, second.given, third.given) == ({"number": 2.0}, {"number": 3.0}, {})
    assert (first.part, third.part) == (QUICK, "full")
    rows = [(check.name, check.unit, check.expected, check.within) for check in (*first.checks, *second.checks)]
    assert rows == [
        ("twice 2, IU: sum", "", 4.0, pytest.approx(0.005)),
        ("twice 2, IU: mean", "h", 1.5, pytest.approx(0.03)),
        ("twice 3, IU: sum", "", 6.0, 0.25),
    ]
    (alone,) = third.checks
    assert (alone.name, alone.label, alone.expected) == ("none", "charge", -2000.0)
    assert alone.within == pytest.approx(2.0)
    assert alone.citation.startswith("Law (earlier editions")


def test_text_becomes_numbers_where_it_is_one() -> None:
    """In lists and names too."""
    assert number_or_text({"a": ["1", "2 h"], "b": {"c": "-1e3"}}) == {"a": [1.0, "2 h"], "b": {"c": -1000.0}}


# --- agreement ---


def made(expected: str, within: float, quantity: str = "time, h") -> Check:
    """A check of one number."""
    return Check("money", "case", quantity, True, expected, within, "worked-out", "by hand")


@pytest.mark.parametrize(
    ("got", "verdict"), [(1.0, HOLDS), (1.1, HOLDS), (0.9, HOLDS), (1.1003, FAILS), (0.8997, FAILS), (math.nan, FAILS)]
)
def test_a_number_holds_as_near_as_is_allowed(got: float, verdict: str) -> None:
    """To both sides."""
    outcome = judged(made("1.0", 0.1), got)

    assert (outcome.verdict, outcome.got if got == got else None) == (verdict, got if got == got else None)
    assert math.isnan(outcome.half_width)


VALUES = np.array([99.0, 100.0, 101.0, 100.0, 99.0, 101.0, 100.0, 100.0])


@pytest.mark.parametrize(
    ("shift", "expected", "holds"), [(0.0, 100.0, True), (0.0, 101.5, False), (1.0, 101.5, True), (-1.0, 98.5, True)]
)
def test_an_interval_holds_its_value(shift: float, expected: float, holds: bool) -> None:
    """Mean 100, 1.445 to each side by Student's quantile 5.408 of seven degrees of freedom at 99.9 %."""
    interval, found = agreed(expected, 0.0, Replicated(VALUES + shift), is_share=False)

    assert found is holds
    assert interval.half_width == pytest.approx(5.408 * np.sqrt(4.0 / 7.0) / np.sqrt(8.0), rel=1e-3)


def test_a_wide_interval_does_not_hold() -> None:
    """Though its value lies inside: ten times as wide, 14 % of the value; a share may be 0.005 off."""
    wide = Replicated(100.0 + 10.0 * (VALUES - 100.0))
    share = Replicated(0.1 + 0.002 * (VALUES - 100.0))

    assert agreed(100.0, 0.0, wide, is_share=False)[1] is False
    assert [agreed(0.1, 0.0, share, is_share=is_share)[1] for is_share in (True, False)] == [True, False]


def test_controls_narrow_what_is_too_wide() -> None:
    """Values that are 100 and ten times the control: nothing is left to chance; where one is off, nothing holds."""
    control = np.array([0.5, -0.5, 1.0, -1.0, 0.25, -0.25, 0.75, -0.75])
    got = Replicated(100.0 + 10.0 * control, (control,))

    assert narrowed(got.values, [control]).mean == pytest.approx(100.0)
    assert agreed(100.0, 0.0, got, is_share=False)[1]
    assert not agreed(100.0, 0.0, got._replace(controls=(control + 9.0,)), is_share=False)[1]
    assert not agreed(120.0, 0.0, got, is_share=False)[1]
    assert student_interval(got.values, CONFIDENCE).half_width > 2.0


# --- the tables that ship ---


def test_no_two_checks_have_the_same_name() -> None:
    """With the unit, since a number may be told in two of them."""
    names = Counter((check.subject, check.name, check.unit) for check in CHECKS)

    assert [name for name, times in names.items() if times > 1] == []


def test_every_check_has_a_source_and_a_place_in_it() -> None:
    """By key, as figures have."""
    assert {check.source for check in CHECKS} <= set(sources())
    assert [check.name for check in CHECKS if not check.where or check.within < 0.0] == []


def test_every_function_is_named_and_every_subject_has_quick_checks() -> None:
    """Nothing stands there that no table asks for."""
    for subject, functions in MODULES.items():
        assert {case.function for case in cases_of(subject)} == set(functions)
        assert [case for case in cases_of(subject) if case.part == QUICK]
    assert list(MODULES) == list(SUBJECTS)
    assert {path.stem for path in (HERE / "tables").iterdir()} == set(SUBJECTS)


def test_the_full_set_has_the_quick_one() -> None:
    """And more; only runs of the room take long."""
    quick = cases_in(full=False)

    assert [case for case in quick if case not in CASES] == []
    assert len(quick) < len(CASES)
    assert {case.subject for case in CASES if case.part == LONG} == {"queueing"}


def test_every_scenario_is_asked_for() -> None:
    """By a table, another scenario or a test."""
    files = [*(HERE / "tables").iterdir(), *(HERE / "cases").iterdir(), *HERE.glob("*.py")]
    files += (ROOT / "tests").rglob("*.py")
    texts = {file: file.read_text(encoding="utf-8") for file in files}

    def is_asked_for(stem: str) -> bool:
        return any(re.search(rf"\b{stem}\b", text) for file, text in texts.items() if file.stem != stem)

    assert [path.stem for path in (HERE / "cases").iterdir() if not is_asked_for(path.stem)] == []


def test_an_installed_package_has_the_data(tmp_path: Path) -> None:
    """A wheel holds every file of the package that is under version control, with no other beside it."""
    with (ROOT / "pyproject.toml").open("rb") as file:
        wheel = tomllib.load(file)["tool"]["hatch"]["build"]["targets"]["wheel"]
    assert wheel["packages"] == ["batsim"]
    assert {"exclude", "only-include", "artifacts"} & set(wheel) == set()
    if not (ROOT / ".git").exists() or shutil.which("git") is None:
        pytest.skip("not a repository")
    ignored = subprocess.run(
        ["git", "check-ignore", *map(str, HERE.rglob("*.yaml")), str(HERE / "recorded.csv")],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert ignored.stdout == ""
    shutil.copytree(ROOT / "batsim", tmp_path / "batsim", ignore=shutil.ignore_patterns("__pycache__"))
    code = (
        "from batsim.verification.verify import cases_in, outcomes_of, recorded\n"
        "from batsim.verification.queueing import room\n"
        "cases = cases_in(full=True)\n"
        "for file in {case.given['file'] for case in cases if 'file' in case.given}: room(file)\n"
        "money = [case for case in cases if case.subject == 'money']\n"
        "print(all(outcome.holds for case in money for outcome in outcomes_of(case)), len(recorded()), len(cases))\n"
    )
    done = subprocess.run([sys.executable, "-I", "-c", f"import sys\nsys.path.insert(0, {str(tmp_path)!r})\n{code}"],
                          cwd=tmp_path, capture_output=True, text=True, check=False)  # fmt: skip

    assert (done.stderr, done.stdout) == ("", f"True {len(SUBJECTS)} {len(CASES)}\n")


# --- the result ---


@pytest.fixture
def money(monkeypatch: pytest.MonkeyPatch) -> None:
    """Only the checks of money, which take no time."""
    monkeypatch.setattr(command, "SUBJECTS", {"money": SUBJECTS["money"]})


@pytest.mark.usefixtures("money")
def test_what_verify_returns() -> None:
    """A frozen result that says how many hold, with a row for each check."""
    told: list[tuple[int, int]] = []

    found = batsim.verify(progress=lambda done, of: told.append((done, of)))

    assert found.sentence == "All 17 checks are OK."
    assert repr(found) == "<Verification: All 17 checks are OK.>"
    assert found.failing == ()
    assert [each[:3] for each in found.by_subject] == [("money", 17, 17)]
    assert found.by_subject[0].sources == ("DeGarmo", "worked-out", "numpy-financial")
    assert told == [(done, 14) for done in range(15)]
    frame = found.frame
    assert list(frame.columns) == list(COLUMNS)
    assert frame.iloc[0, :7].tolist()[:4] == ["money", "capital recovery at 5 % over 10 years", 0.1295, 0.129505]
    html = found._repr_html_()
    assert html.startswith("<p>All 17 checks are OK.</p><table>")
    assert ">17</td><td" in html
    assert "DeGarmo and others, worked out here, numpy-financial 1.0</td>" in html
    assert "capital recovery" not in html
    data = found.as_json()
    assert (data["count"], data["failing"], data["checks"][0]["within"]) == (17, [], 0.00005)


@pytest.mark.usefixtures("money")
def test_a_formula_that_is_wrong_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """Interest of a year too few: what rests on it fails, and is named."""
    right = command.money.capital_recovery_share
    monkeypatch.setattr(command.money, "capital_recovery_share", lambda i, n: right(i, n - 0.01))

    found = batsim.verify()

    assert [outcome.check.name for outcome in found.failing][:2] == [
        "capital recovery at 5 % over 10 years", "capital recovery at 8 % over 5 years",
    ]  # fmt: skip
    assert found.sentence.startswith(f"{len(found.failing)} of 17 checks fail: capital recovery at 5 % over 10 years; ")
    assert replace(found, outcomes=(*found.failing[:1],)).sentence == (
        "1 of 1 checks fails: capital recovery at 5 % over 10 years."
    )
    assert set(found.frame["verdict"]) == {HOLDS, FAILS}
    assert found._repr_html_().count(f"<td>{FAILS}</td>") == len(found.failing)


def test_what_is_recorded_is_all_that_is_quick() -> None:
    """By subject, and everything holds."""
    quick = Counter(SUBJECTS[case.subject] for case in cases_in(full=False) for _ in case.checks)

    assert {each.subject: (each.checks, each.holding) for each in recorded()} == {
        subject: (count, count) for subject, count in quick.items()
    }
