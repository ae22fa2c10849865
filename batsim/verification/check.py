"""A check: a number that the program must come to, how near, and what says so; tables of them, subject by subject.

A table in `tables/` names a function of its subject. Each of its rows says what the function is given and what it must
come to, each number written as its source prints it: half of the last digit is allowed, or what follows after ±.
"""

from collections.abc import Iterator, Mapping
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import yaml

from batsim.catalogue import sources

HERE = Path(__file__).parent
QUICK, FULL, LONG = "quick", "full", "long"
"""Values of `set` of a table, quick where it has none: the full set has them all, `LONG` takes more than a minute."""
NONE = "-"
"""In place of a number that a row leaves out."""
SHARE = "share"
"""Unit of probabilities and shares."""
SUBJECTS = {
    "batteries": "battery formulas",
    "charging": "charging",
    "gas": "ventilation and gas",
    "supply": "supply",
    "money": "money",
    "statistics": "statistics",
    "queueing": "queueing theory against the simulated room",
    "handling": "handling arithmetic",
    "safety": "safety limits",
}
"""What checks are about, by the name of the table and of the module that has its functions."""


class Check(NamedTuple):
    """A number that the program must come to."""

    subject: str
    case: str
    """What is looked at; one case may have several numbers."""
    quantity: str
    """What the function calls the number, with its unit behind the last comma: `gas, Ah`."""
    is_alone: bool
    """Whether it is the only number that the table has of a case."""
    printed: str
    """As the source prints it."""
    within: float
    """How far off it may be, in its unit."""
    source: str
    """Key in the catalogue's sources."""
    where: str
    """Page, table or case in the source."""

    @property
    def label(self) -> str:
        """The quantity without its unit."""
        return self.quantity.rpartition(", ")[0] or self.quantity

    @property
    def name(self) -> str:
        """What is checked; no two checks have the same."""
        return self.case if self.is_alone else f"{self.case}: {self.label}"

    @property
    def expected(self) -> float:
        """The number itself."""
        return float(self.printed)

    @property
    def unit(self) -> str:
        """Unit of the number; empty for a count or a ratio."""
        return self.quantity.rpartition(", ")[2] if ", " in self.quantity else ""

    @property
    def citation(self) -> str:
        """The source in words."""
        return sources()[self.source].citation


class Case(NamedTuple):
    """What a function is given, and the numbers that it must come to with that."""

    subject: str
    """Name of the table."""
    function: str
    given: Mapping[str, Any]
    checks: tuple[Check, ...]
    part: str
    """Set that it is of: quick, full or long."""


@cache
def cases_of(subject: str) -> tuple[Case, ...]:
    """All cases of a subject, in the order of its tables."""
    text = (HERE / "tables" / f"{subject}.yaml").read_text(encoding="utf-8")
    # Every scalar is text, so that a number is the one that stands there, with its last digit.
    tables = yaml.load(text, Loader=yaml.BaseLoader)
    return tuple(case for table in tables for case in _cases(subject, table))


def _cases(subject: str, table: Mapping[str, Any]) -> Iterator[Case]:
    """Take a table apart."""
    inputs, quantities = table.get("inputs", []), table["quantities"]
    for row in table["rows"]:
        words, numbers = row[: len(inputs)], row[len(inputs) :]
        given = table.get("given", {}) | dict(zip(inputs, words, strict=True))
        case = table["check"].format(**given)
        checks = tuple(
            _check(subject, table, case, quantity, cell)
            for quantity, cell in zip(quantities, numbers, strict=True)
            if cell != NONE
        )
        read = {key: number_or_text(value) for key, value in given.items() if key not in table.get("told", ())}
        yield Case(subject, table["function"], read, checks, table.get("set", QUICK))


def _check(subject: str, table: Mapping[str, Any], case: str, quantity: str, cell: str) -> Check:
    """Read a cell, such as `4.15`, `4.15 ± 0.01` or `4.15 ± 0.1 %`."""
    printed, _, within = (part.strip() for part in cell.partition("±"))
    allowed = _allowed(printed, within or table.get("within", ""))
    alone = len(table["quantities"]) == 1
    return Check(SUBJECTS[subject], case, quantity, alone, printed, allowed, table["source"], table["where"])


def _allowed(printed: str, within: str) -> float:
    """How far off a number may be: as stated, or half of its last digit."""
    if within.endswith("%"):
        return abs(float(printed)) * float(within.removesuffix("%")) / 100.0
    if within:
        return float(within)
    exponent = Decimal(printed).as_tuple().exponent
    assert isinstance(exponent, int)  # it is a finite number
    return 0.5 * 10.0**exponent


def number_or_text(value: object) -> Any:  # noqa: ANN401 - what a function is given
    """A number where text is one; lists and names entry by entry."""
    if isinstance(value, list):
        return [number_or_text(each) for each in value]
    if isinstance(value, dict):
        return {key: number_or_text(each) for key, each in value.items()}
    try:
        return float(str(value))
    except ValueError:
        return value
